"""Pictures laid on the printer's grid on request: other pixels, the same size and look."""

import io
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image
from test_raster import clear_picture, image_of, picture, saved

from decalprep.errors import TooMuch
from decalprep.intake.compare import page_picture
from decalprep.intake.options import IntakeOptions, Limits
from decalprep.intake.raster import read_raster
from decalprep.intake.raster_resample import grid_px
from decalprep.model import Artwork

GRID = (120, 80)
"""60 x 40 pixels at 300 px/in are 5.08 x 3.387 mm: 120 x 80 dots at 600 an inch."""


def read(path: Path, dpi: float = 600.0) -> Artwork:
    return read_raster(path, IntakeOptions(resample_dpi=dpi))


def pixels_of(artwork: Artwork) -> tuple[int, int]:
    with pikepdf.open(io.BytesIO(artwork.page_pdf)) as document:
        image = document.pages[0].Resources.XObject.Im0
        return int(image.Width), int(image.Height)


def quarters(pixels: np.ndarray) -> np.ndarray:
    """Mean colours of the middles of the four quarters."""
    h, w = pixels.shape[:2]
    parts = [
        pixels[y : y + h // 8, x : x + w // 8]
        for y in (h // 4, h * 3 // 4)
        for x in (w // 4, w * 3 // 4)
    ]
    return np.array([part.reshape(-1, 3).mean(axis=0) for part in parts])


@pytest.mark.parametrize("mode", ["RGB", "L", "P", "CMYK", "I;16"])
@pytest.mark.parametrize("dpi", [600.0, 150.0])
def test_other_pixels_same_size_and_look(mode: str, dpi: float, tmp_path: Path) -> None:
    image = picture().quantize(16) if mode == "P" else picture().convert(mode)
    if mode == "I;16":
        image = Image.fromarray(np.asarray(picture().convert("L")).astype(np.uint16) * 257)
    path = saved(tmp_path, "a.tif" if mode == "CMYK" else "a.png", image)
    plain = read_raster(path, IntakeOptions())
    artwork = read(path, dpi)
    grid = grid_px((artwork.width_mm, artwork.height_mm), dpi)
    assert pixels_of(artwork) == artwork.pixels == grid == (int(dpi / 5), round(dpi / 7.5))
    assert (artwork.width_mm, artwork.height_mm) == (plain.width_mm, plain.height_mm)
    assert (artwork.page_width_pt, artwork.page_height_pt) == (
        plain.page_width_pt,
        plain.page_height_pt,
    )
    one, other = (quarters(page_picture(a.page_pdf, (240, 160))) for a in (plain, artwork))
    assert np.abs(one - other).max() < 3
    (told,) = [n for n in artwork.notices if n.code == "resampled"]
    assert "60 x 40 pixels" in told.text
    assert not [n for n in plain.notices if n.code == "resampled"]


def test_one_bit_stays_one_bit(tmp_path: Path) -> None:
    image = picture().convert("L").point(lambda v: 255 * (v > 90)).convert("1")
    artwork = read(saved(tmp_path, "line.png", image))
    assert (image_of(artwork)["bits"], pixels_of(artwork)) == (1, GRID)
    assert "low-resolution" in {n.code for n in artwork.notices}  # 300 px/in came in


def test_what_shows_through_still_does(tmp_path: Path) -> None:
    image, paper = clear_picture()
    artwork = read(saved(tmp_path, "fade.png", image))
    assert image_of(artwork)["clear"]
    wanted = np.asarray(paper.convert("RGB").resize(GRID, Image.Resampling.BILINEAR), int)
    drawn = page_picture(artwork.page_pdf, GRID).astype(int)
    assert np.abs(quarters(drawn) - quarters(wanted)).max() < 6


@pytest.mark.parametrize("kind", ["jpg", "tif"])
def test_a_turned_picture_lies_upright(kind: str, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[274] = 6
    path = saved(tmp_path, f"a.{kind}", picture(), exif=exif)
    plain, artwork = read_raster(path, IntakeOptions()), read(path)
    assert artwork.pixels == GRID[::-1]
    one, other = (quarters(page_picture(a.page_pdf, (160, 240))) for a in (plain, artwork))
    assert np.abs(one - other).max() < 4


def test_too_fine_a_grid_is_refused(tmp_path: Path) -> None:
    path = saved(tmp_path, "a.png", picture())
    with pytest.raises(TooMuch, match="120 x 80 pixels on the printer's grid"):
        read_raster(path, IntakeOptions(resample_dpi=600.0, limits=Limits(max_pixels=5000)))


def test_a_job_asks_for_it(tmp_path: Path) -> None:
    from decalprep.jobs.jobfile import read_job
    from decalprep.jobs.prepare import prepare_panel

    saved(tmp_path, "a.png", picture(), dpi=(30, 30))
    job = tmp_path / "job.toml"
    text = '[job]\nprinter_dpi = 120\n[[panel]]\nname = "a"\nartwork = "a.png"\n'
    text += 'outline_from = "page"\n'
    for more, pixels in (("", (60, 40)), ("resample = true\n", (240, 160))):
        job.write_text(text + more)
        read_back = read_job(job)
        made = prepare_panel(read_back.panels[0], read_back, None, lambda _: None)
        assert made.taken.pixels == pixels
        assert "resample-unused" not in {n.code for n in made.notices}


def test_a_drawing_is_not_resampled_in_silence(tmp_path: Path) -> None:
    from decalprep.jobs.jobfile import read_job
    from decalprep.jobs.prepare import prepare_panel

    (tmp_path / "bow.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm">'
        '<rect width="40mm" height="30mm" fill="#246"/></svg>'
    )
    text = '[[panel]]\nname = "bow"\nartwork = "bow.svg"\noutline_from = "page"\n'
    (tmp_path / "job.toml").write_text(text + "resample = true\n")
    job = read_job(tmp_path / "job.toml")
    made = prepare_panel(job.panels[0], job, None, lambda _: None)
    assert "resample-unused" in {n.code for n in made.notices}
