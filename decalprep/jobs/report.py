"""The report of one run: one HTML file that needs nothing else, made from the result's own data.

It holds no script at all and a policy that forbids every address but ``data:`` pictures, so it can
be mailed and opened anywhere. Layers and sizes of the pictures are switched by plain check boxes
and radio buttons with style rules; where a browser does not know such rules, everything shows.
Does not keep ticks. Pictures are drawn from the finished files; only the close views of stripped
hairlines, which are no longer in them, are drawn from the artworks.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from decalprep.jobs import report_parts as parts
from decalprep.jobs.panel_pictures import panels_drawn
from decalprep.jobs.report_data import distinct, notice_data, result_data
from decalprep.jobs.report_html import Html, tag
from decalprep.jobs.report_pictures import (
    Cut,
    PlacePicture,
    SheetPicture,
    place_pictures,
    sheet_pictures,
)
from decalprep.jobs.report_places import grouped, places_of, tell_notices, wanted_places
from decalprep.jobs.report_sheets import further_section, sheets_section
from decalprep.jobs.report_views import notices_section, panels_section

if TYPE_CHECKING:
    from decalprep.jobs.make import Made

DISPLAY_ONLY = (
    "For simulators and display only: never for equipment in flight, on vehicles or with a safety "
    "function."
)


@dataclass(frozen=True)
class Drawn:
    """The report's pictures: sheets and further sheets in layers, panels by name, places."""

    sheets: tuple[SheetPicture, ...]
    further: tuple[SheetPicture, ...]
    panels: Mapping[str, PlacePicture]
    places: Mapping[Cut, PlacePicture] = field(default_factory=dict)


def report_html(made: Made, outputs: Mapping[str, bytes], drawn: Drawn | None = None) -> bytes:
    """The report as HTML bytes; the same run, the same bytes.

    ``outputs`` are the run's files by name; sheets.pdf must be among them. ``drawn`` are pictures
    that are at hand; what is missing is drawn.
    """
    data = result_data(made)
    pdf = outputs["sheets.pdf"]
    places = places_of(made)
    if drawn is None:
        sheets, further = sheets_drawn(made, pdf), further_drawn(outputs)
        drawn = Drawn(sheets, further, panels_drawn(made, pdf))
    told = tell_notices(data["notices"], places, pdf, drawn.places)
    by_name = {effect.panel: effect.close for effect in made.effects}
    closes = [by_name.get(one.decal.name) for one in made.prepared]
    sections = (
        ("short", "In short", parts.in_short(data)),
        ("decals", "Decals", parts.decals(data)),
        ("sheets", "Sheets", sheets_section(drawn.sheets, told, places, len(made.drawings))),
        ("notices", "Warnings and notes", notices_section(told)),
        ("panels", "Panels", panels_section(data, places, drawn.panels, closes)),
        ("further", "Underlays and paint masks", further_section(drawn.further)),
        ("stock", "Stock, ink and cost", parts.stock(data)),
        ("next", "What to do next", parts.steps(data)),
        ("proof", "How it was proven", parts.proof_details(data)),
    )
    return page(data, [s for s in sections if s[2]])


def sheets_drawn(made: Made, pdf: bytes) -> tuple[SheetPicture, ...]:
    """The sheets of ``pdf`` in layers."""
    titles = [f"Sheet {k}: {sheet.name}" for k, sheet in enumerate(made.laid.sheets, 1)]
    return sheet_pictures(pdf, "sheets.pdf", titles)


def further_drawn(outputs: Mapping[str, bytes]) -> tuple[SheetPicture, ...]:
    """Underlays and paint masks in layers, where there are some."""
    further: list[SheetPicture] = []
    for name, what in (("underlays.pdf", "Underlay"), ("paint-masks.pdf", "Paint mask")):
        if name in outputs:
            further += sheet_pictures(outputs[name], name, _page_titles(outputs[name], what))
    return tuple(further)


def places_drawn(made: Made, pdf: bytes) -> dict[Cut, PlacePicture]:
    """Pictures of the places of the notices so far."""
    notices = [notice_data(n) for n in distinct(made.notices)]
    wanted = wanted_places(grouped(notices), places_of(made))
    cuts = list(dict.fromkeys(wanted.cuts.values()))
    return dict(zip(cuts, place_pictures(pdf, cuts), strict=True))


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
