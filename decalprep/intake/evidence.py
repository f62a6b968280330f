"""Ranked evidence of an artwork's true size, and what is told when claims disagree.

The strongest claim is taken: the user's words, the part, the file's physical units, its density,
an assumption. A weaker claim that differs by more than 0.2 % is told, with the cause where the
ratio is that of a known slip. Nothing is ever rescaled by such a guess.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from decalprep.errors import InputProblem, NoSize, TooMuch, UsageProblem
from decalprep.intake.options import IntakeOptions, KnownDistance
from decalprep.intake.slips import CONFLICT, rounded_page, slip_causes
from decalprep.model import EvidenceRank, Notice, Severity, SizeEvidence
from decalprep.units import PAGE_SIZES_MM, format_mm, mm_from_pt

SHORT_BASE = 0.25
"""A known distance under this share of the page's diagonal magnifies its own reading error."""

EXACT = 1e-6
"""Claims that differ by less than this share are the same."""


@dataclass(frozen=True)
class SettledSize:
    """The size taken, in mm of the whole page, all the evidence (strongest first), and notices."""

    width_mm: float
    height_mm: float
    evidence: tuple[SizeEvidence, ...]
    notices: tuple[Notice, ...] = ()


def settle_size(
    claims: Sequence[SizeEvidence],
    options: IntakeOptions,
    *,
    page_size: tuple[float, float],
    name: str,
) -> SettledSize:
    """The true page size in mm from what the file claims and what the user says.

    ``page_size`` is (width, height) of the page in its own points: the aspect where no claim has
    one, and the frame of ``options.known_distance``. Does not rescale by a guessed cause.

    Raises:
        NoSize: no claim at all, or a scale ratio with nothing to multiply.
        InputProblem: the user's words contradict each other or the artwork's aspect.
        TooMuch: a side beyond the limits.
        UsageProblem: a value that is not a positive number.
    """
    _check_page(page_size, name)
    stated = sorted(claims, key=lambda claim: claim.rank)
    said, notices = _said(stated, options, page_size, name)
    ranked = tuple(sorted([*said, *stated], key=lambda claim: claim.rank))
    if not ranked:
        raise NoSize(
            "nothing says how large this artwork is",
            where=name,
            do='say its true size, as in width = "80 mm", or a distance you know on it',
        )
    best = ranked[0]
    _check_sides(best, options, name)
    notices += _told_conflicts(ranked, name)
    if best.rank is EvidenceRank.ASSUMED:
        notices.append(_assumed_notice(best, name))
    return SettledSize(best.width_mm, best.height_mm, ranked, tuple(notices))


def _check_page(page_size: tuple[float, float], name: str) -> None:
    if not all(math.isfinite(side) and side > 0 for side in page_size):
        raise InputProblem(
            f"its page has no area ({page_size[0]:g} x {page_size[1]:g})",
            where=name,
            do="set the page size in the program that made it",
        )


def _check_sides(best: SizeEvidence, options: IntakeOptions, name: str) -> None:
    limits = options.limits
    sides = (best.width_mm, best.height_mm)
    shown = f"{format_mm(sides[0])} x {format_mm(sides[1])} ({best.reason})"
    if not all(math.isfinite(side) and side > 0 for side in sides):
        raise InputProblem(f"its size would be {shown}", where=name, do="state the true size")
    if max(sides) > limits.max_side_mm:
        raise TooMuch(
            f"its size would be {shown}, beyond {limits.max_side_mm:g} mm",
            where=name,
            do="state the true size; a wrong unit is the usual cause",
        )
    if min(sides) < limits.min_side_mm:
        raise InputProblem(
            f"its size would be {shown}, under {limits.min_side_mm:g} mm",
            where=name,
            do="state the true size; a wrong unit is the usual cause",
        )


def _positive(value: float, what: str, name: str) -> float:
    if not (math.isfinite(value) and value > 0):
        raise UsageProblem(
            f"{what} {value:g} is not a positive number", where=name, do="correct it"
        )
    return value


