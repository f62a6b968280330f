"""Registration of placed artworks: every kind, known errors found to a few micrometres."""

import math
from dataclasses import replace

import numpy as np
import pytest
from outline_pages import artwork, filled, rect, stroked, text

from decalprep.geometry import Affine, Box
from decalprep.model import Layer
from decalprep.proof.artwork import MeasuredArtwork, measure_artwork
from decalprep.proof.layers import Layered
from decalprep.proof.render import frame_for, open_pdf
from decalprep.proof.scene import Scene
from decalprep.proof.selfcheck import KINDS, Wrongs, artwork_form, specimen_job
from decalprep.proof.specimen import Form, one_page, stream

PLACE = Affine(e=20.37, f=180.21)
MIDDLE = (60.37, 205.21)


def measured(kind: str, error: Affine, *, drawn_kind: str = "", **more: object) -> MeasuredArtwork:
    wrongs = Wrongs(artwork=error, drawn_kind=drawn_kind)
    pdf, job = specimen_job(kind, placements=(PLACE,), wrongs=wrongs)
    decal = job.decals[0]
    assert decal.artwork is not None
    decal = replace(decal, artwork=replace(decal.artwork, **more))  # type: ignore[type-var]
    shown = Layered(pdf).only([Layer.ARTWORK.value])
    with open_pdf(shown) as view, open_pdf(decal.artwork.page_pdf) as reference:
        return measure_artwork(view, reference, decal)


def off_mm(found: MeasuredArtwork, error: Affine) -> float:
    """How far the residual found is from the error put in, over the middle of the decal."""
    wrong = error.inverse() @ found.residual
    corners = [(MIDDLE[0] + dx, MIDDLE[1] + dy) for dx in (-30, 30) for dy in (-15, 15)]
    return max(math.dist(c, wrong.apply(*c)) for c in corners)


@pytest.mark.parametrize("kind", KINDS[:-1])
def test_an_exact_artwork_measures_under_a_micrometre(kind):
    found = measured(kind, Affine())
    assert found.state == "same"
    assert found.worst_mm < 0.001
    assert found.likeness > 0.999


@pytest.mark.parametrize("kind", KINDS[:-1])
@pytest.mark.parametrize(
    "error",
    [
        Affine.translation(0.031, -0.017),
        Affine.scaling(1.001, 1.0).about(*MIDDLE) @ Affine.translation(0.004, 0),
    ],
)
def test_known_errors_are_found_to_three_micrometres(kind, error):
    found = measured(kind, error)
    assert found.worst_mm > 0.02
    assert off_mm(found, error) < 0.003


def test_a_shift_of_millimetres_is_measured():
    error = Affine.translation(3.0, -2.0)
    assert off_mm(measured("vector", error), error) < 0.003


@pytest.mark.parametrize("kind", ["vector", "white on dark", "two colours", "raster"])
def test_mirrored_artwork_is_named(kind):
    assert measured(kind, Affine.scaling(-1, 1).about(*MIDDLE)).state == "mirrored"


def test_an_artwork_turned_by_half_a_turn_is_named():
    assert measured("vector", Affine.rotation(180).about(*MIDDLE)).state == "turned"


def test_another_artwork_in_its_place_is_named():
    assert measured("sparse", Affine(), drawn_kind="thin").state == "other"


def test_ink_on_a_blank_artwork_differs():
    assert measured("blank", Affine(), drawn_kind="sparse").state == "differs"


def test_a_missing_mark_differs_and_its_place_is_told():
    full = artwork_form("sparse")
    three = Form(b" ".join(full.content.split(b" h f")[k] + b" h f" for k in range(3)), full.box)
    pdf, job = specimen_job("sparse", placements=(PLACE,))
    decal = job.decals[0]
    lacking, _ = _with_form(three)
    assert decal.artwork is not None
    with open_pdf(lacking) as view, open_pdf(decal.artwork.page_pdf) as reference:
        found = measure_artwork(view, reference, decal)
    assert found.state == "differs"
    assert found.differs_at is not None
    x, y = found.differs_at.centre
    assert math.dist((x, y), (PLACE.e - 2 + 68.8, PLACE.f - 2 + 44.8)) < 1.0
    assert pdf != lacking


def _with_form(form: Form) -> tuple[bytes, Form]:
    from decalprep.proof.specimen import Placed, sheet_file
    from decalprep.units import pt_from_mm

    _, job = specimen_job("sparse", placements=(PLACE,))
    scale = pt_from_mm(1.0)
    place = Affine.scaling(scale) @ job.decals[0].page_from_artwork @ Affine.scaling(1 / scale)
    return sheet_file((210, 297), {}, [Placed(form, place, Layer.ARTWORK.value)]), form


