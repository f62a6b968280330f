"""The report of one run: one HTML file that needs nothing else, made from the result's own data.

It holds no script at all and a policy that forbids every address but ``data:`` pictures, so it can
be mailed and opened anywhere. Layers and sizes of the pictures are switched by plain check boxes
and radio buttons with style rules; where a browser does not know such rules, everything shows.
Does not keep ticks, and does not show what is not in the finished files.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from decalprep.geometry import Affine, Box
from decalprep.jobs import report_parts as parts
from decalprep.jobs.report_data import page_from_decal, result_data
from decalprep.jobs.report_html import Html, tag
from decalprep.jobs.report_pictures import (
    MOST_SHEETS,
    Cut,
    PlacePicture,
    SheetPicture,
    panel_pictures,
    place_pictures,
    sheet_pictures,
)

if TYPE_CHECKING:
    from decalprep.jobs.make import Made
    from decalprep.model import Decal

MOST_PLACES = 60
MOST_PANELS = 60
MARK_MM = 2.6
DISPLAY_ONLY = (
    "For simulators and display only: never for equipment in flight, on vehicles or with a safety "
    "function."
)


@dataclass(frozen=True)
class Told:
    """One notice of the report: its number, how many more are like it, and where it is seen."""

    number: int
    notice: dict[str, Any]
    more: tuple[dict[str, Any], ...] = ()
    picture: PlacePicture | None = None


def report_html(made: Made, outputs: Mapping[str, bytes]) -> bytes:
    """The report as HTML bytes; the same run, the same bytes.

    ``outputs`` are the run's files by name; sheets.pdf must be among them.
    """
    data = result_data(made)
    pdf = outputs["sheets.pdf"]
    told = tell_notices(data, made, pdf)
    kinds = data["sheets"]["kinds"]
    titles = [f"Sheet {k}: {kind}" for k, kind in enumerate(kinds, 1)]
    shown = [*sheet_pictures(pdf, "sheets.pdf", titles)]
    further: list[SheetPicture] = []
    for name, what in (("underlays.pdf", "Underlay"), ("paint-masks.pdf", "Paint mask")):
        if name in outputs:
            further += sheet_pictures(outputs[name], name, _page_titles(outputs[name], what))
    sections = (
        ("short", "In short", parts.in_short(data)),
        ("decals", "Decals", parts.decals(data)),
        ("sheets", "Sheets", sheets_section(shown, told, made)),
        ("notices", "Warnings and notes", notices_section(told)),
        ("panels", "Panels", panels_section(data, made, pdf)),
        ("further", "Underlays and paint masks", further_section(further)),
        ("stock", "Stock, ink and cost", parts.stock(data)),
        ("next", "What to do next", parts.steps(data)),
        ("proof", "How it was proven", parts.proof_details(data)),
    )
    return page(data, [s for s in sections if s[2]])


def _page_titles(pdf: bytes, what: str) -> list[str]:
    from decalprep.proof.render import open_pdf

    with open_pdf(pdf, where=what) as opened:
        return [f"{what} {k}" for k in range(1, opened.pages + 1)]


def page(data: dict[str, Any], sections: Sequence[tuple[str, str, Html]]) -> bytes:
    """The whole document round its sections."""
    style = (files("decalprep") / "data" / "report" / "report.css").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode("ascii")
    policy = (
        f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; base-uri 'none'; "
        "form-action 'none'"
    )
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        Html(f'<meta http-equiv="Content-Security-Policy" content="{policy}">'),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("meta", name="referrer", content="no-referrer"),
        tag("title", f"{data['title']}: decal report"),
        Html(f"<style>{style}</style>"),
    )
    proof = data["proof"]
    verdict = "Proven true" if proof["passed"] else "NOT true"
    body = tag(
        "body",
        tag("a", "Skip to the content", class_="skip", href="#main"),
        tag(
            "header",
            tag("p", "Decal report", class_="kicker"),
            tag("h1", data["title"]),
            tag(
                "p",
                f"{verdict}: largest error {parts.number(proof['worst_mm'], 4)} mm in the file",
                class_="verdict",
            ),
            tag("p", DISPLAY_ONLY, class_="soft"),
        ),
        tag(
            "nav",
            tag("ul", *(tag("li", tag("a", name, href=f"#{key}")) for key, name, _ in sections)),
            aria_label="Contents",
        ),
        tag("main", *(html for _, _, html in sections), id="main", tabindex="-1"),
        tag("footer", tag("p", f"Made by decalprep {data['version']}. {DISPLAY_ONLY}")),
    )
    return ("<!DOCTYPE html>\n" + tag("html", head, "\n", body, lang="en") + "\n").encode("utf-8")


# ---------------------------------------------------------------- notices and their places


def tell_notices(data: dict[str, Any], made: Made, pdf: bytes) -> tuple[Told, ...]:
    """The notices, alike ones together, worst first, with pictures of their places."""
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for notice in data["notices"]:
        groups.setdefault((notice["subject"], notice["code"]), []).append(notice)
    told = [Told(k, g[0], tuple(g[1:])) for k, g in enumerate(groups.values(), 1)]
    cuts: dict[int, Cut] = {}
    for one in told:
        box = one.notice["box_mm"]
        where = lying(made, one.notice["subject"]) if box else []
        if where and len(cuts) < MOST_PLACES:
            first = holding(where, Box(*box))[0]
            cuts[one.number] = Cut(first.page, first.page_from_decal, Box(*box))
    pictures = dict(zip(cuts, place_pictures(pdf, list(cuts.values())), strict=True))
    return tuple(Told(one.number, one.notice, one.more, pictures.get(one.number)) for one in told)


@dataclass(frozen=True)
class Lying:
    """One copy of a decal or tile on its page: page mm from the decal's own."""

    decal: Decal
    page: int
    page_from_decal: Affine


