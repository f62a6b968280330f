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
    """One notice of the report: its number, those like it, and a picture of each one's place.

    ``pictures`` has one entry for the notice and each of ``more``: None where it has no place on
    a decal, or where ``left_out`` counts it as one too many.
    """

    number: int
    notice: dict[str, Any]
    more: tuple[dict[str, Any], ...] = ()
    pictures: tuple[PlacePicture | None, ...] = ()
    left_out: int = 0

    @property
    def picture(self) -> PlacePicture | None:
        """Where the notice itself is seen."""
        return self.pictures[0] if self.pictures else None


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


def grouped(notices: Sequence[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """The notices, alike ones together, in the order of the first of each."""
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for notice in notices:
        groups.setdefault((notice["subject"], notice["code"]), []).append(notice)
    return list(groups.values())


@dataclass(frozen=True)
class Wanted:
    """Places to cut out by (rank in its group, number of the group), and those one too many."""

    cuts: Mapping[tuple[int, int], Cut]
    left_out: Sequence[tuple[int, int]]


def wanted_places(groups: Sequence[Sequence[dict[str, Any]]], places: Places) -> Wanted:
    """At most ``MOST_PLACES`` places: the first of each kind, then the others in order."""
    wanted = [
        (rank, k)
        for k, group in enumerate(groups)
        for rank, notice in enumerate(group)
        if notice["box_mm"] and places.get(notice["subject"])
    ]
    wanted.sort(key=lambda place: (place[0] > 0, place[1], place[0]))
    cuts = {place: _cut(groups[place[1]][place[0]], places) for place in wanted[:MOST_PLACES]}
    return Wanted(cuts, wanted[MOST_PLACES:])


def tell_notices(
    notices: Sequence[dict[str, Any]],
    places: Places,
    pdf: bytes,
    drawn: Mapping[Cut, PlacePicture],
) -> tuple[Told, ...]:
    """The notices, alike ones together, worst first, with pictures of their places.

    Pictures are taken from ``drawn``; those that it lacks are drawn.
    """
    groups = grouped(notices)
    wanted = wanted_places(groups, places)
    new = [cut for cut in dict.fromkeys(wanted.cuts.values()) if cut not in drawn]
    at_hand = {**drawn, **dict(zip(new, place_pictures(pdf, new), strict=True))}
    pictures = {place: at_hand[cut] for place, cut in wanted.cuts.items()}
    return tuple(
        Told(
            k + 1,
            group[0],
            tuple(group[1:]),
            tuple(pictures.get((rank, k)) for rank in range(len(group))),
            sum(place[1] == k for place in wanted.left_out),
        )
        for k, group in enumerate(groups)
    )


def _cut(notice: dict[str, Any], places: Places) -> Cut:
    box = Box(*notice["box_mm"])
    first = holding(places[notice["subject"]], box)[0]
    return Cut(first.page, first.page_from_decal, box)


def marks_by_page(told: Sequence[Told], places: Places) -> dict[int, list[tuple[Told, Affine]]]:
    """Notices with a place, by the page that each copy of it lies on."""
    found: dict[int, list[tuple[Told, Affine]]] = defaultdict(list)
    for one in told:
        box = one.notice["box_mm"]
        for place in holding(places.get(one.notice["subject"], ()), Box(*box)) if box else ():
            found[place.page].append((one, place.page_from_decal))
    return found
