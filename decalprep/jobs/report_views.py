"""Notices and panels in the report, with their pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from decalprep.geometry import Box
from decalprep.jobs import report_parts as parts
from decalprep.jobs.report_html import Html, tag
from decalprep.jobs.report_pictures import Cut, PlacePicture
from decalprep.jobs.report_places import MOST_PLACES, Lying, Places, Told
from decalprep.jobs.report_strokes import effect_views, stroke_rows

if TYPE_CHECKING:
    from decalprep.cleaning import CloseUp

MOST_PANELS = 60


def notices_section(told: Sequence[Told]) -> Html:
    """Warnings first, each with its place, then notes."""
    loud = [t for t in told if t.notice["severity"] != "note"]
    quiet = [t for t in told if t.notice["severity"] == "note"]
    children: list[Html] = []
    left_out = sum(t.left_out for t in told)
    if left_out:
        words = (
            f"{left_out} more places have no picture here: {MOST_PLACES} are shown at most. All "
            "are in result.json."
        )
        children.append(tag("p", words))
    children.append(tag("h3", "Warnings"))
    if loud:
        children.append(tag("ul", *(_notice(t) for t in loud), class_="notices"))
    else:
        children.append(tag("p", "None.", class_="good"))
    if quiet:
        children.append(tag("h3", "Notes"))
        children.append(tag("ul", *(_notice(t) for t in quiet), class_="notices"))
    return parts.section("notices", "Warnings and notes", *children)


def _notice(told: Told) -> Html:
    notice = told.notice
    severity = notice["severity"]
    subject = f" {notice['subject']}:" if notice["subject"] else ""
    more = None
    if told.more:
        others = zip(told.more, told.pictures[1:], strict=True)
        more = tag(
            "details",
            tag("summary", f"{len(told.more)} more like it"),
            tag("ul", *(tag("li", n["text"], _place(n, picture)) for n, picture in others)),
        )
    words = tag(
        "p",
        tag("span", f"{told.number} {severity}", class_=severity),
        f"{subject} {notice['text']}",
    )
    shown = _place(notice, told.picture)
    return tag("li", words, shown, more, id=f"notice-{told.number}", tabindex="-1")


def _place(notice: dict[str, Any], picture: PlacePicture | None) -> Html | None:
    if picture is None:
        return None
    box, whole = Box(*notice["box_mm"]), picture.box_mm
    scale = picture.width_px / whole.width
    ring = box.grown(max(0.4, 0.03 * whole.width))
    at = f"{box.centre[0]:.1f}, {box.centre[1]:.1f} mm"
    drawn = tag(
        "svg",
        tag("title", f"Cut-out of {notice['subject']} round {at}"),
        tag("image", href=picture.address, width=picture.width_px, height=picture.height_px),
        tag(
            "rect",
            x=f"{(ring.x0 - whole.x0) * scale:.1f}",
            y=f"{(whole.y1 - ring.y1) * scale:.1f}",
            width=f"{ring.width * scale:.1f}",
            height=f"{ring.height * scale:.1f}",
        ),
        viewBox=f"0 0 {picture.width_px} {picture.height_px}",
        width=picture.width_px,
        height=picture.height_px,
        role="img",
        class_="place",
    )
    caption = tag("figcaption", f"At {at} of the decal, from its lower left")
    return tag("figure", drawn, caption)


def panels_section(
    data: dict[str, Any],
    places: Places,
    pictures: Mapping[str, PlacePicture],
    closes: Sequence[CloseUp | None],
) -> Html:
    """What each panel rests on, what was changed, its strokes before and after, its picture."""
    pieces = {p["name"]: p["tiles"] or [p["name"]] for p in data["panels"]}
    cards = [
        _panel(
            panel,
            f"p{k}",
            {n: pictures[n] for n in pieces[panel["name"]] if n in pictures},
            effect_views(panel, close, f"p{k}"),
        )
        for k, (panel, close) in enumerate(zip(data["panels"], closes, strict=True), 1)
    ]
    known = [name for own in pieces.values() for name in own if name in places]
    if len(known) > len(pictures):
        words = f"{len(known) - len(pictures)} more decals have no picture here: {MOST_PANELS} do."
        cards.insert(0, tag("p", words))
    return parts.section("panels", "Panels", *cards)


def panel_cut(place: Lying) -> Cut:
    """Where a whole decal is seen, bleed included, its neighbours left out."""
    decal = place.decal
    shape = decal.outline.polygon(0.02).buffer(decal.bleed_mm + 0.5).exterior.coords
    box = decal.outline.box.grown(decal.bleed_mm + 1.0)
    return Cut(place.page, place.page_from_decal, box, tuple((x, y) for x, y, *_ in shape))


def _panel(
    panel: dict[str, Any],
    key: str,
    pictures: Mapping[str, PlacePicture],
    effect: Sequence[Html],
) -> Html:
    copies = panel["copies"]
    pairs: list[tuple[object, object]] = [
        ("Artwork", panel["artwork"]),
        (
            "Decal",
            f"{parts.size(panel['outline_mm'])} mm, {copies} {'copy' if copies == 1 else 'copies'}",
        ),
        ("Rests on", tag("ul", *(tag("li", words) for words in panel["sources"]))),
        ("Changed", tag("ul", *(tag("li", words) for words in panel["changes"] or ["nothing"]))),
    ]
    if panel["fitted_mm"] != panel["outline_mm"]:
        pairs.insert(2, ("Fitted to the part", f"{parts.size(panel['fitted_mm'], 3)} mm"))
    shown = [
        tag(
            "img",
            src=picture.address,
            alt=f"{name} as on the sheet, with its cut lines",
            width=picture.width_px,
            height=picture.height_px,
        )
        for name, picture in pictures.items()
    ]
    return tag(
        "article",
        tag("h3", panel["name"], id=f"{key}-title"),
        tag("div", parts.facts(pairs)),
        tag("figure", *shown) if shown else None,
        stroke_rows(panel, f"{key}-strokes"),
        *effect,
        class_="card panel",
        aria_labelledby=f"{key}-title",
    )
