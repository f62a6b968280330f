"""What a build sheet says: order of work, checks and cautions for one panel.

Common practice is marked as such; it has no source. Cautions are general information and defer to
the maker's data sheet, local codes and licensed practice.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from decalprep.geometry import Box
from decalprep.model import Decal, Hole, HoleKind, StockKind
from decalprep.outline import PlateDifference, hole_classes

MOST_CLASSES = 6
"""Sizes of holes that are named on the page."""
RULES_MM = (150, 300, 500, 600, 1000)
"""Usual lengths of steel rules."""
DISPLAY_ONLY = (
    "For display and simulators only: never on equipment used in flight, in vehicles or for any "
    "safety function."
)


@dataclass(frozen=True)
class BuildChoices:
    """How the panel is made, as far as the words depend on it."""

    stock: StockKind = StockKind.PLAIN
    printer: str = "inkjet"
    backlit: bool = False
    underlay_layers: int = 0
    painted: bool = True
    difference: PlateDifference | None = None
    sheets: tuple[str, ...] = ()
    """Where its pieces lie, as "sheet 1 (A4 label): corrected x +0.271 %, ...", a line a kind."""


def order_of_work(decal: Decal, choices: BuildChoices) -> tuple[str, ...]:
    """The steps in order, as sentences: outline first, stick, holes from the part, pierce, edge."""
    screws, guides = _by_kind(decal.holes)
    label = choices.stock in (StockKind.LABEL, StockKind.DIE_CUT)
    steps = list(_painting(choices)) if choices.painted else []
    check = (
        "Check the print with a rule before cutting anything (see the checks). A sheet that fails "
        "goes in the bin, not on the part."
    )
    # paper from a fuser measures short until it has cooled; an inkjet print can be checked at once
    waits = [check, _drying(choices)]
    steps += waits if choices.printer == "inkjet" else waits[::-1]
    if choices.underlay_layers:
        layers = f"{choices.underlay_layers} printed layer" + "s" * (choices.underlay_layers > 1)
        steps.append(
            f"Lay the light-block underlay ({layers}) under the decal so that the ticks at the "
            "corners meet against the light, then stick the two together."
        )
    liner = ": face only (kiss cut) on a machine, face and liner by hand" if label else ""
    steps.append(f"Cut the outline first{liner}.")
    steps.append(
        "Stick the decal: one edge first, then down a little at a time"
        + ("." if label else ", with a thin even coat of glue on the part.")
        + " Rub it down from the middle outward."
    )
    if guides:
        steps.append(
            f"Cut {_the(guides, 'marked hole')} with the part as the guide: knife against "
            "the wall of the hole, from the front."
        )
    if screws:
        steps.append(f"Pierce {_the(screws, 'screw cross', 'screw crosses')}; do not cut.")
    steps.append("Touch up the cut edge of the paper with a marker or paint of the ground colour.")
    return tuple(steps)


def _painting(choices: BuildChoices) -> list[str]:
    coats = (
        "one or two misty coats first, then a wet one"
        + (", and an extra coat because the panel is backlit" if choices.backlit else "")
        + " (common practice, no source)"
    )
    steps = [
        "Tape the paint mask of each plate on that plate; a mask marked mirrored goes on "
        "from behind.",
        f"Paint: {coats}. Lift the mask before the paint is hard, as the can says.",
    ]
    d = choices.difference
    if d is not None and d.only_face_mm2 + d.only_back_mm2 > 0:
        steps[0] += (
            f" The two plates differ ({d.only_face_mm2:.0f} mm2 only in the face plate, "
            f"{d.only_back_mm2:.0f} mm2 only in the back plate): do not swap their masks."
        )
    return steps


def _drying(choices: BuildChoices) -> str:
    if choices.printer == "inkjet":
        return (
            "Let the print dry flat for a day before it is rubbed down (common practice for "
            "inkjet, no source; longer in damp air)."
        )
    return "Let the print cool flat before it is measured or cut: paper hot from a fuser is short."


def _by_kind(holes: Sequence[Hole]) -> tuple[int, int]:
    screws = sum(h.kind is HoleKind.SCREW for h in holes)
    return screws, len(holes) - screws


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _the(number: int, one: str, many: str = "") -> str:
    return f"the {one}" if number == 1 else f"the {_count(number, one, many)}"


def checks_for(decal: Decal) -> tuple[str, ...]:
    """What to measure before cutting, with which rule, as sentences with the true lengths in mm."""
    box = decal.outline.mapped(decal.fitted_from_decal).box
    checks = [
        "Each 100 mm check bar of the sheet, from like edge to like edge of its end lines: "
        "100.0 mm, with the same rule as at calibration, so that the rule's own error "
        "cancels.",
        f"The decal's outline: {box.width:.1f} mm wide and {box.height:.1f} mm high, with a rule "
        f"of {rule_for(max(box.width, box.height))} mm.",
    ]
    pair = farthest_holes(decal)
    if pair is not None:
        (a, b), distance = pair
        checks.append(
            f"Hole {a.label or 'A'} to hole {b.label or 'B'}, centre to centre: {distance:.1f} mm "
            "on the print and on the part (near edges plus far edges, halved)."
        )
    checks.append(
        "Lay the cut decal dry on the part and look through every hole before any glue or liner."
    )
    return tuple(checks)


def rule_for(length_mm: float) -> int:
    """The shortest usual steel rule, in mm, that spans the length in one go.

    >>> rule_for(140), rule_for(151), rule_for(2000)
    (150, 300, 1000)
    """
    return next((r for r in RULES_MM if r >= length_mm), RULES_MM[-1])


def farthest_holes(decal: Decal) -> tuple[tuple[Hole, Hole], float] | None:
    """The two round holes farthest apart, and their fitted distance in mm; None with fewer."""
    fit = decal.fitted_from_decal
    round_holes = [h for h in decal.holes if h.circle is not None]
    best: tuple[tuple[Hole, Hole], float] | None = None
    for k, a in enumerate(round_holes):
        for b in round_holes[k + 1 :]:
            assert a.circle is not None
            assert b.circle is not None
            at, to = (fit.apply(c.x, c.y) for c in (a.circle, b.circle))
            distance = math.dist(at, to)
            if best is None or distance > best[1] + 1e-9:
                best = ((a, b), distance)
    return best


def facts_of(decal: Decal, choices: BuildChoices) -> tuple[tuple[str, str], ...]:
    """Name and value of what the maker should have at hand: sizes, holes, stock, where from."""
    box: Box = decal.outline.box
    screws, guides = _by_kind(decal.holes)
    facts = [
        (
            "Decal",
            f"{box.width:.2f} x {box.height:.2f} mm, {_count(decal.copies, 'copy', 'copies')}",
        ),
        ("Outline from", decal.outline_from),
        ("Holes", f"{_count(guides, 'guide')}, {_count(screws, 'screw cross', 'screw crosses')}"),
        (
            "Bleed",
            f"{decal.bleed_mm:g} mm" + (", into holes too" if decal.bleed_into_holes else ""),
        ),
        *(("On", words) for words in choices.sheets),
        ("Stock", choices.stock.value),
        ("Lit", "backlit" if choices.backlit else "unlit"),
    ]
    classes = hole_classes(decal.holes)
    if len(classes) > MOST_CLASSES:
        classes = (*classes[:MOST_CLASSES], f"{len(classes) - MOST_CLASSES} more sizes: see proof")
    if classes:
        facts.insert(3, ("Sizes", "; ".join(classes)))
    fit = decal.fitted_from_decal
    if fit.as_tuple()[:4] != (1, 0, 0, 1):
        facts.append(
            ("Fitted to part", f"x {100 * (fit.a - 1):+.2f} %, y {100 * (fit.d - 1):+.2f} %")
        )
    return tuple(facts)


def cautions_for(choices: BuildChoices) -> tuple[tuple[str, str], ...]:
    """(heading, words) of each caution that this panel's work calls for."""
    found = [
        (
            "Knife",
            "Use a metal straight-edge, cut away from the hand in several light passes, change and "
            "cap blades.",
        )
    ]
    if choices.painted:
        found.append(
            (
                "Spray paint",
                "Outdoors or with extraction to the outside, away from flame, sparks and motors; "
                "respirator and gloves as the can and its safety data sheet say. No isocyanate "
                "paints at home.",
            )
        )
    if choices.printer == "laser" or choices.stock in (StockKind.LABEL, StockKind.DIE_CUT):
        found.append(
            (
                "Hot printers",
                "In a laser only stock that its maker rates for lasers: never inkjet film, vinyl "
                "or part-peeled sheets. Stop at the first curl.",
            )
        )
    if choices.backlit:
        found.append(
            (
                "LED wiring",
                "Low-voltage direct current only, current-limited, fused and insulated from metal "
                "switch parts and screws. Nothing on mains; that is for a licensed electrician.",
            )
        )
    found.append(
        (
            "All of it",
            "General information: the maker's data sheets, local codes and licensed practice come "
            "first. " + DISPLAY_ONLY,
        )
    )
    return tuple(found)
