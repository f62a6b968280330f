"""A backlit panel of two plates through the whole job: masks, underlay, register, light.

The plates are the demo's. By hand: the face is 100 x 60 mm, the back 104 x 64 mm, both with
corners of 3 mm, and the back has a cable notch 16 mm wide and 6 mm deep. The notch takes 16 x 4 =
64 mm2 out of the face's area; the back alone has (6656 - 6000) - (96 - 64) = 624 mm2.
"""

import io
import json
import shutil
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pypdf
import pytest
import shapely
from made_cases import DEMO, at, grey_page, made_of, page_from_fitted
from shapely.affinity import scale, translate

from decalprep.calibration import correction_for
from decalprep.compose import ComposeSettings, underlay_drawings
from decalprep.export import write_pdf
from decalprep.geometry import Affine
from decalprep.jobs.expect_more import expected_masks, expected_underlays
from decalprep.jobs.finish import mask_drawings, mask_sheet, placed_masks
from decalprep.jobs.make import Made
from decalprep.jobs.outputs import corrections_of
from decalprep.proof import prove

DPI = 508.0
PX_MM = 0.05
PANEL = """
[[panel]]
name = "lamp {trap}"
artwork = "searchlight.svg"
outline_layer = "cut"
hole_layer = "holes"
backlit = true
trap = "{trap} mm"
"""
PLATES = """part = "searchlight-face.stl"
part_face = "top"
back_part = "searchlight-back.stl"
back_part_face = "top"
masks = true
"""
SHEET = '[job]\ntitle = "Lamp"\npasses = 2\ngap = "13 mm"\n[[sheet]]\nname = "A5"\nsize = "A5"\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("lamps")
    for file in DEMO.glob("searchlight*"):
        shutil.copy(file, found)
    return found


@pytest.fixture(scope="module")
def made(folder: Path) -> Made:
    return made_of(folder, SHEET + PANEL.format(trap="0.4") + PLATES + PANEL.format(trap="0.2"))


