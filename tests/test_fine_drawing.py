"""Drawn finely only where a coarse drawing shows something: the same as drawn finely all over."""

from typing import Any

import numpy as np
import pikepdf
import pypdfium2.raw as raw
import pytest
from hairline_cases import artwork_of, form, page_bytes
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from decalprep.cleaning import LegibilitySettings, check_legibility
from decalprep.cleaning.features import _joined
from decalprep.cleaning.rendering import fine_picture, picture_of, whole_box
from decalprep.errors import InputProblem
from decalprep.intake import compare
from decalprep.intake.compare import page_picture
from decalprep.intake.svg_judge import Truth, drawn_as
from decalprep.pdfstream.drawing import Span, free_of_pictures, open_page, spans_of
from decalprep.pdfstream.kept import pages_kept_open
from decalprep.units import MM_PER_PT

MM = 1 / MM_PER_PT
SIZE_PT = (200.0, 100.0)
GROUND = "0.1 0.2 0.4 rg 3 3 60 28 re f 1 g "
DRAWINGS = {
    "hairlines": GROUND + "1 G 0.002 w 5 5 m 60 29 l S 0.01 w 5 20.013 m 60 20.013 l S",
    "slivers": GROUND + "10 8.0001 40 0.004 re f 10 12 m 50 12.02 l 50 12 l f 30 20 .006 .006 re f",
    "lettering": GROUND + "BT /F 0.06 Tf 8 8 Td (MICRO) Tj ET BT /F 3 Tf 8 15 Td (HELM) Tj ET",
    "curves": GROUND + "20 15 m 20 22 35 22 35 15 c 35 8 20 8 20 15 c f",
    "far apart": "0 g 1 1 .3 .3 re f 68 33.5 .3 .3 re f 1 33 .3 .3 re f 1 16 68 .05 re f",
    "nothing": "",
}


@pytest.fixture(params=list(DRAWINGS))
def artwork(request: pytest.FixtureRequest):
    content = f"{MM:.9f} 0 0 {MM:.9f} 0 0 cm {DRAWINGS[request.param]}"
    return artwork_of(page_bytes(content.encode()), SIZE_PT)


def test_the_picture_of_a_page_beside_another_drawing(artwork) -> None:
    """Shifted by whole pixels, pdfium rounds a few pixels of a thousand otherwise, by a level."""
    pixels = (1411, 706)
    whole = page_picture(artwork.page_pdf, pixels)
    bare = np.full_like(whole, 255)
    off = np.abs(page_picture(artwork.page_pdf, pixels, beside=bare).astype(int) - whole)
    assert off.max() <= 3
    assert (off > 0).mean() < 0.001


def test_where_the_other_drawing_has_detail_the_page_is_drawn_finely_too(artwork) -> None:
    """Noise all over: nothing is left to the coarse drawing."""
    pixels = (353, 176)
    noise = np.random.default_rng(3).integers(0, 256, (176, 353, 3)).astype(np.uint8)
    whole = page_picture(artwork.page_pdf, pixels)
    off = np.abs(page_picture(artwork.page_pdf, pixels, beside=noise).astype(int) - whole)
    assert off.max() <= 3


@pytest.mark.parametrize("pictures", [False, True])
def test_parts_of_a_fine_picture(artwork, pictures: bool) -> None:
    box = whole_box(artwork)
    whole = picture_of(artwork, box, 720)
    picture = fine_picture(artwork, box, 720, pictures=pictures)
    rows, columns = whole.shape[:2]
    for top, bottom, left, right in (
        (0, rows, 0, columns),
        (rows - 5, rows, columns - 7, columns),
        (301, 707, 199, 202),
    ):
        part = picture.part(Span(top, bottom, left, right))
        off = np.abs(part.astype(int) - whole[top:bottom, left:right])
        assert off.max() <= 3
        assert (off > 0).mean() < 0.001


def test_a_page_with_a_pattern_is_drawn_in_one_go() -> None:
    """A pattern's tiles are laid from another place in each part of a picture."""

    def dress(document: pikepdf.Pdf, page: Any, _: int) -> None:
        tile = form(document, b"0 0 1 1 re f", PatternType=1, PaintType=1, TilingType=1)
        tile.XStep, tile.YStep = 1.7, 1.7
        tile.BBox = [0, 0, 1.7, 1.7]
        page.Resources.Pattern = pikepdf.Dictionary(P=tile)

    content = b"/Pattern cs /P scn 20 20 100 60 re f 0 g 150 20 30 60 re f"
    page_pdf = page_bytes(content, dress)
    assert not free_of_pictures(page_pdf)
    assert free_of_pictures(page_bytes(b"0 g 150 20 30 60 re f"))
    truth = Truth(np.full((701, 1411, 3), 255, np.uint8), 20.0, has_pixels=False)
    assert (drawn_as(truth, page_pdf) == page_picture(page_pdf, (1411, 701))).all()


def test_a_gradient_that_ends_where_two_parts_meet(monkeypatch: pytest.MonkeyPatch) -> None:
    def dress(document: pikepdf.Pdf, page: Any, _: int) -> None:
        ends = pikepdf.Dictionary(FunctionType=2, Domain=[0, 1], C0=[1, 0, 0], C1=[0, 0, 1], N=1)
        shading = pikepdf.Dictionary(
            ShadingType=2, ColorSpace=pikepdf.Name.DeviceRGB, Coords=[0, 0, 200, 0], Function=ends
        )
        fill = document.make_indirect(pikepdf.Dictionary(PatternType=2, Shading=shading))
        page.Resources.Pattern = pikepdf.Dictionary(P=fill)

    # tops within two pixels of row 128, where a part ends
    bars = " ".join(f"{2 * k} 20 1.5 {61.4 + 0.0065 * k:.4f} re" for k in range(95))
    page_pdf = page_bytes(f"/Pattern cs /P scn {bars} f".encode(), dress)
    whole = page_picture(page_pdf, (1400, 700)).astype(int)
    parts = [Span(top, min(top + 128, 700), 0, 1400) for top in range(0, 700, 128)]
    monkeypatch.setattr(compare, "spans_of", lambda *_, **__: parts)
    assert np.abs(page_picture(page_pdf, (1400, 700)) - whole).max() <= 3


