"""A bare part in a scan: its edge and its round holes, at half the step of brightness there."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.errors import InputProblem
from decalprep.geometry import fit_circle
from decalprep.scan.images import Grey, ScanImage

Array = npt.NDArray[np.float64]

_ROUND_MM = 0.25


@dataclass(frozen=True)
class FoundPart:
    """A part in a scan: outline (px) and round holes as (column, row, diameter) in px."""

    outline_px: Array
    holes_px: Array


def find_part(image: ScanImage, px_per_mm: float) -> FoundPart:
    """Outline and round holes of a flat part on a scanner, to some hundredths of a millimetre.

    Raises:
        InputProblem: nothing in the picture stands out from the background.
    """
    grey = cv2.GaussianBlur(image.grey, (0, 0), 1.0).astype(np.uint8)
    _, mask = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    border = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    if np.mean(border) > 127:
        mask = cv2.bitwise_not(mask)
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    areas = [cv2.contourArea(c) if tree[0][i][3] < 0 else 0.0 for i, c in enumerate(contours)]
    if not areas or max(areas) < (10 * px_per_mm) ** 2:
        raise InputProblem(
            "shows no part",
            where=image.name,
            do="scan the part on a background that is much lighter or darker than it",
        )
    outer = int(np.argmax(areas))
    circles = []
    for contour, node in zip(contours, tree[0], strict=True):
        if node[3] != outer or cv2.contourArea(contour) < (1.0 * px_per_mm) ** 2:
            continue
        rim = _rim(image.grey, contour.reshape(-1, 2).astype(float) + 0.5, px_per_mm)
        circle, error = fit_circle([(float(x), float(y)) for x, y in rim])
        if error < _ROUND_MM * px_per_mm + 1:
            circles.append((circle.x, circle.y, circle.diameter))
    outline = _rim(image.grey, contours[outer].reshape(-1, 2).astype(float) + 0.5, px_per_mm)
    return FoundPart(outline, np.array(circles).reshape(-1, 3))


def _rim(grey: Grey, contour: Array, px_per_mm: float) -> Array:
    """Contour points moved along their normals to where the brightness crosses the middle level."""
    run = np.ones(9) / 9
    smooth = np.column_stack(
        [np.convolve(np.pad(axis, 4, mode="wrap"), run, "valid") for axis in contour.T]
    )
    tangent = np.roll(smooth, -2, axis=0) - np.roll(smooth, 2, axis=0)
    length = np.hypot(*tangent.T)
    good = length > 1e-6
    smooth, tangent, length = smooth[good], tangent[good], length[good]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / length[:, None]
    reach = max(3.0, 0.4 * px_per_mm)
    steps = np.arange(-reach, reach + 0.01, 0.25)
    at = smooth[:, None, :] + steps[None, :, None] * normal[:, None, :] - 0.5
    a32 = at.astype(np.float32)
    profile = cv2.remap(grey, a32[..., 0], a32[..., 1], cv2.INTER_LINEAR).astype(float)
    low, high = profile[:, :4].mean(axis=1), profile[:, -4:].mean(axis=1)
    middle = (low + high) / 2
    sign = np.sign(high - low)
    above = (profile - middle[:, None]) * sign[:, None] > 0
    first = np.argmax(above, axis=1)
    rows = np.arange(len(first))
    usable = (first > 0) & (np.abs(high - low) > 30)
    before, after = profile[rows, first - 1], profile[rows, first]
    gap = np.where(np.abs(after - before) > 1e-9, after - before, 1.0)
    share = np.clip((middle - before) / gap, 0, 1)
    shift = steps[first - 1] + 0.25 * share
    if int(usable.sum()) < 12:
        return contour
    moved: Array = smooth[usable] + shift[usable, None] * normal[usable]
    return moved