@pytest.fixture(scope="module")
def pages(made: Made, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """The decal sheet and the underlay sheet as printed."""
    return tuple(grey_page(made.files[n], folder) for n in ("sheets.pdf", "underlays.pdf"))


def words_of(pdf: bytes) -> list[str]:
    return [
        " ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages
    ]


def test_the_plates_difference_is_told_in_mm2_in_result_sheet_and_build_sheet(made: Made) -> None:
    notices = json.loads(made.files["result.json"])["notices"]
    (told,) = (n for n in notices if n["code"] == "plates-differ")
    assert told["numbers"]["only_face_mm2"] == pytest.approx(64.0, abs=0.05)
    assert told["numbers"]["only_back_mm2"] == pytest.approx(624.0, abs=0.05)
    hatched = "hatched: 64.0 mm2 only in the face plate, 624.0 mm2 only in the back plate"
    front, behind, back_front, back_behind = words_of(made.files["paint-masks.pdf"])
    assert hatched in front
    assert hatched in back_front
    assert hatched not in behind + back_behind
    assert (
        "64 mm2 only in the face plate, 624 mm2 only in the back plate"
        in (words_of(made.files["build-sheets.pdf"])[0])
    )


def outlines(made: Made, name: str) -> list[shapely.Polygon]:
    """The rings of a mask's DXF, read by ezdxf."""
    document = ezdxf.read(io.StringIO(made.files[f"cut/mask lamp 0.4 {name}.dxf"].decode()))
    assert document.header["$INSUNITS"] == 4
    rings = []
    for entity in document.modelspace():
        assert entity.dxf.layer == "mask"
        path = ezdxf.path.make_path(entity)
        rings.append(shapely.Polygon([(v.x, v.y) for v in path.flattening(0.0005)]))
    return sorted(rings, key=lambda ring: -ring.area)


def test_each_plate_has_masks_of_its_own_size_mirrored_from_behind(made: Made) -> None:
    choke, rim = 0.5, 1.0
    for plate, width, height in (("face plate", 100, 60), ("back plate", 104, 64)):
        front, back = (outlines(made, f"{plate} {side}") for side in ("front", "back"))
        x0, y0, x1, y1 = front[0].bounds
        assert x1 - x0 == pytest.approx(width - 2 * choke, abs=0.001)
        assert y1 - y0 == pytest.approx(height - 2 * choke, abs=0.001)
        assert [r.area for r in front] == pytest.approx([r.area for r in back], abs=0.01)
        _, v0, u1, _ = back[0].bounds
        for ring in front:
            mirrored = scale(ring, -1, 1, origin=(0, 0))
            there = translate(mirrored, u1 + x0, v0 - y0)
            assert min(there.hausdorff_distance(other) for other in back) < 0.002
    switch = sorted(r.bounds[2] - r.bounds[0] for r in outlines(made, "face plate front")[1:])
    assert switch[-3:] == pytest.approx([9.8 + 2 * rim] * 3, abs=0.02)  # facets of the mesh
    assert switch[:4] == pytest.approx([3.4 + 2 * rim] * 4, abs=0.02)


def dark_centre(picture: np.ndarray, point: np.ndarray, normal: np.ndarray) -> float:
    """Offset in mm along the normal of a thin line near a point; NaN where there is none."""
    t = np.arange(-0.2, 0.2, PX_MM / 4)
    dark = 255.0 - at(picture, point + t[:, None] * normal, DPI)
    thin = dark[np.abs(t) < 0.05].max() > 100 and max(dark[0], dark[-1]) < 30
    return float((dark * t).sum() / dark.sum()) if thin else float("nan")


def test_underlay_and_decal_carry_the_same_ticks_in_the_same_places(
    made: Made, pages: tuple[np.ndarray, np.ndarray]
) -> None:
    kept = 0
    for finish in made.finishes:
        _, page_from_decal = page_from_fitted(made, finish.underlay.name)
        for tick in finish.underlay.ticks:
            a, b = np.array(page_from_decal.apply_all(tick.points()))
            normal = np.array([a[1] - b[1], b[0] - a[0]]) / np.hypot(*(b - a))
            there = [dark_centre(page, (a + b) / 2, normal) for page in pages]
            assert np.isnan(there[0]) == np.isnan(there[1])  # left out of both, or of neither
            if not np.isnan(there[0]):
                kept += 1
                assert there == pytest.approx([0.0, 0.0], abs=0.02)
                assert there[0] == pytest.approx(there[1], abs=0.003)
    assert kept == 16


def leak_mm2(
    made: Made, pages: tuple[np.ndarray, np.ndarray], name: str, shift_px: tuple[int, int]
) -> float:
    """Where the printed underlay lets light through beside the printed legend, in mm2.

    Pixels only: open is where the underlay shows paper, dark is where the decal shows ground.
    The rims of the outline and of the holes, which are cut, are left out.
    """
    decal = next(p.decal for p in made.prepared if p.decal.name == name)
    _, m = page_from_fitted(made, name)
    shape = shapely.Polygon(m.apply_all(decal.outline.points(0.01))).buffer(-0.6)
    for hole in decal.holes:
        cut = shapely.Polygon(m.apply_all(hole.contour.points(0.01)))
        shape = shape.difference(cut.buffer(2.0 if cut.area < 15 else 0.6))
    top, under = pages
    x0, y0, x1, y1 = (np.array(shape.bounds) / PX_MM).astype(int)
    rows, columns = np.mgrid[y0:y1, x0:x1]
    inside = shapely.contains_xy(shape, (columns + 0.5) * PX_MM, (rows + 0.5) * PX_MM)
    dx, dy = shift_px
    open_ = under[y0 - dy : y1 - dy, x0 - dx : x1 - dx] > 200
    dark = top[y0:y1, x0:x1] < 60
    assert open_[inside].sum() * PX_MM**2 > 20  # there is a legend to light
    return float((open_ & dark & inside).sum()) * PX_MM**2


@pytest.mark.parametrize("shift_px", [(6, 0), (-6, 0), (0, 6), (4, 4), (-4, 4)])
def test_a_misprint_of_three_tenths_leaks_no_light_under_a_trap_of_four_tenths(
    made: Made, pages: tuple[np.ndarray, np.ndarray], shift_px: tuple[int, int]
) -> None:
    """Pixels are 0.05 mm: six along an axis, or four both ways, are a misprint of 0.3 mm."""
    assert leak_mm2(made, pages, "lamp 0.4", shift_px) == 0.0
    assert leak_mm2(made, pages, "lamp 0.2", shift_px) > 1.0


def test_unshifted_underlays_leak_nothing(made: Made, pages: tuple[np.ndarray, np.ndarray]) -> None:
    assert leak_mm2(made, pages, "lamp 0.4", (0, 0)) == 0.0
    assert leak_mm2(made, pages, "lamp 0.2", (0, 0)) == 0.0


def test_the_proof_of_the_underlays_finds_a_shift_of_five_hundredths(made: Made) -> None:
    unders = [f.underlay for f in made.finishes]
    decals, laid = made.pieces.decals, made.laid
    expected = expected_underlays(
        unders, decals, laid.placements, laid.sheets, corrections_of(made)
    )
    assert prove(made.files["underlays.pdf"], expected).passed
    by = Affine.translation(0.05, 0.0)
    off = [replace(unders[0], paths=tuple(p.mapped(by) for p in unders[0].paths)), *unders[1:]]
    drawings = underlay_drawings(
        off, decals, laid.placements, laid.sheets, ComposeSettings(), made.records
    )
    proof = prove(write_pdf(drawings), expected)
    assert not proof.passed
    assert max(m.error_mm for m in proof.marks) == pytest.approx(0.05, abs=0.004)


def test_the_proof_of_the_masks_finds_a_shift_of_five_hundredths(made: Made) -> None:
    sheet = mask_sheet(made.job.sheets[0].sheet)
    placed = placed_masks(made.finishes, sheet)
    expected = expected_masks(placed, sheet, correction_for(None, sheet))
    assert prove(made.files["paint-masks.pdf"], expected).passed
    first = made.finishes[0]
    mask = first.masks[1]
    drawings = mask_drawings(made.finishes, sheet, None)
    for by in ((0.05, 0.0), (0.0, -0.05)):
        moved = replace(mask, paths=tuple(p.mapped(Affine.translation(*by)) for p in mask.paths))
        off = replace(first, masks=(first.masks[0], moved, *first.masks[2:]))
        drawing = _on_the_place_of(off, first, sheet)
        proof = prove(write_pdf((drawings[0], drawing, *drawings[2:])), expected)
        assert not proof.passed, by


def _on_the_place_of(off, first, sheet):
    """The second mask's sheet as if the printing program had put the moved mask there."""
    from decalprep.compose import ShapeSheet, mask_drawing

    place = placed_masks([first], sheet)[1][1]
    return mask_drawing(off.masks[1], ShapeSheet(sheet, sheet_from_shapes=place))
