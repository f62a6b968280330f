"""A printed sheet found in one scan: which of its lines are seen, and where. The scan can then go.

A colour scan of an A4 sheet at 300 dpi holds 26 MB, its lines some hundred kB: scans are read,
looked through and let go one after the other.
"""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.calibration import ScanPoints
from decalprep.geometry import Affine
from decalprep.model import Notice
from decalprep.scan.findings import ExpectedPrint
from decalprep.scan.images import Grey, ScanImage
from decalprep.scan.lines import Across, Samples, look_in_all, sample_lines
from decalprep.scan.placing import place_sheet, placed_beside
from decalprep.units import MM_PER_IN

Array = npt.NDArray[np.float64]

PICTURE_PX = 1600
"""Long side of the small picture that is kept of a scan."""
_BAND_MM = 25.0
_NEAR_MM = 0.4
_FAINT_SHARE = 0.9
_CLEARLY = 0.1
_WRONG_TAG = 0.12


@dataclass(frozen=True)
class PlacedPrint:
    """One scan of a sheet: the lines seen in it, which samples they are, and a small picture.

    ``claimed_dpi`` is None where the file claims none or one that cannot be. ``image_from_mm``
    takes sheet mm to px (column, row) of the scan, ``shrink`` px of the scan to those of
    ``picture``.
    """

    name: str
    claimed_dpi: tuple[float, float] | None
    points: ScanPoints
    seen: npt.NDArray[np.bool_]
    image_from_mm: Affine
    picture: Grey
    shrink: float


def print_samples(expected: ExpectedPrint) -> Samples:
    """Samples along all outlines and marks of a sheet; owners count outlines first."""
    return sample_lines([*(d.outline for d in expected.decals), *expected.marks])


def place_print(
    scan: ScanImage, expected: ExpectedPrint, image_from_mm: Array | None = None
) -> PlacedPrint:
    """The sheet in one scan; ``image_from_mm`` (2 x 3) says how it lies, where that is known.

    Raises:
        InputProblem: the scan does not show this sheet.
    """
    samples = print_samples(expected)
    size = (expected.width_mm, expected.height_mm)
    if image_from_mm is None:
        lines = [*(d.outline for d in expected.decals), *expected.marks]
        placed = place_sheet(scan, lines, samples, size)
        image_from_mm, across = placed.image_from_mm, placed.across
    else:
        across = look_in_all(scan.views, image_from_mm, samples, reach_mm=0.5)
    seen = across.seen & (np.abs(across.offsets_mm) < _NEAR_MM)
    found = _px_of(image_from_mm, samples, across.offsets_mm)
    for owner in range(len(expected.decals)):
        _look_again(scan, image_from_mm, samples, owner, seen, found)
    points = _points(scan, image_from_mm, samples, seen, found, size)
    points = replace(points, notices=(*points.notices, *_faint(scan, across, seen)))
    shrink = min(1.0, PICTURE_PX / max(scan.grey.shape))
    high, wide = scan.grey.shape
    small = cv2.resize(
        scan.grey, (round(wide * shrink), round(high * shrink)), interpolation=cv2.INTER_AREA
    )
    return PlacedPrint(
        scan.name,
        points.claimed_dpi,
        points,
        seen,
        _as_affine(image_from_mm),
        np.asarray(small, dtype=np.uint8),
        shrink,
    )


def _px_of(image_from_mm: Array, samples: Samples, offsets_mm: Array) -> Array:
    """Where in the picture the lines were found, px."""
    at = samples.points + offsets_mm[:, None] * samples.normals
    return np.asarray(at @ image_from_mm[:, :2].T + image_from_mm[:, 2], dtype=np.float64)


