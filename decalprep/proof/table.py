"""The proof as a plain text table of at most 80 columns, and as plain data for JSON."""

from __future__ import annotations

import math
from typing import Any

from decalprep.proof.result import Proof, ProofRow

WIDTH = 80
NAME = 24


def proof_table(proof: Proof) -> str:
    """The whole proof as text: a table of decals, a table of marks, then what is wrong."""
    lines = [_heading()]
    lines += [_row(row) for row in proof.rows]
    if proof.marks:
        lines += ["", *_mark_lines(proof)]
    bad = [f for f in proof.structure if not f.ok]
    lines += ["", f"file: {len(proof.structure) - len(bad)} of {len(proof.structure)} checks right"]
    for fault in proof.faults:
        lines += _wrapped("! " + fault)
    for notice in proof.notices:
        if notice.severity != "danger":
            lines += _wrapped("- " + notice.text)
    lines.append(_verdict(proof))
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _heading() -> str:
    return f"{'decal':<{NAME}} sheet {'intended mm':>19} {'in the file mm':>19} {'error':>8}"


def _row(row: ProofRow) -> str:
    name = _short(f"{row.decal} #{row.copy}", NAME)
    error = "missing" if math.isinf(row.error_mm) else f"{row.error_mm:.4f}"
    mark = "" if row.passed else " !"
    return (
        f"{name:<{NAME}} {row.sheet + 1:>5} {_size(row.intended_mm, 2):>19} "
        f"{_size(row.measured_mm, 3):>19} {error:>7}{mark}"
    )


def _mark_lines(proof: Proof) -> list[str]:
    """Check bars one by one, other marks as a count and their worst error."""
    lines = []
    for mark in proof.marks:
        if mark.intended_mm is not None and mark.measured_mm is not None:
            size = f"{mark.intended_mm:g} mm measures {mark.measured_mm:.4f} mm"
            lines.append(f"{_short(mark.name, NAME):<{NAME}} {mark.sheet + 1:>5} {size}")
    others = [m.error_mm for m in proof.marks if m.intended_mm is None]
    if others:
        worst = max(others)
        told = "one is missing" if math.isinf(worst) else f"largest error {worst:.4f} mm"
        lines.append(f"{len(others)} other lines: {told}")
    return lines


def _verdict(proof: Proof) -> str:
    worst = proof.worst_mm
    told = "something is missing" if math.isinf(worst) else f"largest error {worst:.4f} mm"
    if math.isnan(worst):
        told = "nothing was measured"
    verdict = "passed" if proof.passed else "FAILED"
    return f"proof {verdict}: {told}, allowed {proof.tolerance_mm:g} mm"


def _size(size: tuple[float, float], places: int) -> str:
    if any(math.isnan(v) for v in size):
        return "-"
    return f"{size[0]:.{places}f} x {size[1]:.{places}f}"


def _short(text: str, width: int) -> str:
    """Text cut in its middle to a width: the copy number at its end stays.

    >>> _short("a very long panel name #12", 16)
    'a very l...e #12'
    """
    if len(text) <= width:
        return text
    tail = 5
    return text[: width - 3 - tail] + "..." + text[-tail:]


def _wrapped(text: str) -> list[str]:
    """Text in lines of at most 80 columns."""
    import textwrap

    return textwrap.wrap(text, WIDTH, subsequent_indent="  ")


def _number(value: float) -> float | None:
    """A number for JSON: 6 decimals, nothing in the place of not-a-number or infinity."""
    return round(value, 6) if math.isfinite(value) else None


def proof_data(proof: Proof) -> dict[str, Any]:
    """The whole proof as plain data; lengths in mm, null where something was not found."""
    return {
        "passed": proof.passed,
        "tolerance_mm": proof.tolerance_mm,
        "worst_mm": _number(proof.worst_mm),
        "faults": list(proof.faults),
        "decals": [
            {
                "decal": row.decal,
                "copy": row.copy,
                "sheet": row.sheet + 1,
                "intended_mm": [_number(v) for v in row.intended_mm],
                "measured_mm": [_number(v) for v in row.measured_mm],
                "artwork_mm": [_number(v) for v in row.artwork_mm],
                "error_mm": _number(row.error_mm),
                "passed": row.passed,
                "faults": list(row.faults),
                "parts": [
                    {"what": p.what, "error_mm": _number(p.error_mm), "found": p.found}
                    for p in row.parts
                ],
            }
            for row in proof.rows
        ],
        "marks": [
            {
                "name": mark.name,
                "sheet": mark.sheet + 1,
                "error_mm": _number(mark.error_mm),
                "intended_mm": mark.intended_mm,
                "measured_mm": None if mark.measured_mm is None else _number(mark.measured_mm),
                "fault": mark.fault,
            }
            for mark in proof.marks
        ],
        "structure": [
            {
                "ok": f.ok,
                "what": f.what,
                "found": f.found,
                "sheet": None if f.sheet is None else f.sheet + 1,
            }
            for f in proof.structure
        ],
        "notices": [{"code": n.code, "text": n.text, "subject": n.subject} for n in proof.notices],
    }
