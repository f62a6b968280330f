"""A scanned calibration page: which page it is, how it lies, where its discs are."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.calibration import ScanPoints
from decalprep.errors import InputProblem, ReadingsRefused
from decalprep.marks.calibration_page_codes import page_code, place_of, read_identity
from decalprep.marks.calibration_page_layout import known_layout
from decalprep.model import Notice, TargetLayout
from decalprep.scan.discs import disc_centre
from decalprep.scan.images import Grey, ScanImage
from decalprep.units import MM_PER_IN

Array = npt.NDArray[np.float64]

_LONG_SIDE_PX = 2000
_LEAST_MARKERS = 2
_LEAST_SHARE = 0.6
_STRETCH_LIMIT = 0.012
_DPI_TAG_LIMIT = 0.01
_OUTLIER_MM = 0.25
_BENT_MM = 0.35
_STRAIGHT_DEG = 0.01
_COMMON_DPI = (75, 100, 150, 200, 240, 300, 400, 600, 800, 1200)


@dataclass(frozen=True)
class FoundPage:
    """A calibration page found in a scan: its layout and where its discs lie."""

    layout: TargetLayout
    points: ScanPoints


def find_page(image: ScanImage) -> FoundPage:
    """The discs of the calibration page in a scan, in px against their meant places in mm.

    Any turn and any resolution; px per mm come from the page, never from the dpi that the file
    claims. Does not correct anything: one scan cannot.

    Raises:
        InputProblem: no calibration page, a mirrored one, one of an unknown design.
        ReadingsRefused: too much of it is missing, or the picture is stretched.
    """
    layout, digits, mm, px = layout_seen(image)
    image_from_page = fit_affine(mm, px)
    found, places = _discs(image.grey, layout, image_from_page)
    if len(found) < _LEAST_SHARE * len(layout.discs):
        raise ReadingsRefused(
            f"only {len(found)} of {len(layout.discs)} discs can be seen",
            do="scan the whole page, flat and clean; turned by 90 degrees an A4 page may hang over",
        )
    return FoundPage(layout, _points(image, layout, found, places, digits))


def layout_seen(
    image: ScanImage,
) -> tuple[TargetLayout, tuple[int, int, int, int] | None, Array, Array]:
    """The page that the markers name, its code's digits, and the markers' corners in mm and px.

    Raises:
        InputProblem: no calibration page, a mirrored one, one of an unknown design.
    """
    corners, identity = _markers(image)
    page, design, digits = identity
    layout = known_layout(page, design, digits)
    if layout is None:
        raise InputProblem(
            f"shows a calibration page of design {design}, which this version does not know",
            where=image.name,
            do="print the page again with this version",
        )
    by_place = {m.place: m for m in layout.markers}
    pairs = [
        (mm, px)
        for place, found in corners.items()
        for mm, px in zip(by_place[place].corners, found, strict=True)
    ]
    return layout, digits, np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])


def fit_affine(from_xy: Array, to_xy: Array) -> Array:
    """The 2 x 3 affine map of least squares between two lists of points.

    Raises:
        ValueError: the points do not determine it.
    """
    system = np.column_stack([from_xy, np.ones(len(from_xy))])
    solution, _, rank, _ = np.linalg.lstsq(system, to_xy, rcond=None)
    if rank < 3:
        raise ValueError("three points that are not on a line are needed")
    return np.asarray(solution.T, dtype=np.float64)


def _markers(
    image: ScanImage,
) -> tuple[dict[int, Array], tuple[str, int, tuple[int, int, int, int] | None]]:
    shrink = max(1.0, max(image.grey.shape) / _LONG_SIDE_PX)
    size = (round(image.grey.shape[1] / shrink), round(image.grey.shape[0] / shrink))
    small = image.grey
    if shrink > 1:
        small = cv2.resize(small, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    corners, numbers = _detected(small, shrink)
    identity = read_identity(numbers)
    if len(corners) >= _LEAST_MARKERS and identity is not None:
        return corners, identity
    mirrored, _ = _detected(np.ascontiguousarray(small[:, ::-1]), shrink)
    if len(mirrored) >= _LEAST_MARKERS:
        raise InputProblem(
            "shows the page mirrored",
            where=image.name,
            do="switch off mirroring in the scan program, lay the printed side on the glass",
        )
    raise InputProblem(
        f"shows no calibration page ({len(corners)} of 6 markers found)",
        where=image.name,
        do="scan the whole page in grey at 150 to 1200 dpi",
    )


def _detected(grey: Grey, shrink: float) -> tuple[dict[int, Array], dict[int, int]]:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250)
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 0.02
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    found, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(grey)
    corners: dict[int, Array] = {}
    numbers: dict[int, int] = {}
    for quad, number in zip(found, [] if ids is None else ids.ravel().tolist(), strict=True):
        place = place_of(int(number))
        if place is None or place in corners:
            continue
        # Corners come with pixel centres at whole numbers; ours are at .5.
        corners[place] = (np.asarray(quad, float).reshape(4, 2) + 0.5) * shrink
        numbers[place] = int(number)
    return corners, numbers


def _discs(grey: Grey, layout: TargetLayout, image_from_page: Array) -> tuple[list[int], Array]:
    """(numbers of the discs found, their places in px)."""
    all_mm = np.array(layout.discs)
    radius = layout.disc_diameter_mm / 2
    guess = image_from_page
    for _ in range(3):
        inverse = np.asarray(np.linalg.inv(guess[:, :2]), dtype=np.float64)
        found, places = [], []
        for number, mm in enumerate(all_mm):
            at = guess[:, :2] @ mm + guess[:, 2]
            disc = disc_centre(grey, (float(at[0]), float(at[1])), inverse, radius)
            if disc is not None:
                found.append(number)
                places.append((disc.column, disc.row))
        if len(found) < 6:
            return [], np.zeros((0, 2))
        xy = np.array(places)
        fitted = fit_affine(all_mm[found], xy)
        moved = float(np.abs(fitted - guess).max())
        guess = fitted
        if moved < 0.05:
            break
    return _without_outliers(all_mm, found, xy)


def _without_outliers(all_mm: Array, found: list[int], xy: Array) -> tuple[list[int], Array]:
    """Discs far from a smooth map (dirt, a fold) are left out; lens and bow are smooth."""
    unit = (all_mm[found] - all_mm[found].mean(axis=0)) / 100
    x, y = unit.T
    terms = np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y, x**3, y**3])
    keep = np.ones(len(x), bool)
    scale = math.sqrt(abs(np.linalg.det(fit_affine(all_mm[found], xy)[:, :2])))
    for _ in range(3):
        solution = np.linalg.lstsq(terms[keep], xy[keep], rcond=None)[0]
        away = np.hypot(*(xy - terms @ solution).T) / scale
        keep = away < max(_OUTLIER_MM, 5 * float(np.median(away)))
    return [n for n, k in zip(found, keep, strict=True) if k], xy[keep]


def _points(
    image: ScanImage,
    layout: TargetLayout,
    found: list[int],
    xy: Array,
    digits: tuple[int, int, int, int] | None,
) -> ScanPoints:
    mm = np.array(layout.discs)[found]
    affine = fit_affine(mm, xy)
    linear = affine[:, :2]
    _refuse_photograph(image, mm @ linear.T + affine[:, 2] - xy, linear)
    turn = math.degrees(math.atan2(-linear[1, 0], linear[0, 0]))
    # Along the image's axes: how many px one mm of page makes in that direction.
    per_mm = (float(np.hypot(*linear[0])), float(np.hypot(*linear[1])))
    _refuse_stretch(image, per_mm)
    columns = sorted({round(x, 3) for x, _ in layout.discs})
    height, width = image.grey.shape
    centre = np.array(layout.centre)
    return ScanPoints(
        image.name,
        tuple((float(x), float(y)) for x, y in mm - centre),
        tuple((float(c - width / 2), float(height / 2 - r)) for c, r in xy),
        tuple(layout.disc_rows[n] for n in found),
        tuple(columns.index(round(layout.discs[n][0], 3)) for n in found),
        turn,
        per_mm,
        (width, height),
        image.claimed_dpi,
        layout.page,
        page_code(digits) if digits is not None else "",
        tuple(_notices(image, per_mm, turn, len(layout.discs) - len(found))),
    )


def _refuse_photograph(image: ScanImage, left_px: Array, linear: Array) -> None:
    """A flatbed bends a page by less than 0.2 mm; perspective and curl bend it by millimetres."""
    bent = float(np.sqrt(np.mean(np.sum(left_px**2, axis=1)) / abs(np.linalg.det(linear))))
    if bent > _BENT_MM:
        raise ReadingsRefused(
            f"the page is bent by {bent:.1f} mm in the picture: a photograph, or not flat",
            where=image.name,
            do="use a flatbed scanner, the page flat under the lid; photographs are not accurate "
            "enough to correct a printer",
        )


def _refuse_stretch(image: ScanImage, per_mm: tuple[float, float]) -> None:
    ratio = per_mm[1] / per_mm[0]
    if abs(ratio - 1) > _STRETCH_LIMIT:
        raise ReadingsRefused(
            f"the picture is stretched: {per_mm[0] * MM_PER_IN:.1f} dots an inch across, "
            f"{per_mm[1] * MM_PER_IN:.1f} down",
            where=image.name,
            do="scan with the same resolution both ways, no fitting or resizing",
        )


def _notices(
    image: ScanImage, per_mm: tuple[float, float], turn: float, missing: int
) -> list[Notice]:
    notices = []
    dpi = MM_PER_IN * math.sqrt(per_mm[0] * per_mm[1])
    numbers: Mapping[str, float] = {"measured_dpi": dpi}
    claimed = image.claimed_dpi
    if claimed is not None and any(abs(c / dpi - 1) > _DPI_TAG_LIMIT for c in claimed):
        text = (
            f"the file says {claimed[0]:.0f} x {claimed[1]:.0f} dpi, the page measures {dpi:.1f}: "
            "a wrong tag does not matter here, since the page itself is the measure"
        )
        notices.append(_notice("scan-dpi-tag-wrong", text, image, numbers))
    if min(abs(dpi / common - 1) for common in _COMMON_DPI) > _STRETCH_LIMIT:
        text = (
            f"the page measures {dpi:.1f} dpi, which no scanner offers: the scan program has "
            "resized the picture; scan without resizing"
        )
        notices.append(_notice("scan-resampled", text, image, numbers))
    if abs(turn / 90 - round(turn / 90)) * 90 < _STRAIGHT_DEG:
        text = (
            "the page lies straight to a hundredth of a degree: if the scan program straightens "
            "pictures, switch that off, it moves every line"
        )
        notices.append(_notice("scan-straightened", text, image, {"turn_deg": turn}))
    if missing:
        text = f"{missing} discs are cut off, dirty or folded and were left out"
        notices.append(_notice("scan-discs-missing", text, image, {"missing": float(missing)}))
    return notices


def _notice(code: str, text: str, image: ScanImage, numbers: Mapping[str, float]) -> Notice:
    return Notice(code, text, image.name, numbers=tuple(numbers.items()))