def _base_size(stated: Sequence[SizeEvidence], page_size: tuple[float, float]) -> SizeEvidence:
    """The file's own size, or its page taken as points where it claims none."""
    if stated:
        return stated[0]
    width, height = mm_from_pt(page_size[0]), mm_from_pt(page_size[1])
    return SizeEvidence(EvidenceRank.ASSUMED, width, height, "page taken as 1/72 in")


def _said(
    stated: Sequence[SizeEvidence],
    options: IntakeOptions,
    page_size: tuple[float, float],
    name: str,
) -> tuple[list[SizeEvidence], list[Notice]]:
    """The user's words as claims; more than one must agree."""
    base = _base_size(stated, page_size)
    said: list[SizeEvidence] = []
    notices: list[Notice] = []
    if options.width_mm is not None or options.height_mm is not None:
        claim, told = _said_sides(base, options, name)
        said.append(claim)
        notices += told
    if options.known_distance is not None:
        claim, told = _said_distance(base, options.known_distance, page_size, name)
        said.append(claim)
        notices += told
    if options.scale is not None:
        ratio = _positive(options.scale, "scale", name)
        if not stated:
            raise NoSize(
                f"scale {ratio:g} has no size to multiply: the file states none",
                where=name,
                do='say the true size, as in width = "80 mm"',
            )
        said.append(_scaled(base, ratio, f"you said scale {ratio:g} of {base.reason}"))
    for other in said[1:]:
        if _gap(said[0], other) > CONFLICT:
            raise InputProblem(
                f"your own statements disagree: {_shown(said[0])} but {_shown(other)}",
                where=name,
                do="keep the one you trust",
            )
    return said, notices


def _scaled(base: SizeEvidence, ratio: float, reason: str) -> SizeEvidence:
    return SizeEvidence(EvidenceRank.USER, base.width_mm * ratio, base.height_mm * ratio, reason)


def _said_sides(
    base: SizeEvidence, options: IntakeOptions, name: str
) -> tuple[SizeEvidence, list[Notice]]:
    aspect = base.height_mm / base.width_mm
    if options.height_mm is None:
        width = _positive(options.width_mm or 0.0, "width", name)
        reason = f"you said width {format_mm(width)}; the height follows the artwork"
        return SizeEvidence(EvidenceRank.USER, width, width * aspect, reason), []
    height = _positive(options.height_mm, "height", name)
    if options.width_mm is None:
        reason = f"you said height {format_mm(height)}; the width follows the artwork"
        return SizeEvidence(EvidenceRank.USER, height / aspect, height, reason), []
    width = _positive(options.width_mm, "width", name)
    reason = f"you said {format_mm(width)} x {format_mm(height)}"
    claim = SizeEvidence(EvidenceRank.USER, width, height, reason)
    stretch = (height / width) / aspect
    if abs(stretch - 1) <= EXACT:
        return claim, []
    return claim, [_stretch_notice(claim, stretch, options, name)]


def _stretch_notice(
    claim: SizeEvidence, stretch: float, options: IntakeOptions, name: str
) -> Notice:
    """Told within 0.2 %; beyond it refused, for circles would turn oval, unless allowed."""
    found = (
        f"{format_mm(claim.width_mm)} x {format_mm(claim.height_mm)} stretches the artwork by "
        f"{(stretch - 1) * 100:+.2f} % in height: circles become ovals"
    )
    if abs(stretch - 1) > CONFLICT and not options.allow_stretch:
        follows = claim.height_mm / stretch
        raise InputProblem(
            found,
            where=name,
            do=f"give the width alone (the height is then {format_mm(follows)}) or stretch = true",
        )
    severity = Severity.DANGER if abs(stretch - 1) > CONFLICT else Severity.WARNING
    return Notice("stretched", found, name, severity, None, (("height_ratio", stretch),))


