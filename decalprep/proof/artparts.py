"""The measured artwork of one decal, judged: right picture, right place, right size, in sight."""

from __future__ import annotations

import math

from decalprep.errors import InputProblem
from decalprep.model import Layer
from decalprep.proof.artwork import MeasuredArtwork, measure_artwork
from decalprep.proof.cover import covered
from decalprep.proof.expected import ExpectedArtwork, ExpectedDecal
from decalprep.proof.lineparts import Judged
from decalprep.proof.result import Part
from decalprep.proof.views import Views

NOTHING = (math.nan, math.nan)
NO_PICTURE = "no picture that can be measured; the cut outline stands for it"
STATES = {
    "missing": "the artwork is missing",
    "mirrored": "the artwork is mirrored",
    "turned": "the artwork is turned",
    "other": "another picture is in the place of the artwork",
}


def artwork_parts(
    views: Views, decal: ExpectedDecal, tolerance_mm: float
) -> tuple[Judged, tuple[float, float]]:
    """The artwork's place and picture, and its size as (width, height) in true mm of its page."""
    art = decal.artwork
    if art is None:
        return ([], []), NOTHING
    try:
        reference = views.reference(art.page_pdf)
    except InputProblem as fault:
        return ([Part("artwork", math.inf, str(fault))], [str(fault)]), NOTHING
    found = measure_artwork(views.of(Layer.ARTWORK.value), reference, decal)
    reference.rest()
    size = NOTHING
    faults: list[str] = []
    if found.state in ("blank", "too small"):
        parts = [Part("artwork", 0.0, NO_PICTURE)]
    else:
        size = _size(art, found)
        part, faults = _picture_part(found, tolerance_mm)
        part, more = _size_part(art, found, size, part, tolerance_mm)
        parts, faults = [part], faults + more
    if found.state not in STATES:
        faults = faults + _cover_faults(views, decal)
    return (parts, faults), size


def _size(art: ExpectedArtwork, found: MeasuredArtwork) -> tuple[float, float]:
    """(width, height) of the artwork's page in true mm, as it came out."""
    return (
        art.width_mm * found.width_ratio if found.width_ratio else math.nan,
        art.height_mm * found.height_ratio if found.height_ratio else math.nan,
    )


def _size_part(
    art: ExpectedArtwork,
    found: MeasuredArtwork,
    size: tuple[float, float],
    part: Part,
    tolerance_mm: float,
) -> tuple[Part, list[str]]:
    """The part with its size error taken in."""
    faults: list[str] = []
    if found.state not in ("same", "differs"):
        return part, faults
    wanted = (art.width_mm, art.height_mm)
    for name, got, want in zip(("wide", "high"), size, wanted, strict=True):
        if abs(got - want) > tolerance_mm:  # not-a-number compares false
            faults.append(f"the artwork measures {got:.3f} mm {name}, intended {want:.3f}")
            part = Part(part.what, max(part.error_mm, abs(got - want)), part.found)
    return part, faults


def _cover_faults(views: Views, decal: ExpectedDecal) -> list[str]:
    """A fault where the whole sheet shows something else than the artwork."""
    area_mm2, where = covered(views.whole, views.of(Layer.ARTWORK.value), decal)
    if where is None:
        return []
    x, y = where.centre
    return [
        "something else shows over or through the artwork, "
        f"{area_mm2:.1f} mm2 near ({x:.0f}, {y:.0f}) mm"
    ]


def _picture_part(found: MeasuredArtwork, tolerance_mm: float) -> tuple[Part, list[str]]:
    """The artwork in words."""
    if found.state in STATES:
        return Part("artwork", math.inf, STATES[found.state]), [STATES[found.state]]
    dx, dy = found.shift_mm
    text = f"largest {found.worst_mm:.4f} mm, shift ({dx:.4f}, {dy:.4f}) mm"
    faults = []
    if found.worst_mm > tolerance_mm:
        faults.append(f"the artwork is up to {found.worst_mm:.3f} mm from its place")
    if found.state == "differs":
        at = found.differs_at
        where = f" near ({at.centre[0]:.1f}, {at.centre[1]:.1f}) mm" if at else ""
        faults.append(f"the picture differs over {found.differs_mm2:.2f} mm2{where}")
    return Part("artwork", found.worst_mm, text), faults