def test_what_has_detail_all_over_is_one_part_unless_it_is_too_high() -> None:
    detail = np.full((701, 90), 255, np.uint8)
    (one,) = spans_of(detail, page_bytes=100, most_rows=701)
    assert one == Span(0, 701, 0, 90)
    parts = spans_of(detail, page_bytes=100, most_rows=128)
    assert max(part.bottom - part.top for part in parts) <= 128
    assert sum(part.bottom - part.top for part in parts) == 701
    few = spans_of(detail, page_bytes=10_000_000, most_rows=128)
    assert [part.bottom - part.top for part in few] == [128] * 5 + [61]


def test_most_of_a_plain_page_is_not_drawn_finely() -> None:
    plain = artwork_of(page_bytes(DRAWINGS["curves"].encode()), SIZE_PT)
    drawn = fine_picture(plain, whole_box(plain), 1440, pictures=False).spans
    area = sum((s.bottom - s.top) * (s.right - s.left) for s in drawn)
    assert 0 < area < 0.2 * 4000 * 2000


def test_a_gap_far_wider_than_what_is_drawn_round_its_edges() -> None:
    """A gap of 0.5 mm, asked to be 0.6: the middle of it is 14 pixels from its edges."""
    content = f"{MM:.9f} 0 0 {MM:.9f} 0 0 cm 0 g 5 5 50 20 re f 1 g 10 14 40 1 re f"
    art = artwork_of(page_bytes(content.encode()), (100.0, 50.0))
    (told,) = (
        notice
        for notice in check_legibility(art, LegibilitySettings(least_knockout_mm=0.6))
        if notice.code == "gap-narrow"
    )
    assert dict(told.numbers)["width_mm"] == pytest.approx(0.5, abs=0.02)
    assert told.box_mm is not None
    assert told.box_mm.width == pytest.approx(20, abs=0.1)


def _hatched(pitch_pt: float) -> bytes:
    """Lines 0.1 points wide from edge to edge of a page, 0.2 points apart or what is said."""
    lines = (f"{k * pitch_pt:.3f} -1 m {k * pitch_pt:.3f} 101 l S" for k in range(1010))
    return page_bytes(b"0.1 w " + " ".join(lines).encode())


def test_hatching_closer_than_a_coarse_pixel_is_looked_at_finely() -> None:
    """A coarse drawing shows it as dark grey all over: its gaps would fill in, and are told."""
    artwork = artwork_of(_hatched(0.2))
    fine = fine_picture(artwork, whole_box(artwork), 1440.0, pictures=False)
    assert np.ptp(fine.coarse[4:-4, 4:-4]) == 0
    assert np.array_equal(fine.part(Span(200, 300, 200, 300)), _part_of_whole(artwork))
    codes = {n.code for n in check_legibility(artwork, LegibilitySettings())}
    assert {"gap-narrow", "ink-narrow"} <= codes


def _part_of_whole(artwork: Any) -> Any:
    return picture_of(artwork, whole_box(artwork), 1440.0)[200:300, 200:300]


def test_hatching_that_another_drawing_shows_as_grey_is_drawn_finely() -> None:
    pdf = _hatched(0.2)
    with open_page(pdf) as page:
        size = (round(page.get_width()), round(page.get_height()))
    whole = page_picture(pdf, size)
    assert np.array_equal(page_picture(pdf, size, beside=whole)[4:40, 4:40], whole[4:40, 4:40])


@pytest.mark.parametrize("seed", range(5))
def test_joined_groups_are_those_of_a_general_library(seed: int) -> None:
    """scipy's connected_components numbers groups in the order of their lowest member, too."""
    rng = np.random.default_rng(seed)
    one, other = rng.integers(0, 400, (2, 60 * (seed + 1)))
    links = coo_matrix((np.ones(len(one)), (one, other)), shape=(400, 400))
    _, wanted = connected_components(links, directed=False)
    heads = _joined(400, one, other)
    assert (np.unique(heads, return_inverse=True)[1] == wanted).all()
    assert (heads <= np.arange(400)).all()


def test_pages_stay_open_only_while_they_are_kept() -> None:
    pdf = artwork_of(page_bytes(DRAWINGS["curves"].encode()), SIZE_PT).page_pdf
    with open_page(pdf) as one, open_page(pdf) as other:
        assert one is not other
    with pages_kept_open(), pages_kept_open():
        with open_page(pdf) as one:
            pass
        with open_page(pdf) as other:
            assert raw.FPDF_GetPageWidthF(other) == pytest.approx(200)
        assert one is other
    with open_page(pdf) as other:
        assert one is not other


def test_a_page_with_a_picture_is_not_kept() -> None:
    pdf = artwork_of(page_bytes(b"q 9 0 0 9 1 1 cm /Im Do Q"), SIZE_PT).page_pdf
    with pages_kept_open():
        with open_page(pdf + b"% /Height") as one:
            pass
        with open_page(pdf + b"% /Height") as other:
            assert one is not other


def test_what_is_no_page_is_refused_by_name() -> None:
    told = pytest.raises(InputProblem, match=r"bow.pdf: the page cannot be drawn .*; export it")
    with told, open_page(b"%PDF-1.4 nothing", where="bow.pdf"):
        pass
