"""Finding a sheet's lines beside stronger edges: the bleed's edge must not be taken for the cut."""

import cv2
import numpy as np
import pytest

from decalprep.scan.lines import likeness, sample_lines
from decalprep.scan.placing import _refined, placed_beside
from decalprep.scan.searching import nearest_fit

PX = 200 / 25.4
BOXES = ((12, 12, 60, 70), (66, 12, 100, 50), (66, 56, 104, 90))
LINES = [[(a, b), (c, b), (c, d), (a, d), (a, b)] for a, b, c, d in BOXES]
TRUE = np.array([[PX, 0, 0], [0, -PX, 100 * PX]])


def picture(bleed_mm: float, line: int) -> np.ndarray:
    """Dark plates with bleed, their cut lines faint, on white paper, seen at 200 dpi."""
    fine = 4
    grey = np.full((round(100 * PX) * fine, round(115 * PX) * fine), 240, np.uint8)
    for a, b, c, d in BOXES:
        grown = [(a - bleed_mm, b - bleed_mm), (c + bleed_mm, d + bleed_mm)]
        (x0, y0), (x1, y1) = (TRUE[:, :2] @ p + TRUE[:, 2] for p in grown)
        corners = [(round(x * fine), round(y * fine)) for x, y in ((x0, y0), (x1, y1))]
        cv2.rectangle(grey, *corners, 70, -1)
        (x0, y0), (x1, y1) = (TRUE[:, :2] @ p + TRUE[:, 2] for p in ((a, b), (c, d)))
        corners = [(round(x * fine), round(y * fine)) for x, y in ((x0, y0), (x1, y1))]
        cv2.rectangle(grey, *corners, line, 4)
    small = cv2.resize(grey, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    noisy = cv2.GaussianBlur(small, (0, 0), 0.7) + np.random.default_rng(2).normal(
        0, 3, small.shape
    )
    return np.clip(noisy, 0, 255).round().astype(np.uint8)


def worst_mm(found: np.ndarray) -> float:
    points = np.array([p for line in LINES for p in line])
    off = points @ (found - TRUE)[:, :2].T + (found - TRUE)[:, 2]
    return float(np.hypot(*off.T).max()) / PX


@pytest.mark.parametrize(
    ("bleed_mm", "line", "shift"),
    [(2.0, 135, (0, 0.9)), (1.5, 100, (0, 0.9)), (2.0, 100, (0, 0.9)), (1.0, 100, (0.7, -0.6))],
)
def test_a_bleed_edge_near_by_is_not_taken_for_the_line(
    bleed_mm: float, line: int, shift: tuple[float, float]
) -> None:
    views = (picture(bleed_mm, line),)
    samples = sample_lines(LINES)
    growth, turn = 0.005, np.radians(0.08)
    linear = np.array([[1 + growth, -turn], [turn, 1 + growth]])
    start = np.column_stack([TRUE[:, :2] @ linear, TRUE[:, :2] @ shift + TRUE[:, 2]])
    assert worst_mm(start) > 0.8
    assert worst_mm(nearest_fit(views, start, samples)) < 0.25
    placed = _refined(views, start, samples)
    assert placed is not None
    # Line by line alone, the first three ended up to 2.3 mm off with 0.65 of the lines "found".
    assert worst_mm(placed.image_from_mm) < 0.06
    assert placed.share > 0.8


@pytest.mark.parametrize(
    ("bleed_mm", "line", "stretch", "shift"),
    [(1.0, 110, -0.012, (0.8, -0.5)), (1.0, 100, 0.012, (0.8, 0.5)), (1.5, 100, 0.012, (0.8, 0.5))],
)
def test_one_side_taken_for_the_bleed_s_edge_is_set_right(
    bleed_mm: float, line: int, stretch: float, shift: tuple[float, float]
) -> None:
    """More than 0.6 of the lines "found", one side of each plate over a millimetre off."""
    views = (picture(bleed_mm, line),)
    samples = sample_lines(LINES)
    linear = np.diag([1 + stretch, 1])
    start = np.column_stack([TRUE[:, :2] @ linear, TRUE[:, :2] @ shift + TRUE[:, 2]])
    placed = _refined(views, start, samples)
    assert placed is not None
    assert placed.share > 0.6
    assert worst_mm(placed.image_from_mm) > 1.0
    better = placed_beside(views, start, samples)
    assert better is not None
    assert worst_mm(better.image_from_mm) < 0.06
    assert better.share > placed.share + 0.03


@pytest.mark.parametrize("beside", [40, 59])
def test_a_line_drawn_sharp_is_as_likely_a_line_as_a_printed_one(beside: int) -> None:
    """One pixel wide at 300 dpi, as programs draw it: once less a line than the bleed's edge."""
    per_mm = 300 / 25.4
    grey = np.full((120, 300), 40, np.uint8)
    grey[60], grey[59] = 209, beside
    middle_mm = (120 - 60.5) / per_mm
    samples = sample_lines([[(3.0, middle_mm), (22.0, middle_mm)]])
    image_from_mm = np.array([[per_mm, 0, 0], [0, -per_mm, 120]])
    found = likeness((grey,), image_from_mm, samples, reach_mm=0.5)
    assert found[:, found.shape[1] // 2].min() > 0.8