def test_stripped_hairlines_do_not_count_but_thicker_lines_do():
    """The reference is the artwork as taken in; the sheet shows it without its thin lines."""
    full = artwork_form("vector")
    with_thin = Form(full.content + b" 0.2 w 20 20 m 220 140 l S 25 120 m 220 60 l S", full.box)
    with_thick = Form(full.content + b" 1.2 w 20 20 m 220 140 l S", full.box)
    lacking, _ = _with_form(full)
    _, job = specimen_job("vector", placements=(PLACE,))
    states = []
    for reference_form in (with_thin, with_thick):
        art = job.decals[0].artwork
        assert art is not None
        art = replace(art, page_pdf=one_page(reference_form), hairline_mm=0.1)
        decal = replace(job.decals[0], artwork=art)
        with open_pdf(lacking) as view, open_pdf(art.page_pdf) as reference:
            found = measure_artwork(view, reference, decal)
        states.append(found.state)
        assert found.worst_mm < 0.002
    assert states == ["same", "differs"]


def test_a_stroke_stripped_from_filled_shapes_does_not_pass_for_a_move():
    """Fills lose 0.04 mm on every side with their outline stroke: that is no error of size."""
    full = artwork_form("vector")
    bare = Form(full.content.replace(b"1 w", b"0.23 w"), full.box)
    stroked = Form(bare.content.replace(b"h f", b"h b"), full.box)
    lacking, _ = _with_form(bare)
    _, job = specimen_job("vector", placements=(PLACE,))
    art = job.decals[0].artwork
    assert art is not None
    art = replace(art, page_pdf=one_page(stroked), hairline_mm=0.1)
    stretched = Affine.scaling(1.001, 1.0005).about(*MIDDLE)
    for error in (Affine(), Affine.translation(0.031, -0.017), stretched):
        place = error.inverse() @ job.decals[0].page_from_artwork
        decal = replace(job.decals[0], artwork=art, page_from_artwork=place)
        with open_pdf(lacking) as view, open_pdf(art.page_pdf) as reference:
            found = measure_artwork(view, reference, decal)
        assert found.state == "same"
        assert off_mm(found, error) < 0.003


def test_near_white_made_white_does_not_count():
    full = artwork_form("vector")
    tinted = Form(b"0.97 0.98 0.97 rg 0 0 300 300 re f " + full.content, full.box)
    lacking, _ = _with_form(full)
    _, job = specimen_job("vector", placements=(PLACE,))
    art = job.decals[0].artwork
    assert art is not None
    decal = replace(job.decals[0], artwork=replace(art, page_pdf=one_page(tinted)))
    with open_pdf(lacking) as view, open_pdf(one_page(tinted)) as reference:
        assert measure_artwork(view, reference, decal).state == "same"


def test_drawn_finely_only_where_it_changes_is_the_same_picture():
    """Small lettering, thin lines and plain ground: a fine picture of all of it differs by 1."""
    panel = filled(rect(2, 2, 66, 36)) + stroked(rect(6, 20, 40, 3), 0.05, "1 1 1")
    panel += text(6, 10, "ENGINE ROOM FAN", 1.2) + text(50, 30, "OIL", 3.0)
    frame, size = frame_for(Box(0, 0, 70, 40), 300.0)
    with open_pdf(artwork(70, 40, panel).page_pdf) as opened:
        whole = opened.fine_crop(0, frame, size, 4)
        partly = opened.fine_crop(0, frame, size, 4, where=True)
        coarse = opened.draw(0, frame, size)
    apart = [int(np.abs(whole.astype(int) - other).max()) for other in (partly, coarse)]
    assert apart[0] <= 1
    assert apart[1] > 60  # what the coarse picture shows is another one


def test_tiles_finer_than_a_coarse_pixel_are_drawn_finely_all_over():
    """A coarse drawing shows them as one colour, and as another one than a fine drawing."""
    tile = stream(
        b"0 g 0.02 0.02 0.1 0.1 re f",
        "/Type /Pattern /PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 0.21 0.21] "
        "/XStep 0.21 /YStep 0.21 /Resources << >>",
    )
    content = b"/Pattern cs /P scn 0 0 238 153 re f"
    form = Form(content, (238.1, 153.1), "<< /Pattern << /P {tile} >> >>", {"tile": tile})
    lacking, _ = _with_form(form)
    decal = specimen_job("vector", placements=(PLACE,))[1].decals[0]
    assert decal.artwork is not None
    decal = replace(decal, artwork=replace(decal.artwork, page_pdf=one_page(form)))
    with open_pdf(lacking) as view, open_pdf(one_page(form)) as reference:
        scene = Scene(view, reference, decal, 150.0)
        fine = view.fine_crop(0, scene.frame, scene.size, scene.over)
        coarse = view.draw(0, scene.frame, scene.size)
    assert np.array_equal(scene.sheet, fine)
    levels = [float(pixels[scene.mask].mean()) for pixels in (fine, coarse)]
    assert abs(levels[0] - levels[1]) > 10