def lying(made: Made, subject: str) -> list[Lying]:
    """Every copy of what is printed of a panel or is called so; none for other subjects."""
    own = {
        one.decal.name: one.decal
        for one in made.pieces.all
        if subject in (one.decal.name, one.decal.panel)
    }
    return [
        Lying(own[p.decal], p.sheet_index, page_from_decal(own[p.decal], p, made))
        for p in made.laid.placements
        if p.decal in own
    ]


def holding(places: Sequence[Lying], box: Box) -> list[Lying]:
    """Those copies whose outline's box holds the middle of a place; all where none does."""
    x, y = box.centre
    return [p for p in places if p.decal.outline.box.contains(Box(x, y, x, y))] or list(places)


def notices_section(told: Sequence[Told]) -> Html:
    """Warnings first, each with its place, then notes."""
    loud = [t for t in told if t.notice["severity"] != "note"]
    quiet = [t for t in told if t.notice["severity"] == "note"]
    children: list[Html] = [tag("h3", "Warnings")]
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
        more = tag(
            "details",
            tag("summary", f"{len(told.more)} more like it"),
            tag("ul", *(tag("li", other["text"]) for other in told.more)),
        )
    words = tag(
        "p",
        tag("span", f"{told.number} {severity}", class_=severity),
        f"{subject} {notice['text']}",
    )
    return tag("li", words, _place(told), more, id=f"notice-{told.number}", tabindex="-1")


def _place(told: Told) -> Html | None:
    picture = told.picture
    if picture is None:
        return None
    box, whole = Box(*told.notice["box_mm"]), picture.box_mm
    scale = picture.width_px / whole.width
    ring = box.grown(max(0.4, 0.03 * whole.width))
    at = f"{box.centre[0]:.1f}, {box.centre[1]:.1f} mm"
    drawn = tag(
        "svg",
        tag("title", f"Cut-out of {told.notice['subject']} round {at}"),
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


# ---------------------------------------------------------------- sheets


def sheets_section(shown: Sequence[SheetPicture], told: Sequence[Told], made: Made) -> Html:
    """Every sheet as a picture of layers that can be switched and made larger."""
    children: list[object] = [
        tag(
            "p",
            "Drawn layer by layer from the finished files. Pictures are for looking at; measure "
            "on the print.",
            class_="soft",
        )
    ]
    if len(made.drawings) > MOST_SHEETS:
        words = f"Only the first {MOST_SHEETS} of {len(made.drawings)} sheets are shown here."
        children.append(tag("p", words))
    children += [
        _sheet(picture, f"s{k}", _markers(picture, told, made))
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


def _markers(picture: SheetPicture, told: Sequence[Told], made: Made) -> Html | None:
    """Numbered places of notices on one sheet, each a link to its words."""
    found = []
    for one in told:
        box = one.notice["box_mm"]
        if not box:
            continue
        for place in holding(lying(made, one.notice["subject"]), Box(*box)):
            if place.page == picture.page:
                found.append(_marker(one, place.page_from_decal, picture.height_mm))
    if not found:
        return None
    return tag(
        "svg",
        *found,
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


# ---------------------------------------------------------------- panels


def panels_section(data: dict[str, Any], made: Made, pdf: bytes) -> Html:
    """What each panel rests on, what was changed, its strokes before and after, its picture."""
    names = [name for one in made.prepared[:MOST_PANELS] for name in one.printed][:MOST_PANELS]
    cuts = {name: _panel_cut(lying(made, name)[0]) for name in names}
    pictures = dict(zip(cuts, panel_pictures(pdf, list(cuts.values())), strict=True))
    cards = [
        _panel(
            panel,
            f"p{k}",
            {n: pictures[n] for n in panel["tiles"] or [panel["name"]] if n in pictures},
        )
        for k, panel in enumerate(data["panels"], 1)
    ]
    return parts.section("panels", "Panels", *cards)


def _panel_cut(place: Lying) -> Cut:
    decal = place.decal
    shape = decal.outline.polygon(0.02).buffer(decal.bleed_mm + 0.5).exterior.coords
    box = decal.outline.box.grown(decal.bleed_mm + 1.0)
    return Cut(place.page, place.page_from_decal, box, tuple((x, y) for x, y, *_ in shape))


def _panel(panel: dict[str, Any], key: str, pictures: Mapping[str, PlacePicture]) -> Html:
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
        parts.strokes(panel, f"{key}-strokes"),
        class_="card panel",
        aria_labelledby=f"{key}-title",
    )
