"""Where the report's notices are seen: copies of decals on their pages, and cut-outs of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from decalprep.geometry import Affine, Box
from decalprep.jobs.report_data import page_from_decal
from decalprep.jobs.report_pictures import Cut, PlacePicture, place_pictures

if TYPE_CHECKING:
    from decalprep.jobs.make import Made
    from decalprep.model import Decal

MOST_PLACES = 60


@dataclass(frozen=True)
class Told:
    """One notice of the report: its number, how many more are like it, and where it is seen."""

    number: int
    notice: dict[str, Any]
    more: tuple[dict[str, Any], ...] = ()
    picture: PlacePicture | None = None


@dataclass(frozen=True)
class Lying:
    """One copy of a decal or tile on its page: page mm from the decal's own."""

    decal: Decal
    page: int
    page_from_decal: Affine


Places = Mapping[str, Sequence[Lying]]
"""By name of a decal, of a tile and of a panel: every copy of what is printed of it."""


def places_of(made: Made) -> Places:
    """Where every copy lies, by each name that a notice may have for it."""
    own = {one.decal.name: one.decal for one in made.pieces.all}
    found: dict[str, list[Lying]] = {}
    for p in made.laid.placements:
        decal = own[p.decal]
        one = Lying(decal, p.sheet_index, page_from_decal(decal, p, made))
        for name in dict.fromkeys((decal.name, decal.panel)):
            found.setdefault(name, []).append(one)
    return found


def holding(places: Sequence[Lying], box: Box) -> list[Lying]:
    """Those copies whose outline's box holds the middle of a place; all where none does."""
    x, y = box.centre
    return [p for p in places if p.decal.outline.box.contains(Box(x, y, x, y))] or list(places)


def tell_notices(data: dict[str, Any], places: Places, pdf: bytes) -> tuple[Told, ...]:
    """The notices, alike ones together, worst first, with pictures of their places."""
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for notice in data["notices"]:
        groups.setdefault((notice["subject"], notice["code"]), []).append(notice)
    told = [Told(k, g[0], tuple(g[1:])) for k, g in enumerate(groups.values(), 1)]
    cuts: dict[int, Cut] = {}
    for one in told:
        box = one.notice["box_mm"]
        where = places.get(one.notice["subject"], ()) if box else ()
        if where and len(cuts) < MOST_PLACES:
            first = holding(where, Box(*box))[0]
            cuts[one.number] = Cut(first.page, first.page_from_decal, Box(*box))
    pictures = dict(zip(cuts, place_pictures(pdf, list(cuts.values())), strict=True))
    return tuple(Told(one.number, one.notice, one.more, pictures.get(one.number)) for one in told)


def marks_by_page(told: Sequence[Told], places: Places) -> dict[int, list[tuple[Told, Affine]]]:
    """Notices with a place, by the page that each copy of it lies on."""
    found: dict[int, list[tuple[Told, Affine]]] = defaultdict(list)
    for one in told:
        box = one.notice["box_mm"]
        for place in holding(places.get(one.notice["subject"], ()), Box(*box)) if box else ():
            found[place.page].append((one, place.page_from_decal))
    return found
