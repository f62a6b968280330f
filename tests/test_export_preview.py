"""Pictures of pages: exact scale, layers as printed, clear refusals."""

import io

import numpy as np
import pytest
from PIL import Image
from sheet_samples import make_artwork, middle_of_ink

from decalprep.errors import InputProblem, TooMuch
from decalprep.export import preview_png, write_pdf
from decalprep.geometry import Affine, Box, circle_path
from decalprep.model import Drawing, FillMark, Layer, PlacedArtwork, Sheet

LETTER = Sheet("Letter", 215.9, 279.4)


def dot(x, y):
    return Drawing(LETTER, (FillMark(Layer.TARGET, (circle_path(x, y, 6.0),)),))


@pytest.mark.parametrize("dpi", [72.0, 96.5, 150.0])
def test_scale_is_exact(dpi):
    data = preview_png(write_pdf([dot(200.0, 20.0)]), 0, dpi)
    picture = Image.open(io.BytesIO(data))
    assert picture.size == (int(np.ceil(8.5 * dpi - 1e-3)), int(np.ceil(11 * dpi - 1e-3)))
    grey = np.array(picture.convert("L"))
    found = middle_of_ink(grey, Box(190, 10, 210, 30), dpi, 279.4)
    assert found == pytest.approx((200.0, 20.0), abs=0.01)
    assert picture.info["dpi"] == pytest.approx((dpi, dpi), abs=0.02)


def test_pages_are_counted_from_zero():
    pdf = write_pdf([dot(50.0, 50.0), Drawing(LETTER, ())])
    first, second = (np.array(Image.open(io.BytesIO(preview_png(pdf, k, 50)))) for k in (0, 1))
    assert first.min() < 50
    assert second.min() == 255
    with pytest.raises(InputProblem, match="2 pages, no page 3"):
        preview_png(pdf, 2, 50)


def test_same_file_same_picture():
    art = make_artwork(60, 40, b"1 0 0 rg 20 20 50 50 re f\n")
    pdf = write_pdf([Drawing(LETTER, (PlacedArtwork(art, Affine.translation(20, 20)),))])
    assert preview_png(pdf, 0, 60) == preview_png(pdf, 0, 60)


def test_refusals():
    with pytest.raises(InputProblem, match="cannot be read"):
        preview_png(b"no PDF", 0, 72)
    with pytest.raises(TooMuch, match="lower the dpi"):
        preview_png(write_pdf([dot(50, 50)]), 0, 9600)
