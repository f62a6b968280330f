"""The calibration page in a scan: found at any turn and resolution, or refused with the reason."""

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from virtual.hand import Press
from virtual.pages import parts, picture
from virtual.scanner import Bed, disc_centres

from decalprep.errors import InputProblem, ReadingsRefused
from decalprep.scan import FoundPage, ScanImage, find_page, read_scan

PRESS = Press(scale_x=0.003, scale_y=-0.002, skew=0.001, ripple_mm=0.01, bow_mm=0.01)
BED = Bed(dpi=150, scale_u=0.001, lens3_mm=0.1, shear=0.0003)


def errors_um(found: FoundPage, press: Press, bed: Bed, turn: float, shift: tuple[float, float]):
    """Difference in micrometres between found and true disc centres."""
    layout = found.layout
    discs = np.array(layout.discs)
    toner = np.random.default_rng(99).normal(0, bed.toner_mm, discs.shape)
    truth = disc_centres(
        press,
        bed,
        discs,
        np.random.default_rng(0),
        turn_deg=turn,
        shift_mm=shift,
        toner=toner,
        sigma_px=0,
    )
    wide, high = found.points.image_size_px
    own = discs - np.array(layout.centre)
    index = [int(np.argmin(np.hypot(*(own - m).T))) for m in found.points.page_mm]
    true = np.column_stack([truth[index, 0] - wide / 2, high / 2 - truth[index, 1]])
    return (np.array(found.points.image_px) - true) * 25.4 / bed.dpi * 1000


@pytest.mark.parametrize("turn", [0.3, 89.6, 180.2, 270.4, -33.0])
def test_every_turn(turn: float) -> None:
    found = find_page(ScanImage("s", picture(PRESS, BED, turn_deg=turn), (150, 150)))
    assert found.layout.page == "A4"
    assert found.points.code
    difference = (found.points.turn_deg - turn + 180) % 360 - 180
    assert abs(difference) < 0.1
    away = errors_um(found, PRESS, BED, turn, (0, 0))
    assert len(away) >= 68
    assert np.sqrt(np.mean(away**2)) < 4
    assert np.abs(away.mean(axis=0)).max() < 1


def test_300_dpi_is_exact_to_a_micrometre() -> None:
    bed = Bed(dpi=300)
    found = find_page(ScanImage("s", picture(PRESS, bed, turn_deg=0.4), (300, 300)))
    away = errors_um(found, PRESS, bed, 0.4, (0, 0))
    assert len(away) == 88
    assert np.sqrt(np.mean(away**2)) < 1.5
    # 4 ppm in scale over the page: the goal for the centroids.
    page = np.array(found.points.page_mm)
    slope = np.polyfit(page[:, 1], away[:, 1] / 1000, 1)[0]
    assert abs(slope) < 4e-6


def test_jpeg_ink_spread_and_low_contrast() -> None:
    bed = Bed(dpi=200, ink=110, noise=6, ink_spread_mm=0.12, blur_px=1.2)
    held = io.BytesIO()
    Image.fromarray(picture(PRESS, bed, turn_deg=0.4)).save(held, "JPEG", quality=70)
    grey = np.asarray(Image.open(held).convert("L"))
    found = find_page(ScanImage("s", grey))
    away = errors_um(found, PRESS, bed, 0.4, (0, 0))
    assert np.sqrt(np.mean(away**2)) < 8


def test_a_cropped_scan_is_used_as_far_as_it_goes() -> None:
    grey = picture(PRESS, BED, turn_deg=0.3)
    found = find_page(ScanImage("s", np.ascontiguousarray(grey[: int(0.82 * len(grey))])))
    assert "scan-discs-missing" in [n.code for n in found.points.notices]
    with pytest.raises(ReadingsRefused, match="discs can be seen"):
        find_page(ScanImage("s", np.ascontiguousarray(grey[: int(0.55 * len(grey))])))


def test_dirt_is_left_out() -> None:
    grey = picture(PRESS, BED, turn_deg=0.3).copy()
    x, y = parts()[0].discs[30]
    c, r = (x + 3) / 25.4 * 150, (300 - 1.5 - y) / 25.4 * 150
    cv2.circle(grey, (int(c) + 12, int(r) + 8), 10, 60, -1)
    found = find_page(ScanImage("s", grey))
    assert len(found.points.page_mm) == 87
    assert np.abs(errors_um(found, PRESS, BED, 0.3, (0, 0))).max() < 25


def test_mirrored_stretched_and_foreign_pictures_are_refused() -> None:
    grey = picture(PRESS, BED, turn_deg=0.3)
    with pytest.raises(InputProblem, match="mirrored"):
        find_page(ScanImage("s", np.ascontiguousarray(grey[:, ::-1])))
    high, wide = grey.shape
    with pytest.raises(ReadingsRefused, match="stretched"):
        find_page(ScanImage("s", cv2.resize(grey, (wide, round(high * 1.03)))))
    with pytest.raises(InputProblem, match="no calibration page"):
        find_page(ScanImage("s", np.full((1000, 800), 240, np.uint8)))


def test_a_photograph_is_refused_by_name() -> None:
    grey = picture(PRESS, BED, turn_deg=0.3)
    high, wide = grey.shape
    corners = np.array([(0, 0), (wide, 0), (wide, high), (0, high)], np.float32)
    tilted = corners + np.array([(60, 50), (-60, 50), (0, 0), (0, 0)], np.float32)
    warp = cv2.getPerspectiveTransform(corners, tilted)
    photo = cv2.warpPerspective(grey, warp, (wide, high), borderValue=120)
    with pytest.raises(ReadingsRefused, match="a photograph, or not flat"):
        find_page(ScanImage("photo", photo))


def test_wrong_tags_and_resizing_are_told() -> None:
    grey = picture(PRESS, BED, turn_deg=0.3)
    told = [n.code for n in find_page(ScanImage("s", grey, (300, 300))).points.notices]
    assert told == ["scan-dpi-tag-wrong"]
    small = cv2.resize(grey, None, fx=0.87, fy=0.87, interpolation=cv2.INTER_AREA)
    told = [n.code for n in find_page(ScanImage("s", small)).points.notices]
    assert told == ["scan-resampled"]
    straight = find_page(ScanImage("s", picture(PRESS, BED, turn_deg=0.0))).points
    assert [n.code for n in straight.notices] == ["scan-straightened"]


def test_another_record_gives_another_code() -> None:
    one = find_page(ScanImage("s", picture(PRESS, BED, turn_deg=0.3)))
    two = find_page(ScanImage("s", picture(PRESS, BED, turn_deg=0.3, record="other")))
    assert one.points.code != two.points.code


@pytest.fixture(scope="module")
def plain() -> np.ndarray:
    return picture(PRESS, BED, turn_deg=0.3)


@pytest.mark.parametrize("ending", ["png", "jpg", "tif", "pdf"])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_every_kind_of_file_gives_the_same_places(
    ending: str, mode: str, plain: np.ndarray, tmp_path: Path
) -> None:
    path = tmp_path / f"scan.{ending}"
    more = {"resolution": 150.0} if ending == "pdf" else {"dpi": (150, 150)}
    more |= {"compress_level": 1} if ending == "png" else {}
    more |= {"quality": 90} if ending in ("jpg", "pdf") else {}
    Image.fromarray(plain).convert(mode).save(path, **more)
    (scan,) = read_scan(path, colours=False)
    found = find_page(scan)
    assert [n.code for n in found.points.notices] == []
    away = errors_um(found, PRESS, BED, 0.3, (0, 0))
    assert len(away) == 88
    assert np.sqrt(np.mean(away**2)) < 4