def _look_again(
    scan: ScanImage,
    image_from_mm: Array,
    samples: Samples,
    owner: int,
    seen: npt.NDArray[np.bool_],
    found: Array,
) -> None:
    """Look further about for a decal of which much is not seen: it may lie beside its place."""
    mine = np.flatnonzero(samples.owners == owner)
    if not len(mine) or float(seen[mine].mean()) >= _FAINT_SHARE:
        return
    own = Samples(samples.points[mine], samples.normals[mine], samples.owners[mine])
    beside = placed_beside(scan.views, image_from_mm, own)
    if beside is None:
        return
    across = beside.across
    now = across.seen & (np.abs(across.offsets_mm) < _NEAR_MM)
    if now.mean() > seen[mine].mean() + _CLEARLY:
        seen[mine] = now
        found[mine] = _px_of(beside.image_from_mm, own, across.offsets_mm)


def _as_affine(m: Array) -> Affine:
    return Affine(*(float(v) for v in (m[0, 0], m[1, 0], m[0, 1], m[1, 1], m[0, 2], m[1, 2])))


def _points(
    scan: ScanImage,
    image_from_mm: Array,
    samples: Samples,
    seen: npt.NDArray[np.bool_],
    found: Array,
    size_mm: tuple[float, float],
) -> ScanPoints:
    """The lines seen as scan points that count across the line only."""
    linear, px = image_from_mm[:, :2], found[seen]
    # A line's normal in the picture: the direction across the mapped tangent.
    tangents = np.column_stack([samples.normals[seen][:, 1], -samples.normals[seen][:, 0]])
    along = tangents @ linear.T
    # y runs down in the picture and up here: the tangent (p, q) is (p, -q), its left is (q, p).
    normals = np.column_stack([along[:, 1], along[:, 0]])
    normals = normals / np.linalg.norm(normals, axis=1)[:, None]
    high, wide = scan.grey.shape
    # The foot of the sample itself, so that the place along the line is the meant one.
    centred = samples.points[seen] - np.array(size_mm) / 2
    bands = np.floor(samples.points[seen] / _BAND_MM).astype(int)
    image = np.column_stack([px[:, 0] - wide / 2, high / 2 - px[:, 1]])
    per_mm = (float(np.hypot(*linear[0])), float(np.hypot(*linear[1])))
    wrong = _wrong_tag(scan, per_mm)
    return ScanPoints(
        scan.name,
        tuple(map(tuple, centred.tolist())),
        tuple(map(tuple, image.tolist())),
        tuple(bands[:, 1].tolist()),
        tuple(bands[:, 0].tolist()),
        math.degrees(math.atan2(-linear[1, 0], linear[0, 0])),
        per_mm,
        (wide, high),
        None if wrong else scan.claimed_dpi,
        normals=tuple(map(tuple, normals.tolist())),
        notices=wrong,
    )


def _wrong_tag(scan: ScanImage, px_per_mm: tuple[float, float]) -> tuple[Notice, ...]:
    """What to tell where a file claims a resolution that no print could come out so wrong by."""
    if scan.claimed_dpi is None:
        return ()
    real = MM_PER_IN * math.sqrt(px_per_mm[0] * px_per_mm[1])
    if abs(real / math.sqrt(scan.claimed_dpi[0] * scan.claimed_dpi[1]) - 1) < _WRONG_TAG:
        return ()
    text = (
        f"the file claims {scan.claimed_dpi[0]:.0f} dpi, but was scanned at about {real:.0f}: its "
        "claim is not used for the sheet's size"
    )
    return (Notice("scan-dpi-tag-wrong", text, scan.name),)


def _faint(scan: ScanImage, across: Across, seen: npt.NDArray[np.bool_]) -> tuple[Notice, ...]:
    """What to tell where many lines within the picture are not seen."""
    share = float(seen.sum() / max(int(across.inside.sum()), 1))
    if share >= _FAINT_SHARE:
        return ()
    text = (
        f"only {100 * share:.0f} % of the sheet's lines that the scan covers are seen in it; the "
        "rest of it is judged by those: check the picture, and that the scan is sharp and in colour"
    )
    return (Notice("scan-lines-missing", text, scan.name, numbers=(("share", share),)),)
