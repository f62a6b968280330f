"""Whether a picture is a photograph of a page: its edges then run together, a flatbed's do not."""

import math

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.scan.images import Grey

_LONG_SIDE_PX = 1000
_LEAST_AREA = 0.2
_ASLANT_DEG = 0.7
_UNEVEN = 0.012


def photograph_reason(grey: Grey) -> str | None:
    """Why a picture is taken for a photograph, in words; None where nothing says so.

    Does not know one that was taken straight from above.
    """
    corners = _page_corners(grey)
    if corners is None:
        return None
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(*sides.T)
    uneven = max(abs(float(lengths[0] / lengths[2]) - 1), abs(float(lengths[1] / lengths[3]) - 1))
    turns = np.degrees(np.arctan2(sides[:, 1], sides[:, 0]))
    corner = np.abs((np.diff(np.append(turns, turns[0])) % 180) - 90)
    if uneven < _UNEVEN and float(corner.max()) < _ASLANT_DEG:
        return None
    return (
        f"is a photograph taken at an angle: opposite edges of the page differ by "
        f"{100 * uneven:.0f} %, its corners by up to {float(corner.max()):.0f} degrees from square"
    )


def _page_corners(grey: Grey) -> npt.NDArray[np.float64] | None:
    """The four corners of a light page that lies wholly inside the picture, in order."""
    shrink = min(1.0, _LONG_SIDE_PX / max(grey.shape))
    size = (round(grey.shape[1] * shrink), round(grey.shape[0] * shrink))
    small = cv2.GaussianBlur(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), (0, 0), 2.0)
    _, mask = cv2.threshold(small, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    page = cv2.convexHull(max(contours, key=cv2.contourArea))
    area = cv2.contourArea(page)
    if not _LEAST_AREA < area / small.size < 0.97:
        return None
    four = cv2.approxPolyDP(page, 0.03 * cv2.arcLength(page, True), True).reshape(-1, 2)
    if len(four) != 4 or cv2.contourArea(four) < 0.9 * area:
        return None
    inside = (four > 2).all() and (four < np.array(size) - 3).all()
    return _sharpened(page.reshape(-1, 2).astype(float), four.astype(float)) if inside else None


def _sharpened(
    page: npt.NDArray[np.float64], four: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """The corners where straight lines through the page's sides meet: rounded ones do not count."""
    lines = []
    for a, b in zip(four, np.roll(four, -1, axis=0), strict=True):
        along = (b - a) / math.dist(a, b)
        off = page - a
        at = off @ along / math.dist(a, b)
        away = np.abs(off @ np.array([-along[1], along[0]]))
        near = page[(at > 0.05) & (at < 0.95) & (away < 6)]
        if len(near) < 2:
            near = np.array([a, b])
        vx, vy, x, y = cv2.fitLine(near.astype(np.float32), cv2.DIST_L2, 0, 0.01, 0.01).ravel()
        lines.append((-float(vy), float(vx), -float(vy) * float(x) + float(vx) * float(y)))
    corners = []
    for first, second in zip([lines[-1], *lines[:-1]], lines, strict=True):
        system = np.array([first[:2], second[:2]])
        corners.append(np.linalg.solve(system, np.array([first[2], second[2]])))
    return np.array(corners)
