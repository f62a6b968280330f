"""Which reader takes a file, told by content; one clear line for every file that none takes."""

import io
import zipfile

import pikepdf
import pytest
from mesh_parts import plate
from pikepdf import Array, Dictionary, Name
from PIL import Image

from decalprep.errors import InputProblem, TooMuch, UsageProblem
from decalprep.intake import (
    FaceOptions,
    IntakeOptions,
    KnownDistance,
    Limits,
    numbered_circles,
    read_artwork,
    read_face,
)
from decalprep.intake.files import kind_of

MM = 72 / 25.4


def picture(how):
    out = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(out, how)
    return out.getvalue()


def zipped(name):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(name, "x")
    return out.getvalue()


MESH = plate(12)
KINDS = [
    (b"%PDF-1.7\n", "pdf"),
    (b"junk before it %PDF-1.4\n", "pdf"),
    (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "svg"),
    (b"\xef\xbb\xbf<?xml version='1.0'?><!-- c --><svg:svg xmlns:svg='u'/>", "svg"),
    ("<?xml version='1.0' encoding='utf-16'?><svg/>".encode("utf-16"), "svg"),
    (picture("PNG"), "raster"),
    (picture("JPEG"), "raster"),
    (picture("TIFF"), "raster"),
    (picture("WEBP"), "raster"),
    (picture("BMP"), "raster"),
    (b"  0\r\nSECTION\r\n  2\r\nHEADER\r\n", "dxf"),
    (b"999\nmade by hand\n0\nSECTION\n", "dxf"),
    (MESH.export(file_type="stl"), "stl"),
    (MESH.export(file_type="stl_ascii").encode(), "stl"),
    (MESH.export(file_type="obj").encode(), "obj"),
    (MESH.export(file_type="3mf"), "3mf"),
]


@pytest.mark.parametrize(("data", "kind"), KINDS)
def test_content_tells_the_kind(data, kind, tmp_path):
    assert kind_of(data, tmp_path / "no suffix") == kind


def test_a_binary_mesh_that_starts_with_solid_is_still_binary(tmp_path):
    data = bytearray(MESH.export(file_type="stl"))
    data[:5] = b"solid"
    assert kind_of(bytes(data), tmp_path / "a.stl") == "stl"
    (tmp_path / "a.stl").write_bytes(data)
    assert len(read_face(tmp_path / "a.stl", FaceOptions(direction="top")).holes) == 3


REFUSED = [
    ("a.gif", picture("GIF"), "a GIF picture"),
    ("a.eps", b"%!PS-3.0\n", "PostScript"),
    ("a.step", b"ISO-10303-21;\n", "STEP"),
    ("a.dwg", b"AC1032\0\0", "DWG"),
    ("a.svgz", b"\x1f\x8b\x08\0", "unpack it"),
    ("a.zip", zipped("readme.txt"), "this is no SVG, PDF"),
    ("a.txt", b"width = 80 mm\n", "this is no SVG, PDF"),
    ("a.html", b"<html><body>hello</body></html>", "this is no SVG, PDF"),
    ("a.bin", bytes(range(256)), "this is no SVG, PDF"),
    ("a.svg", b"", "the file is empty"),
]


@pytest.mark.parametrize(("name", "data", "word"), REFUSED)
@pytest.mark.parametrize("read", [read_artwork, read_face])
def test_other_files_are_refused_by_name(name, data, word, read, tmp_path):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputProblem, match=word) as caught:
        read(tmp_path / name)
    assert "\n" not in str(caught.value)
    assert name in str(caught.value)
    assert caught.value.do


