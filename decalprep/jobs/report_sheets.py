"""Sheets in the report: pictures in layers that can be switched, with the places of notices."""

from __future__ import annotations

from collections.abc import Sequence

from decalprep.geometry import Affine, Box
from decalprep.jobs import report_parts as parts
from decalprep.jobs.report_html import Html, tag
from decalprep.jobs.report_pictures import SheetPicture
from decalprep.jobs.report_places import Places, Told, marks_by_page

MARK_MM = 2.6


def sheets_section(
    shown: Sequence[SheetPicture], told: Sequence[Told], places: Places, count: int
) -> Html:
    """Every sheet as a picture of layers that can be switched and made larger."""
    children: list[object] = [
        tag(
            "p",
            "Drawn layer by layer from the finished files. Pictures are for looking at; measure "
            "on the print.",
            class_="soft",
        )
    ]
    if count > len(shown):
        words = f"Only the first {len(shown)} of {count} sheets are shown here."
        children.append(tag("p", words))
    marks = marks_by_page(told, places)
    children += [
        _sheet(picture, f"s{k}", _markers(marks[picture.page], picture))
        for k, picture in enumerate(shown, 1)
    ]
    return parts.section("sheets", "Sheets", *children)


def further_section(further: Sequence[SheetPicture]) -> Html:
    """Underlays and paint masks as pictures, smaller; nothing where there are none."""
    if not further:
        return Html()
    cards = [_sheet(picture, f"f{k}", None) for k, picture in enumerate(further, 1)]
    return parts.section("further", "Underlays and paint masks", tag("div", *cards, class_="few"))


def _sheet(picture: SheetPicture, key: str, markers: Html | None) -> Html:
    names = [layer.layer for layer in picture.layers]
    toggles = [_toggle(name, f"t{k}", f"{key}-t{k}") for k, name in enumerate(names)]
    if markers is not None:
        toggles.append(_toggle("places of warnings and notes", "tp", f"{key}-tp"))
    zooms = [
        tag(
            "label",
            tag("input", type="radio", name=f"{key}-zoom", class_=f"z{k}", checked=k == 1),
            word,
        )
        for k, word in ((1, "whole sheet"), (2, "larger"), (3, "largest"))
    ]
    controls = tag(
        "div",
        tag("fieldset", tag("legend", "Layers shown"), *toggles),
        tag("fieldset", tag("legend", "Size of the picture"), *zooms),
        class_="controls",
    )
    stack = [
        tag(
            "img",
            src=layer.address,
            alt=f"{picture.title}, layer {layer.layer}",
            width=picture.width_px,
            height=picture.height_px,
            class_=f"k{k}",
        )
        for k, layer in enumerate(picture.layers)
    ]
    frame = tag(
        "div",
        tag("div", *stack, markers, class_="paper"),
        class_="frame",
        tabindex="0",
        role="region",
        aria_label=f"{picture.title}, picture; scroll with the arrow keys",
    )
    size = f"{picture.width_mm:.1f} x {picture.height_mm:.1f} mm"
    told = f"{picture.file}, page {picture.page + 1}, {size}, {len(names)} layers"
    return tag(
        "article",
        tag("h3", picture.title, id=f"{key}-title"),
        tag("p", told, class_="soft"),
        controls,
        frame,
        class_="card",
        aria_labelledby=f"{key}-title",
    )


def _toggle(name: str, kind: str, key: str) -> Html:
    box = tag("input", type="checkbox", class_=kind, id=key, checked=True)
    return tag("label", box, name, for_=key)


def _markers(marks: Sequence[tuple[Told, Affine]], picture: SheetPicture) -> Html | None:
    """Numbered places of notices on one sheet, each a link to its words."""
    if not marks:
        return None
    return tag(
        "svg",
        *(_marker(one, page_from_decal, picture.height_mm) for one, page_from_decal in marks),
        viewBox=f"0 0 {picture.width_mm:.3f} {picture.height_mm:.3f}",
        preserveAspectRatio="none",
        class_="places",
        role="group",
        aria_label="Places of warnings and notes",
    )


def _marker(one: Told, page_from_decal: Affine, height_mm: float) -> Html:
    box = Box.around(page_from_decal.apply_all(Box(*one.notice["box_mm"]).corners)).grown(0.5)
    x, y = max(MARK_MM, box.x0), max(MARK_MM, height_mm - box.y1)
    return tag(
        "a",
        tag(
            "rect",
            x=f"{box.x0:.2f}",
            y=f"{height_mm - box.y1:.2f}",
            width=f"{box.width:.2f}",
            height=f"{box.height:.2f}",
        ),
        tag("circle", cx=f"{x:.2f}", cy=f"{y:.2f}", r=f"{MARK_MM}"),
        tag("text", one.number, x=f"{x:.2f}", y=f"{y + 1.1:.2f}"),
        href=f"#notice-{one.number}",
        aria_label=f"{one.notice['severity']} {one.number}: {one.notice['text']}",
    )