def _said_distance(
    base: SizeEvidence, known: KnownDistance, page_size: tuple[float, float], name: str
) -> tuple[SizeEvidence, list[Notice]]:
    true_mm = _positive(known.distance_mm, known.name, name)
    across_mm = (known.x2_pt - known.x1_pt) * base.width_mm / page_size[0]
    up_mm = (known.y2_pt - known.y1_pt) * base.height_mm / page_size[1]
    drawn_mm = math.hypot(across_mm, up_mm)
    diagonal_mm = math.hypot(base.width_mm, base.height_mm)
    if not drawn_mm > 1e-6 * diagonal_mm:
        raise UsageProblem(
            f"{known.name} lies between two points that coincide",
            where=name,
            do="choose two points far apart",
        )
    reason = f"you said that {known.name} is {format_mm(true_mm)}"
    claim = _scaled(base, true_mm / drawn_mm, reason)
    share = drawn_mm / diagonal_mm
    if share >= SHORT_BASE:
        return claim, []
    text = (
        f"{known.name} is only {share * 100:.0f} % of the artwork's diagonal: a reading error of "
        f"0.1 mm in it becomes {0.1 / share:.1f} mm over the whole; choose points further apart"
    )
    return claim, [Notice("short-known-distance", text, name)]


def _gap(one: SizeEvidence, other: SizeEvidence) -> float:
    """Largest relative difference of the two sizes in a side."""
    return max(
        abs(other.width_mm / one.width_mm - 1),
        abs(other.height_mm / one.height_mm - 1),
    )


def _shown(claim: SizeEvidence) -> str:
    return f"{format_mm(claim.width_mm)} x {format_mm(claim.height_mm)} ({claim.reason})"


def _told_conflicts(ranked: Sequence[SizeEvidence], name: str) -> list[Notice]:
    best, notices = ranked[0], []
    for other in ranked[1:]:
        gap = _gap(best, other)
        if gap > CONFLICT:
            notices.append(_conflict_notice(best, other, name))
        elif gap > EXACT:
            notices += _rounding_notice(best, other, name)
    return notices


def _conflict_notice(best: SizeEvidence, other: SizeEvidence, name: str) -> Notice:
    across = other.width_mm / best.width_mm
    up = other.height_mm / best.height_mm
    ratio = f"{across:.4f}" if abs(across / up - 1) <= EXACT else f"{across:.4f} x {up:.4f}"
    turned = SizeEvidence(other.rank, other.height_mm, other.width_mm, other.reason)
    causes = slip_causes(across, up)
    if _gap(best, turned) <= CONFLICT:
        causes = ("width and height exchanged: the page is turned", *causes)[:3]
    why = f"; possible cause: {' or '.join(causes)}" if causes else ""
    text = (
        f"taken as {_shown(best)}, but {_shown(other)} is {ratio} of that{why}; "
        "check one length you know"
    )
    # A scale stated on purpose differs from the file's own size by that scale; an assumption
    # carries no weight against a statement.
    wanted = best.reason.startswith("you said scale") or other.rank is EvidenceRank.ASSUMED
    severity = Severity.NOTE if wanted else Severity.WARNING
    numbers = (("ratio_across", across), ("ratio_up", up))
    return Notice("size-conflict", text, name, severity, None, numbers)


def _rounding_notice(best: SizeEvidence, other: SizeEvidence, name: str) -> list[Notice]:
    """A user's A4 against a file's A4 of whole points: a scale error too small for a conflict."""
    page = rounded_page(other.width_mm, other.height_mm)
    if best.rank is not EvidenceRank.USER or page is None:
        return []
    sides = PAGE_SIZES_MM[page]
    if not any(abs(best.width_mm - s) < 1e-3 or abs(best.height_mm - s) < 1e-3 for s in sides):
        return []
    across, up = best.width_mm / other.width_mm - 1, best.height_mm / other.height_mm - 1
    text = (
        f"the file's page is {page} rounded to whole points ({_shown(other)}); scaling it to "
        f"{_shown(best)} changes every length by {across * 100:+.3f} % across and "
        f"{up * 100:+.3f} % up; leave the size out to keep the file's own lengths"
    )
    numbers = (("error_across", across), ("error_up", up))
    return [Notice("rounded-page", text, name, Severity.WARNING, None, numbers)]


def _assumed_notice(best: SizeEvidence, name: str) -> Notice:
    text = f"no true size is stated; taken as {_shown(best)}; check one length you know"
    return Notice("size-assumed", text, name)