@pytest.mark.parametrize("read", [read_artwork, read_face])
def test_paths_that_are_no_files(read, tmp_path):
    with pytest.raises(InputProblem, match="there is no such file; check the path"):
        read(tmp_path / "none.svg")
    with pytest.raises(InputProblem, match="this is a folder"):
        read(tmp_path)


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = tmp_path / "bow.pdf"
    path.write_bytes(b"%PDF-1.7")

    def forbidden(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", forbidden)
    with pytest.raises(InputProblem, match=r"cannot be read \(Permission denied\)"):
        read_artwork(path)


def test_a_huge_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "bow.pdf"
    path.write_bytes(b"%PDF-1.7" + b" " * 2000)
    with pytest.raises(TooMuch, match="more than"):
        read_artwork(path, IntakeOptions(limits=Limits(max_bytes=1000)))


def test_a_part_is_no_picture_and_a_picture_no_part(tmp_path):
    (tmp_path / "plate.stl").write_bytes(MESH.export(file_type="stl"))
    with pytest.raises(InputProblem, match=r"a part \(STL mesh\), not a picture; give it as the"):
        read_artwork(tmp_path / "plate.stl")
    (tmp_path / "bow.pdf").write_bytes(b"%PDF-1.7")
    with pytest.raises(InputProblem, match=r"a picture \(pdf\), not a part"):
        read_face(tmp_path / "bow.pdf")


def circles_pdf(path, circles):
    """A page 100 x 50 mm with circles drawn in four cubics, as drawing programs do."""
    k = 0.5522847498
    content = []
    for x, y, d in circles:
        x, y, r = x * MM, y * MM, d / 2 * MM
        q = k * r
        content.append(
            f"{x + r} {y} m {x + r} {y + q} {x + q} {y + r} {x} {y + r} c "
            f"{x - q} {y + r} {x - r} {y + q} {x - r} {y} c "
            f"{x - r} {y - q} {x - q} {y - r} {x} {y - r} c "
            f"{x + q} {y - r} {x + r} {y - q} {x + r} {y} c h S"
        )
    pdf = pikepdf.new()
    page = Dictionary(
        Type=Name.Page,
        MediaBox=Array([0, 0, 100 * MM, 50 * MM]),
        Contents=pdf.make_stream("\n".join(content).encode()),
    )
    pdf.pages.append(pikepdf.Page(page))
    pdf.save(path)
    return path


def test_a_misleading_name_is_noted(tmp_path):
    path = circles_pdf(tmp_path / "bow.svg", [(20, 20, 10)])
    artwork = read_artwork(path)
    assert artwork.kind == "pdf"
    assert "misnamed" in {n.code for n in artwork.notices}


def test_circles_are_numbered_from_the_top_left(tmp_path):
    drawn = [(80, 10, 4), (20, 40, 4), (50, 40, 12), (50, 40, 6)]
    artwork = read_artwork(circles_pdf(tmp_path / "bow.pdf", drawn))
    found = [(round(c.x / MM, 3), round(c.y / MM, 3)) for c in numbered_circles(artwork)]
    assert found == [(20, 40), (50, 40), (80, 10)]


def test_the_distance_of_two_circles_sets_the_size(tmp_path):
    """Drawn 30 mm apart, truly 60: the page is twice as large."""
    path = circles_pdf(tmp_path / "bow.pdf", [(20, 40, 4), (50, 40, 12)])
    artwork = read_artwork(path, IntakeOptions(circle_distance=(1, 2, 60.0)))
    assert artwork.width_mm == pytest.approx(200, abs=1e-4)
    assert "circles 1 and 2" in artwork.evidence[0].reason
    with pytest.raises(UsageProblem, match="no circle 3; the artwork has circles 1 to 2"):
        read_artwork(path, IntakeOptions(circle_distance=(1, 3, 60.0)))


def test_two_known_distances_are_one_too_many(tmp_path):
    path = circles_pdf(tmp_path / "bow.pdf", [(20, 40, 4), (50, 40, 12)])
    known = KnownDistance(0, 0, 10, 0, 5.0)
    with pytest.raises(UsageProblem, match="two known distances"):
        read_artwork(path, IntakeOptions(circle_distance=(1, 2, 60.0), known_distance=known))


def test_the_distance_of_two_holes_sizes_a_drawing_without_a_unit(tmp_path):
    import ezdxf

    doc = ezdxf.new()
    doc.header["$INSUNITS"] = 0
    msp = doc.modelspace()
    msp.add_lwpolyline([(0, 0), (4, 0), (4, 2), (0, 2)], close=True)
    msp.add_circle((0.5, 1), 0.1)
    msp.add_circle((3.5, 1), 0.1)
    path = tmp_path / "plate.dxf"
    doc.saveas(path)
    artwork = read_artwork(path, IntakeOptions(circle_distance=(1, 2, 76.2)))
    assert artwork.width_mm == pytest.approx(101.6, abs=1e-6)
