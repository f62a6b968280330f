"""What one run found, as text of 80 columns and as JSON by a documented schema."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from decalprep.jobs.money import NO_CURRENCY, money
from decalprep.jobs.prepare import Prepared
from decalprep.jobs.report_data import distinct, result_data
from decalprep.jobs.tell_sheets import expectation_lines
from decalprep.model import Notice, Severity

if TYPE_CHECKING:
    from decalprep.jobs.make import Made

WIDTH = 80


def result_text(made: Made) -> str:
    """The whole result as text: sheets, proof table, what changed, expected print, warnings."""
    from decalprep.proof import proof_table

    lines = [made.job["title"], made.laid.bound_text, *_beside_the_count(made), ""]
    lines += proof_table(made.proof).rstrip().splitlines()
    lines += ["", "What each decal rests on, and what was changed:"]
    for one in made.prepared:
        lines += _panel_lines(one)
    lines += ["", *expectation_lines(made), "", *stock_lines(made)]
    loud = [n for n in made.notices if n.severity is not Severity.NOTE]
    if loud:
        lines += ["", "Warnings:"]
        for notice, more in gathered(loud):
            subject = f"{notice.subject}: " if notice.subject else ""
            tail = f" (and {more} more like it, in result.json)" if more else ""
            lines += _wrapped(f"{notice.severity.value}: {subject}{notice.text}{tail}", "- ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _beside_the_count(made: Made) -> list[str]:
    """A near miss of one sheet fewer; part-used sheets to put in, rests kept for a later job."""
    told = [n for n in made.notices if n.code in ("near-miss", "leftover-used", "leftover-kept")]
    return [line for notice in told for line in _wrapped(notice.text, "")]


def stock_lines(made: Made) -> list[str]:
    """Ink of each sheet and stock of each panel."""
    lines = []
    for k, ink in enumerate(made.ink, 1):
        shares = ", ".join(f"{name} {100 * part:.0f}" for name, part in ink.inks)
        words = f"sheet {k}: ink on {100 * ink.printed_share:.0f} % of it (cover in %: {shares})"
        lines += _wrapped(words, "")
    for cost in made.costs:
        price = "" if cost.cost is None else f", {money(cost.cost, made.job['currency'])}"
        lines.append(f"{cost.panel}: {cost.sheets:.2f} sheets of stock{price}")
    if any(cost.cost is not None for cost in made.costs) and not made.job["currency"]:
        lines += _wrapped(NO_CURRENCY, "")
    return lines


def _wrapped(words: str, head: str = "  ") -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=head, subsequent_indent="  ", break_on_hyphens=False
    )


def _panel_lines(one: Prepared) -> list[str]:
    lines = [f"{one.decal.name}:"]
    for words in (*one.sources, *one.changes):
        lines += textwrap.wrap(
            words, WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
        )
    return lines


def gathered(notices: Sequence[Notice]) -> list[tuple[Notice, int]]:
    """The notices, one for each subject and kind, with how many more of it there are."""
    groups: dict[tuple[str, str], list[Notice]] = {}
    for notice in distinct(notices):
        groups.setdefault((notice.subject, notice.code), []).append(notice)
    return [(group[0], len(group) - 1) for group in groups.values()]


def result_json(made: Made) -> str:
    """The result as JSON by the schema ``decalprep result 1`` (data/result.schema.json)."""
    return json.dumps(result_data(made), indent=1, ensure_ascii=False) + "\n"
