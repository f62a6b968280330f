"""Readings that cannot be right: slips of typing, and pages that the print dialog has scaled.

Limits of 1.2 % in scale and 2 % between the axes passed none of 20,000 simulated dialog scalings;
the nearest common ratio to 1 is 0.9727 (Letter printed on A4 paper's width).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
import numpy.typing as npt

from decalprep.calibration.readings import Reading
from decalprep.errors import ReadingsRefused
from decalprep.model import Baseline, Notice, TargetLayout
from decalprep.units import MM_PER_IN, PAGE_SIZES_MM

SCALE_LIMIT = 0.012
ANISOTROPY_LIMIT = 0.02
MISFIT_LIMIT = 3.3
"""A reading so many standard deviations off is named: 1 honest set of eight in 130 is, too."""
DOUBT_LIMIT = 2.6
"""From here a reading is asked about, not refused, where a whole millimetre less or more would fit.

Read to the mark (0.2 mm), a slip of 1 mm is 3.9 standard deviations of what eight readings show:
MISFIT_LIMIT alone sees 73 % of such slips, this 90 %; no test sees a slip of some tenths.
"""
_GROSS = 0.03
_ADVICE = (
    "in the print dialog choose actual size or 100 %, switch off fit, shrink and borderless "
    "enlargement, set the paper to {page}, and print the page again; to keep it all the same, "
    "add --accept dialog-scaling"
)


@dataclass(frozen=True)
class Cause:
    """One way a dialog scales a page."""

    ratio: float
    name: str


def check_typing(readings: Sequence[Reading], lines: Mapping[str, Baseline]) -> None:
    """Passes readings that are roughly their lines' lengths.

    Raises:
        ReadingsRefused: wrong unit, across and down exchanged, a digit missing; each named.
    """
    if not readings:
        return
    ratios = [r.length_mm / lines[r.line].length_mm for r in readings]
    if min(ratios) <= 0:
        bad = readings[ratios.index(min(ratios))]
        raise ReadingsRefused(f"{bad.line}={bad.typed} is not a length", do="enter it again")
    _check_unit(ratios)
    _check_exchanged(readings, lines)
    middle = median(ratios)
    wrong = [
        f"{r.line}={r.typed} {_slip(r, lines[r.line].length_mm * middle)}"
        for r, ratio in zip(readings, ratios, strict=True)
        if abs(ratio / middle - 1) > _GROSS
    ]
    if wrong:
        raise ReadingsRefused("; ".join(wrong), do="read these lines again and enter them")


def _check_unit(ratios: Sequence[float]) -> None:
    for factor, name in ((10.0, "cm"), (MM_PER_IN, "in")):
        if len(ratios) > 1 and all(abs(r * factor - 1) < _GROSS for r in ratios):
            word = "centimetres" if name == "cm" else "inches"
            raise ReadingsRefused(
                f"all readings are 1/{factor:g} of what was drawn: they look like {word}",
                do=f"say unit={name}, or enter millimetres",
            )


def _check_exchanged(readings: Sequence[Reading], lines: Mapping[str, Baseline]) -> None:
    across = {b.length_mm for b in lines.values() if b.name.startswith("across")}
    down = {b.length_mm for b in lines.values() if b.name.startswith("down")}
    if not across or not down:
        return
    other = {"across": down.pop(), "down": across.pop()}
    straight = [r for r in readings if r.line.startswith(("across", "down"))]
    kinds = {r.line.rstrip("12") for r in straight}
    if kinds == {"across", "down"} and all(
        abs(r.length_mm / other[r.line.rstrip("12")] - 1) < _GROSS for r in straight
    ):
        raise ReadingsRefused(
            "across and down look exchanged: each reads as long as the other should be",
            do="across runs along the short side of the page; enter them the other way round",
        )


def _slip(reading: Reading, expected_mm: float) -> str:
    """What kind of slip would turn the expected length into the one typed."""
    value = reading.length_mm
    for factor, word in ((10.0, "centimetres"), (MM_PER_IN, "inches")):
        if abs(value * factor / expected_mm - 1) < 0.01:
            return f"looks like {word} (about {expected_mm:.1f} mm was expected)"
    for factor in (0.1, 0.01):
        if abs(value * factor / expected_mm - 1) < 0.01:
            return f"looks like a lost decimal point (about {expected_mm:.1f} mm was expected)"
    text, about = f"{value:.1f}", expected_mm
    for k in range(len(text)):
        for digit in "0123456789":
            trial = float(text[:k] + digit + text[k:])
            if abs(trial / about - 1) < 0.01:
                return f"looks like a digit is missing ({trial:.1f}?)"
    for k in range(len(text)):
        trial_text = text[:k] + text[k + 1 :]
        if trial_text not in ("", ".") and abs(float(trial_text) / about - 1) < 0.01:
            return f"looks like a digit too many ({float(trial_text):.1f}?)"
    for k in range(len(text) - 1):
        swapped = text[:k] + text[k + 1] + text[k] + text[k + 2 :]
        if swapped.count(".") == 1 and abs(float(swapped) / about - 1) < 0.01:
            return f"looks like two figures exchanged ({float(swapped):.1f}?)"
    return f"does not fit the others (about {expected_mm:.1f} mm was expected)"


def name_misfits(
    w: npt.NDArray[np.float64],
    names: Sequence[str],
    readings: Sequence[Reading],
    expected: npt.NDArray[np.float64],
) -> None:
    """Passes readings of which none stands out from the others.

    Raises:
        ReadingsRefused: the reading that stands out, or the two that cannot be told apart.
    """
    if len(w) == 0 or float(np.abs(w).max()) <= MISFIT_LIMIT:
        return
    order = np.argsort(-np.abs(w))
    worst, next_worst = order[0], order[1] if len(w) > 1 else order[0]
    r = readings[worst]
    found = (
        f"{names[worst]}={r.typed} does not fit: the other readings say "
        f"{expected[worst]:.2f} mm, {abs(r.length_mm - expected[worst]):.2f} mm away"
    )
    # Dropping a reading lowers chi square by w^2: nearly as much for another one is a tie.
    tie = len(w) > 1 and w[worst] ** 2 - w[next_worst] ** 2 < 6.0
    if tie:
        s = readings[next_worst]
        other = f"{names[next_worst]}={s.typed} (then {expected[next_worst]:.2f} mm)"
        found += f"; it may as well be {other}"
    raise ReadingsRefused(
        found, do="read it again; to keep readings that are right, add --accept misfit"
    )


def doubtful(
    w: npt.NDArray[np.float64], readings: Sequence[Reading], expected: npt.NDArray[np.float64]
) -> tuple[Notice, ...]:
    """A question about the reading that fits worst, where a figure mistyped would explain it."""
    if len(w) == 0 or float(np.abs(w).max()) <= DOUBT_LIMIT:
        return ()
    worst = int(np.argmax(np.abs(w)))
    r, away = readings[worst], float(readings[worst].length_mm - expected[worst])
    if round(abs(away)) < 1:
        return ()
    text = (
        f"{r.line}={r.typed} fits worst: the other readings say {expected[worst]:.1f} mm, "
        f"{abs(away):.1f} mm away. Chance can do that, a mistyped figure too: look once more, and "
        "if it was wrong, enter the page again, in place of this one (--instead)"
    )
    return (Notice("reading-doubtful", text, r.line, numbers=(("away_mm", away),)),)


def refuse_dialog_scaling(scale_x: float, scale_y: float, layout: TargetLayout) -> None:
    """Passes errors that a printer can have.

    Raises:
        ReadingsRefused: beyond the limits; names at most three likely causes.
    """
    if is_printer_error(scale_x, scale_y):
        return
    ratio = (2 + scale_x + scale_y) / 2
    found = (
        f"the page came out {100 * (1 + scale_x):.2f} % across and {100 * (1 + scale_y):.2f} % "
        f"down: more than a printer errs, so the print dialog or driver has scaled it"
    )
    causes = likely_causes(ratio, layout.page)
    if causes:
        found += " (perhaps: " + "; ".join(c.name for c in causes) + ")"
    raise ReadingsRefused(found, do=_ADVICE.format(page=layout.page))


def is_printer_error(scale_x: float, scale_y: float) -> bool:
    """Whether scale errors are within what printers do by themselves.

    >>> is_printer_error(0.004, -0.003), is_printer_error(-0.0273, -0.0273)
    (True, False)
    """
    largest = max(abs(scale_x), abs(scale_y))
    return largest <= SCALE_LIMIT and abs(scale_x - scale_y) <= ANISOTROPY_LIMIT


def likely_causes(ratio: float, page: str) -> tuple[Cause, ...]:
    """At most three known dialog scalings within 0.4 % of a ratio, nearest first.

    >>> [c.name for c in likely_causes(0.9395, "A4")][0]
    'fitted to a printable area with margins of 6.35 mm'
    """
    near = [c for c in dialog_causes(page) if abs(c.ratio - ratio) < 0.004]
    return tuple(sorted(near, key=lambda c: abs(c.ratio - ratio))[:3])


def dialog_causes(page: str) -> tuple[Cause, ...]:
    """The known ways a dialog scales this page, from page sizes and common margins."""
    width, height = PAGE_SIZES_MM[page]
    causes = []
    for margin in (3.0, 4.0, MM_PER_IN / 6, 5.0, 6.35, 10.0, 12.7):
        ratio = min((width - 2 * margin) / width, (height - 2 * margin) / height)
        causes.append(Cause(ratio, f"fitted to a printable area with margins of {margin:.4g} mm"))
    for other, (w, h) in PAGE_SIZES_MM.items():
        if other == page:
            continue
        causes.append(Cause(min(w / width, h / height), f"fitted from {page} onto {other} paper"))
        for margin in (MM_PER_IN / 6, 6.35):
            ratio = min((w - 2 * margin) / width, (h - 2 * margin) / height)
            causes.append(Cause(ratio, f"fitted from {page} onto {other} inside the margins"))
    for percent in (90, 95, 97, 98, 102, 103, 105, 110):
        causes.append(Cause(percent / 100, f"a scale of {percent} % set in the dialog"))
    causes.append(Cause(0.75, "96 pixels an inch taken for 72"))
    causes.append(Cause(4 / 3, "72 points an inch taken for 96"))
    return tuple(causes)
