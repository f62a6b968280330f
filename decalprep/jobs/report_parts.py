"""The parts of the report: each takes plain data (``result_data``) and returns one section."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from decalprep.jobs.money import NO_CURRENCY, money
from decalprep.jobs.report_html import Html, join, tag

Data = dict[str, Any]


def section(key: str, heading: str, *children: object) -> Html:
    """A section with a heading that names it."""
    head = tag("h2", heading, id=f"{key}-heading")
    return tag("section", head, *children, id=key, aria_labelledby=f"{key}-heading")


def table(
    key: str,
    caption: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[object]],
    *,
    words: int = 0,
) -> Html:
    """A table whose rows start with their name; the last ``words`` columns hold sentences."""
    first_wordy = len(heads) - words

    def kind(k: int) -> str | None:
        return "words" if k >= first_wordy else None

    head = tag("tr", *(tag("th", h, scope="col", class_=kind(k)) for k, h in enumerate(heads)))
    body = [
        tag(
            "tr",
            tag("th", row[0], scope="row"),
            *(tag("td", cell, class_=kind(k)) for k, cell in enumerate(row[1:], 1)),
        )
        for row in rows
    ]
    whole = tag(
        "table",
        tag("caption", caption, id=f"{key}-caption"),
        tag("thead", head),
        tag("tbody", *body),
    )
    return tag(
        "div", whole, class_="scroll", tabindex="0", role="region", aria_labelledby=f"{key}-caption"
    )


def facts(pairs: Sequence[tuple[object, object]]) -> Html:
    """Names and values."""
    return tag("dl", *(join((tag("dt", a), tag("dd", b))) for a, b in pairs), class_="facts")


def size(pair: Sequence[float | None] | None, places: int = 2) -> str:
    """Width x height, or a dash.

    >>> size([140.0, 90.0]), size([None, 1.0])
    ('140.00 x 90.00', '-')
    """
    if pair is None or any(v is None for v in pair):
        return "-"
    return " x ".join(f"{v:.{places}f}" for v in pair)


def number(value: float | None, places: int = 3) -> str:
    """A number, or "missing"."""
    return "missing" if value is None else f"{value:.{places}f}"


def in_short(data: Data) -> Html:
    """The few things to know first."""
    proof, sheets = data["proof"], data["sheets"]
    loud = [n for n in data["notices"] if n["severity"] != "note"]
    pairs: list[tuple[object, object]] = [
        ("Decals", f"{len(data['placements'])}, of {len(data['panels'])} panels"),
        ("Sheets", sheets["told"]),
        ("Proof", _verdict(proof)),
        ("Prints", _printers(data)),
        ("Warnings", f"{len(loud)}" if loud else "none"),
    ]
    total = sum(c["cost"] or 0.0 for c in data["costs"])
    if data["costs"] and all(c["cost"] is not None for c in data["costs"]):
        pairs.append(("Stock", money(total, data["currency"])))
    return section("short", "In short", facts(pairs))


def _verdict(proof: Data) -> str:
    word = "passed" if proof["passed"] else "FAILED"
    worst = number(proof["worst_mm"], 4)
    return f"{word}: largest error {worst} mm in the file, {proof['tolerance_mm']:g} mm allowed"


def _printers(data: Data) -> str:
    sheets = data["sheets"]
    numbers: dict[str, list[int]] = {}
    for k, kind in enumerate(sheets["kinds"]):
        numbers.setdefault(kind, []).append(k)
    told = []
    for kind, which in numbers.items():
        head = f"sheet{'s' * (len(which) > 1)} {', '.join(str(k + 1) for k in which)} ({kind})"
        printer, (a, _, _, d, _, _) = sheets["printers"][which[0]], sheets["corrections"][which[0]]
        told.append(
            f"{head}: corrected for {printer}, across {_percent(a - 1)}, up {_percent(d - 1)}"
            if printer
            else f"{head}: not corrected for a printer"
        )
    return "; ".join(told)


def _percent(share: float) -> str:
    return f"{100 * share:+.3f} %"


def decals(data: Data) -> Html:
    """The table of every copy: intended, in the file, on the page, and how true its print is."""
    places = {(p["decal"], p["copy"]): p for p in data["placements"]}
    rows = []
    for row in data["proof"]["decals"]:
        place = places.get((row["decal"], row["copy"]), {})
        expected = place.get("expected_error_mm")
        rows.append(
            (
                f"{row['decal']} #{row['copy']}",
                row["sheet"],
                size(row["intended_mm"]),
                size(row["measured_mm"], 3),
                number(row["error_mm"], 4),
                size(place.get("on_page_mm")),
                f"{expected[0]:.2f} across, {expected[1]:.2f} up" if expected else "not known",
                tag("span", "true", class_="good")
                if row["passed"]
                else tag("span", "NOT true", class_="danger"),
            )
        )
    heads = (
        "Decal",
        "Sheet",
        "Intended, mm",
        "Measured in the file, mm",
        "Largest error, mm",
        "On the page, corrected for printer and part, mm",
        "Print within, mm (95 %)",
        "Verdict",
    )
    words = (
        "Sizes in the file are measured in the finished PDF and mapped back through the printer "
        "correction. The print's error is along the decal's own width and height, relative to "
        "your rule, and known only where a printer record is in force."
    )
    caption = "Every copy of every decal"
    return section(
        "decals",
        "Decals",
        tag("p", words, class_="soft"),
        table("decals-table", caption, heads, rows),
    )


def stock(data: Data) -> Html:
    """The nest bound, the sheets with their stock and ink, and what each panel costs."""
    sheets = data["sheets"]
    ink = {i["sheet"]: i for i in data["ink"]}
    names = list(data["ink"][0]["inks"]) if data["ink"] else []
    rows = []
    for k, kind in enumerate(sheets["kinds"], 1):
        own = ink.get(k)
        cells = [f"{100 * own['inks'][n]:.0f}" for n in names] if own else []
        share = f"{100 * own['printed_share']:.0f}" if own else "-"
        rows.append(
            (
                f"{k}: {kind}",
                sheets["stocks"][k - 1],
                size(sheets["sizes_mm"][k - 1], 1),
                sheets["printers"][k - 1] or "none",
                share,
                *cells,
            )
        )
    heads = (
        "Sheet",
        "Stock",
        "Size, mm",
        "Printer record",
        "Inked, %",
        *(f"{n}, %" for n in names),
    )
    caption = "Sheets, their stock and mean ink cover"
    about = "A driver splits the inks in its own way: compare sheets by these, do not buy by them."
    costs = [
        (
            c["panel"],
            f"{c['sheets']:.2f}",
            "-" if c["cost"] is None else money(c["cost"], data["currency"]),
        )
        for c in data["costs"]
    ]
    bound = (
        f"{sheets['told']}. No layout of these decals, with these gaps and sheets, can use fewer "
        f"than {sheets['lower_bound']}."
    )
    return section(
        "stock",
        "Stock, ink and cost",
        tag("p", bound),
        table("sheets-table", caption, heads, rows),
        tag("p", about, class_="soft"),
        table(
            "costs-table",
            "Stock by panel, waste included",
            ("Panel", "Sheets", "Cost"),
            costs,
        )
        if costs
        else None,
        tag("p", NO_CURRENCY, class_="soft")
        if not data["currency"] and any(c["cost"] is not None for c in data["costs"])
        else None,
    )


def steps(data: Data) -> Html:
    """What to do next as lists to tick off, and the cautions."""
    told = tag(
        "p",
        "Ticks are not kept when this page is closed; print it to keep them.",
        class_="soft controls",
    )
    cautions = tag(
        "dl",
        *(join((tag("dt", c["about"]), tag("dd", c["words"]))) for c in data["cautions"]),
        class_="cautions",
    )
    lists = []
    for part in data["steps"]:
        lists.append(tag("h3", part["subject"]))
        lists.append(_ticks(part["steps"]))
        if part["checks"]:
            lists += [tag("h4", "Check before cutting"), _ticks(part["checks"])]
    return section("next", "What to do next", tag("h3", "Cautions first"), cautions, told, *lists)


def _ticks(words: Sequence[str]) -> Html:
    return tag(
        "ul",
        *(tag("li", tag("label", tag("input", type="checkbox"), tag("span", w))) for w in words),
        class_="todo",
    )


def proof_details(data: Data) -> Html:
    """Everything else that was measured or looked at in the file."""
    proof = data["proof"]
    bars = [
        (f"{m['name']}, sheet {m['sheet']}", f"{m['intended_mm']:g}", number(m["measured_mm"], 4))
        for m in proof["marks"]
        if m["intended_mm"] is not None
    ]
    parts = [
        (f"{row['decal']} #{row['copy']}", part["what"], number(part["error_mm"], 4), part["found"])
        for row in proof["decals"]
        for part in row["parts"]
    ]
    checks = [
        (
            f["what"] + (f", sheet {f['sheet']}" if f["sheet"] else ""),
            "right" if f["ok"] else "WRONG",
            f["found"],
        )
        for f in proof["structure"]
    ]
    return section(
        "proof",
        "How it was proven",
        tag(
            "p",
            "The finished file was read back and measured by code that shares nothing with what "
            "wrote it.",
        ),
        table("bars-table", "Check bars", ("Bar", "True, mm", "Measured, mm"), bars)
        if bars
        else None,
        tag(
            "details",
            tag("summary", f"Everything measured of each decal ({len(parts)} rows)"),
            table(
                "parts-table",
                "Errors in the file",
                ("Decal", "What", "Error, mm", "Found"),
                parts,
                words=1,
            ),
        )
        if parts
        else None,
        tag(
            "details",
            tag("summary", f"Checks of the file itself ({len(checks)} rows)"),
            table(
                "checks-table", "Checks of the file", ("Check", "Result", "Found"), checks, words=1
            ),
        ),
    )
