"""The part as evidence of the artwork's size: the drawn outline against the part's own.

Where the file states a size, the part only confirms or contradicts it; where it states none, the
part gives it. A decal may be drawn a little smaller than its part, so a difference of up to
``CLEARANCE_MM`` in each direction is told as a note and not as a wrong scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from shapely.geometry import Polygon

from decalprep.errors import InputProblem
from decalprep.geometry import Box
from decalprep.intake.evidence import settle_size
from decalprep.intake.options import IntakeOptions
from decalprep.intake.slips import CONFLICT, slip_causes
from decalprep.model import Artwork, EvidenceRank, Notice, PartFace, Severity, SizeEvidence
from decalprep.units import MM_PER_UNIT, format_mm

CLEARANCE_MM = 1.5
ASPECT_SLACK = 0.03
UNIT_SLACK = 0.03
"""How far, as a share, a decal drawn with a clearance may be off a unit's ratio to its part."""


def drawn_outline_pt(artwork: Artwork) -> Box | None:
    """The box, in page points, of the largest closed path that is shown; None where there is none.

    Does not see outlines in pixels.
    """
    from decalprep.pdfstream import read_page

    largest, found = 0.0, None
    for shape in read_page(artwork.page_pdf).shapes:
        if not shape.visible:
            continue
        for path in shape.paths:
            points = path.points(0.05)
            # A filled path is closed by the fill even where it is drawn open.
            if len(set(points)) < 3 or not (path.closed or shape.fill):
                continue
            area = float(Polygon(points).area)
            if area > largest:
                largest, found = area, Box.around(points)
    return found


def part_claim(artwork: Artwork, part: PartFace) -> SizeEvidence | None:
    """The page size in mm at which the drawn outline is as large as the part's.

    By the longer side, upright or turned by a quarter; None where no drawn outline has the part's
    proportions (within 3 %).
    """
    drawn = drawn_outline_pt(artwork)
    if drawn is None or min(drawn.width, drawn.height) <= 0:
        return None
    true = part.outline.box
    for sides in ((true.width, true.height), (true.height, true.width)):
        if abs(sides[1] / sides[0] * drawn.width / drawn.height - 1) <= ASPECT_SLACK:
            long = 0 if sides[0] >= sides[1] else 1
            ratio = sides[long] / (drawn.width, drawn.height)[long]
            return SizeEvidence(
                EvidenceRank.PART,
                artwork.page_width_pt * ratio,
                artwork.page_height_pt * ratio,
                f"the part's outline, {format_mm(true.width)} x {format_mm(true.height)}",
            )
    return None


def compared_with_part(artwork: Artwork, part: PartFace, options: IntakeOptions) -> Artwork:
    """The artwork with the part among its evidence; its size changes only where it was assumed."""
    claim = part_claim(artwork, part)
    if claim is None:
        text = "no outline is drawn that has the part's proportions; its size was not compared"
        notice = Notice("part-not-compared", text, artwork.source, Severity.NOTE)
        return replace(artwork, notices=(*artwork.notices, notice))
    if artwork.evidence and artwork.evidence[0].rank is EvidenceRank.ASSUMED:
        return sized_by(claim, artwork, options)
    evidence = tuple(sorted((*artwork.evidence, claim), key=lambda e: e.rank))
    if artwork.evidence and artwork.evidence[0].rank > EvidenceRank.PART:
        evidence = (artwork.evidence[0], claim, *artwork.evidence[1:])
    _refuse_unit_slip(artwork, claim, part, options)
    told = _differences(artwork, claim)
    return replace(artwork, evidence=evidence, notices=(*artwork.notices, *told))


def _refuse_unit_slip(
    artwork: Artwork, claim: SizeEvidence, part: PartFace, options: IntakeOptions
) -> None:
    """Refuse a part that fits its artwork if it counts in inches or centimetres, unless its unit
    is said: outline and holes would be cut at that fraction of their size.
    """
    ratio = artwork.width_mm / claim.width_mm
    for unit, words in (("in", "inches"), ("cm", "centimetres")):
        if options.unit is None and abs(ratio / MM_PER_UNIT[unit] - 1) <= UNIT_SLACK:
            true = part.outline.box
            raise InputProblem(
                f"it is {ratio:.1f} times as large as its part, which reads as "
                f"{format_mm(true.width)} x {format_mm(true.height)}",
                where=artwork.source,
                do=f'if the part is drawn in {words}, add part_unit = "{unit}" to the panel; if '
                "the artwork is wrong, state its width",
            )


def sized_by(claim: SizeEvidence, artwork: Artwork, options: IntakeOptions) -> Artwork:
    """The artwork at the size that the part gives, over what was assumed."""
    page_size = (artwork.page_width_pt, artwork.page_height_pt)
    weaker = [e for e in artwork.evidence if e.rank > EvidenceRank.PART]
    size = settle_size([claim, *weaker], options, page_size=page_size, name=artwork.source)
    kept = [n for n in artwork.notices if n.code not in ("size-assumed", "size-conflict")]
    text = (
        f"the size is taken from {claim.reason}: the artwork becomes {format_mm(size.width_mm)} x "
        f"{format_mm(size.height_mm)}; if it is drawn smaller than the part, state its own size"
    )
    told = Notice("sized-by-part", text, artwork.source)
    return replace(
        artwork,
        width_mm=size.width_mm,
        height_mm=size.height_mm,
        evidence=size.evidence,
        notices=(*kept, *size.notices, told),
    )


def _differences(artwork: Artwork, claim: SizeEvidence) -> Sequence[Notice]:
    ratio = artwork.width_mm / claim.width_mm
    drawn = drawn_outline_pt(artwork)
    if drawn is None or abs(ratio - 1) <= CONFLICT:
        return ()
    scale = artwork.width_mm / artwork.page_width_pt
    longest = max(drawn.width, drawn.height) * scale
    off = longest - longest / ratio
    numbers = (("ratio", ratio), ("difference_mm", off))
    if abs(off) <= CLEARANCE_MM:
        text = (
            f"the drawn outline is {format_mm(abs(off))} {'longer' if off > 0 else 'shorter'} than "
            "the part: fine if that is your clearance, else check the scale"
        )
        note = Severity.NOTE
        return (Notice("part-clearance", text, artwork.source, note, None, numbers),)
    causes = slip_causes(ratio)
    why = f"; possible cause: {' or '.join(causes)}" if causes else ""
    text = (
        f"the drawn outline is {format_mm(longest)} long but the part is "
        f"{format_mm(longest / ratio)}, a ratio of {ratio:.4f}{why}; state the true size"
    )
    return (Notice("part-conflict", text, artwork.source, Severity.DANGER, None, numbers),)
