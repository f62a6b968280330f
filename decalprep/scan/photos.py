"""A photographed calibration page: which page it is, and where its discs lie in the picture.

A photograph shows the page aslant and through a lens: places are foretold by a projective map and,
once enough discs are found, by a cubic one on top of it. Nothing is corrected here:
``calibration.shape_from_photos`` solves for camera and page.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.calibration import PhotoPoints
from decalprep.calibration.bundle import homography
from decalprep.errors import ReadingsRefused
from decalprep.marks.calibration_page_codes import page_code
from decalprep.model import Notice, TargetLayout
from decalprep.scan.discs import disc_centre
from decalprep.scan.images import Grey, ScanImage
from decalprep.scan.page import layout_seen

Array = npt.NDArray[np.float64]

_LEAST_SHARE = 0.6
_LEAST_PX_PER_MM = 2.5
_ROUNDS = 6
_OUTLIER_MM = 0.15


@dataclass(frozen=True)
class FoundPhoto:
    """A calibration page found in a photograph: its layout and where its discs lie."""

    layout: TargetLayout
    points: PhotoPoints


def find_page_in_photo(image: ScanImage) -> FoundPhoto:
    """The discs of the calibration page in a photograph, in px against their meant places in mm.

    Raises:
        InputProblem: no calibration page, a mirrored one, one of an unknown design.
        ReadingsRefused: too much of it is missing, or the page is too small in the picture.
    """
    layout, digits, mm, px = layout_seen(image)
    found, places = _discs(image.grey, layout, _Map(mm, px, order=0))
    if len(found) < _LEAST_SHARE * len(layout.discs):
        raise ReadingsRefused(
            f"only {len(found)} of {len(layout.discs)} discs can be seen",
            where=image.name,
            do="photograph the whole page, evenly lit, in focus, without your shadow on it",
        )
    columns = sorted({round(x, 3) for x, _ in layout.discs})
    height, width = image.grey.shape
    centre = np.array(layout.centre)
    page = np.array(layout.discs)[found] - centre
    missing = len(layout.discs) - len(found)
    text = f"{missing} discs are out of the picture, covered or in a shadow, and were left out"
    notice = Notice("photo-discs-missing", text, image.name, numbers=(("missing", float(missing)),))
    points = PhotoPoints(
        image.name,
        tuple((float(x), float(y)) for x, y in page),
        tuple((float(c - width / 2), float(height / 2 - r)) for c, r in places),
        tuple(layout.disc_rows[n] for n in found),
        tuple(columns.index(round(layout.discs[n][0], 3)) for n in found),
        (width, height),
        layout.page,
        page_code(digits) if digits is not None else "",
        image.camera,
        (notice,) if missing else (),
    )
    return FoundPhoto(layout, points)


class _Map:
    """Page mm to px: projective, with a polynomial of ``order`` for what that leaves."""

    def __init__(self, mm: Array, px: Array, *, order: int) -> None:
        self.middle, self.unit = mm.mean(axis=0), 100.0
        self.px0, self.px_unit = px.mean(axis=0), float(np.abs(px - px.mean(axis=0)).max())
        self.order = order
        self.h = homography((mm - self.middle) / self.unit, (px - self.px0) / self.px_unit)
        self.rest: Array | None = None
        if order:
            left = px - self.at(mm)
            self.rest = np.asarray(np.linalg.lstsq(self._terms(mm), left, rcond=None)[0])

    def _terms(self, mm: Array) -> Array:
        x, y = ((mm - self.middle) / self.unit).T
        powers = [(i, j) for i in range(self.order + 1) for j in range(self.order + 1 - i)]
        return np.column_stack([x**i * y**j for i, j in powers])

    def at(self, mm: Array) -> Array:
        flat = (mm - self.middle) / self.unit
        q = np.column_stack([flat, np.ones(len(flat))]) @ self.h.T
        px: Array = q[:, :2] / q[:, 2:] * self.px_unit + self.px0
        return px if self.rest is None else px + self._terms(mm) @ self.rest

    def inverses(self, mm: Array) -> Array:
        """Steps in px to steps in mm at each place."""
        right = (self.at(mm + (0.5, 0)) - self.at(mm - (0.5, 0)))[:, :, None]
        up = (self.at(mm + (0, 0.5)) - self.at(mm - (0, 0.5)))[:, :, None]
        out: Array = np.linalg.inv(np.concatenate([right, up], axis=2))
        return out


def _discs(grey: Grey, layout: TargetLayout, guess: _Map) -> tuple[list[int], Array]:
    """(numbers of the discs found, centroids in px), the map made better as more are found."""
    mm = np.array(layout.discs)
    radius = layout.disc_diameter_mm / 2
    found: list[int] = []
    places = np.zeros((0, 2))
    for _ in range(_ROUNDS):
        before = len(found)
        at, inverses = guess.at(mm), guess.inverses(mm)
        seen = {}
        for n, (spot, inverse) in enumerate(zip(at, inverses, strict=True)):
            disc = disc_centre(grey, (float(spot[0]), float(spot[1])), inverse, radius)
            if disc is not None:
                seen[n] = (disc.column, disc.row)
        if len(seen) < 8:
            return [], np.zeros((0, 2))
        found, places = list(seen), np.array(list(seen.values()))
        order = 3 if len(found) >= 30 else 2 if len(found) >= 15 else 0
        better = _Map(mm[found], places, order=order)
        settled = len(found) == before and float(np.abs(better.at(mm) - at).max()) < 0.3
        guess = better
        if settled:
            break
    return _kept(mm, found, places, guess)


def _kept(mm: Array, found: list[int], places: Array, last: _Map) -> tuple[list[int], Array]:
    """Without discs far off a smooth map (dirt, a shadow's edge, a fold)."""
    per_mm = 1 / np.sqrt(np.abs(np.linalg.det(last.inverses(mm[found]))))
    if float(per_mm.min()) < _LEAST_PX_PER_MM:
        raise ReadingsRefused(
            f"the page is too small in the picture: {per_mm.min():.1f} pixels a millimetre, "
            f"{_LEAST_PX_PER_MM:.1f} are needed",
            do="go nearer, so that the page fills the picture",
        )
    keep = np.ones(len(found), bool)
    for _ in range(2):
        smooth = _Map(mm[found][keep], places[keep], order=3 if keep.sum() >= 30 else 2)
        away = np.hypot(*(smooth.at(mm[found]) - places).T) / per_mm
        keep = away < max(_OUTLIER_MM, 5 * float(np.median(away)))
    return [n for n, k in zip(found, keep, strict=True) if k], places[keep]
