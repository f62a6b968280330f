"""Densities against what a general imaging library writes and published integer values.

Sources: PNG (ISO/IEC 15948, 11.3.5.3): pHYs holds whole pixels a metre, so 300 px/in is 11811
(299.9994) and 96 is 3780 (96.012); unit 0 states only a ratio. JFIF, TIFF and EXIF as Pillow
writes them.
"""

import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from decalprep.errors import NoSize
from decalprep.intake.options import IntakeOptions
from decalprep.intake.raster import read_raster


def _png_with_phys(path: Path, x: int, y: int, unit: int) -> Path:
    Image.new("RGB", (600, 300), "white").save(path)
    data = path.read_bytes()
    body = b"pHYs" + struct.pack(">IIB", x, y, unit)
    chunk = struct.pack(">I", 9) + body + struct.pack(">I", zlib.crc32(body))
    path.write_bytes(data[:33] + chunk + data[33:])
    return path


@pytest.mark.parametrize(
    ("per_metre", "dpi"),
    [(2835, 72.009), (3780, 96.012), (11811, 299.9994), (23622, 599.9988), (47244, 1199.9976)],
)
def test_png_pixels_a_metre(per_metre: int, dpi: float, tmp_path: Path) -> None:
    path = _png_with_phys(tmp_path / "a.png", per_metre, per_metre, 1)
    artwork = read_raster(path, IntakeOptions())
    assert artwork.width_mm == pytest.approx(600 / dpi * 25.4, rel=1e-6)
    assert artwork.width_mm == pytest.approx(600 * 1000 / per_metre, rel=1e-12)


def test_png_ratio_alone_is_no_density(tmp_path: Path) -> None:
    with pytest.raises(NoSize):
        read_raster(_png_with_phys(tmp_path / "a.png", 11811, 11811, 0), IntakeOptions())


@pytest.mark.parametrize("name", ["a.jpg", "a.tif", "a.bmp", "a.png"])
def test_density_as_pillow_writes_it(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    Image.new("RGB", (600, 300), "white").save(path, dpi=(254, 508))
    artwork = read_raster(path, IntakeOptions())
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((60.0, 15.0), rel=1e-4)


def test_tiff_centimetres(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    Image.new("RGB", (600, 300)).save(path, resolution_unit=3, x_resolution=100, y_resolution=100)
    assert read_raster(path, IntakeOptions()).width_mm == pytest.approx(60.0)


def test_tiff_without_unit_is_no_density(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    Image.new("RGB", (600, 300)).save(path, resolution_unit=1, x_resolution=100, y_resolution=100)
    with pytest.raises(NoSize):
        read_raster(path, IntakeOptions())


def test_jfif_and_exif_that_disagree_are_told(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[282], exif[283], exif[296] = 72.0, 72.0, 2
    path = tmp_path / "a.jpg"
    Image.new("RGB", (600, 300)).save(path, dpi=(300, 300), exif=exif)
    artwork = read_raster(path, IntakeOptions())
    assert artwork.width_mm == pytest.approx(50.8)
    told = next(n for n in artwork.notices if n.code == "size-conflict")
    assert "JFIF" in told.text
    assert "EXIF" in told.text


def test_a_density_of_72_is_doubted(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.new("RGB", (600, 300)).save(path, dpi=(72, 72))
    assert "density-default" in {n.code for n in read_raster(path, IntakeOptions()).notices}
