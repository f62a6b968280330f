"""Measure the print on a real exported sheet: dark artwork with bleed, cut lines over it, words."""

from functools import cache

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest
from sheet_samples import lamp, winch_panel

from decalprep.compose import ComposeSettings, compose_sheets
from decalprep.export import write_pdf
from decalprep.model import Placement, Sheet
from decalprep.scan import ScanImage, ScannerScale, Verdict, expected_print, measure_print

DPI = 200
A4 = Sheet("A4", 210, 297)
PLACES = [
    Placement("winch panel", 1, 0, 30, 40),
    Placement("winch panel", 2, 0, 180, 200, 90),
    Placement("lamp", 1, 0, 60, 200),
]


@cache
def drawn() -> tuple[np.ndarray, object]:
    drawing = compose_sheets(
        [winch_panel(copies=2), lamp()], PLACES, [A4], ComposeSettings(title="Harbour tug")
    )[0]
    page = pdfium.PdfDocument(write_pdf([drawing]))[0]
    return page.render(scale=DPI / 72, rev_byteorder=True).to_numpy()[:, :, :3].copy(), drawing


def scanned(rgb: np.ndarray, turn_deg: float, error: tuple[float, float], seed: int) -> ScanImage:
    """The page printed with an error, laid on a true scanner, colours kept, softened and noisy."""
    high, wide = rgb.shape[:2]
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    # Rows run down: a turn to the left on paper is a turn the other way in rows.
    linear = np.array([[c, s], [-s, c]]) @ np.diag([1 + error[0], 1 + error[1]])
    side = max(high, wide) + 60
    shift = np.array([side / 2, side / 2]) - linear @ np.array([wide / 2, high / 2])
    warp = np.column_stack([linear, shift])
    picture = cv2.warpAffine(
        rgb, warp, (side, side), flags=cv2.INTER_CUBIC, borderValue=(255, 255, 255)
    )
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7).astype(np.float32)
    picture += np.random.default_rng(seed).normal(0, 3, picture.shape).astype(np.float32)
    final = np.clip(picture, 0, 255).astype(np.uint8)
    grey = cv2.cvtColor(final, cv2.COLOR_RGB2GRAY)
    return ScanImage(f"at {turn_deg:g}", grey, (DPI, DPI), final.min(axis=2))


def test_decals_with_bleed_are_measured_through_their_artwork() -> None:
    rgb, drawing = drawn()
    expected = expected_print(drawing)  # type: ignore[arg-type]
    assert len(expected.decals) == 3
    assert len(expected.marks) > 6
    error = (0.002, -0.001)
    scans = [scanned(rgb, turn, error, k) for k, turn in enumerate((0.4, 90.6))]
    # The page is drawn to whole pixels: true px per mm are the drawing's own.
    scale = ScannerScale(rgb.shape[1] / 210.0, 1e-4)
    found = measure_print(scans, expected, tolerance_mm=0.2, scale=scale)
    # The drawing's rows are not quite as dense as its columns.
    rows = rgb.shape[0] / 297.0 / (rgb.shape[1] / 210.0) - 1
    for d, e in zip(found.decals, expected.decals, strict=True):
        width, height = np.ptp(np.array(e.outline), axis=0)
        assert d.seen_share > 0.8
        assert d.error_x_mm == pytest.approx(0.002 * width, abs=d.range_x_mm)
        assert d.error_y_mm == pytest.approx((rows - 0.001) * height, abs=d.range_y_mm)
        assert max(d.range_x_mm, d.range_y_mm) < 0.1
        assert d.verdict is Verdict.GOOD
        assert abs(d.off_x_mm) < 0.2


def test_a_misplaced_decal_is_told_by_its_shift() -> None:
    rgb, drawing = drawn()
    px = rgb.shape[1] / 210.0
    # The lamp's patch moved by three pixels, a quarter of a millimetre, to the right.
    moved = rgb.copy()
    r0, r1 = round((297 - 214) * px), round((297 - 198) * px)
    c0, c1 = round(58 * px), round(74 * px)
    moved[r0:r1, c0 + 3 : c1 + 3] = rgb[r0:r1, c0:c1]
    scans = [scanned(moved, turn, (0.0, 0.0), k) for k, turn in enumerate((0.4, 90.6))]
    expected = expected_print(drawing)  # type: ignore[arg-type]
    found = measure_print(scans, expected, tolerance_mm=0.2, scale=ScannerScale(px, 1e-4))
    by_name = {(d.name, d.copy): d for d in found.decals}
    assert by_name["lamp", 1].off_x_mm == pytest.approx(3 / px, abs=0.04)
    assert abs(by_name["lamp", 1].off_y_mm) < 0.04
    assert abs(by_name["winch panel", 1].off_x_mm) < 0.05
