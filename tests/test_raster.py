"""Raster files: true size, unchanged pixels, the right way up, or refused by name."""

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image, ImageCms

from decalprep.errors import DecalprepError, InputProblem, NoSize, TooMuch, Unfaithful, UsageProblem
from decalprep.intake.compare import compare_pictures, page_picture
from decalprep.intake.options import IntakeOptions, KnownDistance, Limits
from decalprep.intake.raster import read_raster
from decalprep.model import Artwork

WIDE, TALL = 60, 40
Turn = Image.Transpose
TURNS = {
    2: Turn.FLIP_LEFT_RIGHT,
    3: Turn.ROTATE_180,
    4: Turn.FLIP_TOP_BOTTOM,
    5: Turn.TRANSPOSE,
    6: Turn.ROTATE_270,
    7: Turn.TRANSVERSE,
    8: Turn.ROTATE_90,
}


def picture() -> Image.Image:
    """Four different quarters and a mark in the first."""
    pixels = np.full((TALL, WIDE, 3), 255, np.uint8)
    pixels[:20, :30], pixels[:20, 30:], pixels[20:, :30] = (255, 0, 0), (0, 255, 0), (0, 0, 255)
    pixels[5:9, 5:9] = 0
    return Image.fromarray(pixels)


def clear_picture() -> tuple[Image.Image, Image.Image]:
    """A picture that fades out to the left, and how it looks on paper."""
    image = picture().convert("RGBA")
    fade = np.tile(np.arange(WIDE, dtype=np.uint8) * 4, (TALL, 1))
    image.putalpha(Image.fromarray(fade))
    paper = Image.new("RGBA", image.size, "white")
    paper.alpha_composite(image)
    return image, paper


def saved(folder: Path, name: str, image: Image.Image, **words: object) -> Path:
    """The image as a file of 300 px/in unless said otherwise."""
    path = folder / name
    image.save(path, **{"dpi": (300, 300), **words})
    return path


def assert_shows(artwork: Artwork, expected: Image.Image, level: float = 3.0) -> None:
    """The page looks like the image, pixel by pixel."""
    drawn = page_picture(artwork.page_pdf, expected.size)
    wanted = np.array(expected.convert("RGB"))
    assert compare_pictures(drawn, wanted, 5.0).worst_level <= level


def image_of(artwork: Artwork) -> dict[str, object]:
    """The image dictionary of the page in plain values."""
    with pikepdf.open(io.BytesIO(artwork.page_pdf)) as document:
        image = document.pages[0].Resources.XObject.Im0
        return {
            "filter": str(image.Filter),
            "bits": int(image.BitsPerComponent),
            "space": str(image.ColorSpace)
            if isinstance(image.ColorSpace, pikepdf.Name)
            else str(image.ColorSpace[0]),
            "clear": "/SMask" in image,
            "raw": image.read_raw_bytes(),
        }


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["png", "jpg", "tif", "webp"])
def test_every_orientation_lies_upright(kind: str, orientation: int, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[274] = orientation
    words: dict[str, object] = {"exif": exif}
    words |= {"jpg": {"quality": 100, "subsampling": 0}, "webp": {"lossless": True}}.get(kind, {})
    if kind != "webp":
        words["dpi"] = (300, 150)
    path = saved(tmp_path, f"turned.{kind}", picture(), **words)
    artwork = read_raster(path, IntakeOptions(width_mm=10.0) if kind == "webp" else IntakeOptions())
    upright = picture()
    if orientation in TURNS:
        upright = upright.transpose(TURNS[orientation])
    assert artwork.pixels == upright.size
    assert_shows(artwork, upright)
    if kind != "webp":
        stored = (60 / 300 * 25.4, 40 / 150 * 25.4)
        size = stored[::-1] if orientation >= 5 else stored
        assert (artwork.width_mm, artwork.height_mm) == pytest.approx(size, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "mode", "bits", "space"),
    [
        ("grey.png", "L", 8, "/DeviceGray"),
        ("rgb.png", "RGB", 8, "/DeviceRGB"),
        ("line.png", "1", 1, "/DeviceGray"),
        ("palette.png", "P", 8, "/Indexed"),
        ("grey.tif", "L", 8, "/DeviceGray"),
        ("line.bmp", "1", 1, "/DeviceGray"),
        ("rgb.bmp", "RGB", 8, "/DeviceRGB"),
        ("palette.bmp", "P", 8, "/Indexed"),
        ("cmyk.tif", "CMYK", 8, "/DeviceCMYK"),
    ],
)
def test_pixels_keep_their_kind(
    name: str, mode: str, bits: int, space: str, tmp_path: Path
) -> None:
    image = picture().quantize(200) if mode == "P" else picture().convert(mode)
    if mode == "1":
        image = picture().convert("L").point(lambda v: 255 * (v > 90)).convert("1")
    artwork = read_raster(saved(tmp_path, name, image), IntakeOptions())
    held = image_of(artwork)
    assert (held["space"], held["clear"]) == (space, False)
    assert held["bits"] == bits or mode == "P"
    assert artwork.width_mm == pytest.approx(60 / 300 * 25.4, rel=1e-4)
    if mode != "CMYK":  # each renderer has its own CMYK
        assert_shows(artwork, image)


@pytest.mark.parametrize("name", ["fade.png", "fade.tif", "fade.webp"])
def test_transparent_pixels_stay_bare(name: str, tmp_path: Path) -> None:
    image, paper = clear_picture()
    words = {"lossless": True, "exact": True} if name.endswith("webp") else {}
    artwork = read_raster(saved(tmp_path, name, image, **words), IntakeOptions(width_mm=5.08))
    assert image_of(artwork)["clear"] is True
    assert_shows(artwork, paper)


def test_a_palette_with_clear_entries_and_a_colour_key(tmp_path: Path) -> None:
    image = picture().quantize(8)
    blue = image.getpixel((5, 35))
    path = saved(tmp_path, "clear.png", image, transparency=blue)
    paper = picture()
    paper.paste((255, 255, 255), (0, 20, 30, 40))
    # A mask's edge is filled in between its pixels.
    assert_shows(read_raster(path, IntakeOptions()), paper, level=12.0)
    path = saved(tmp_path, "key.png", picture(), transparency=(0, 0, 255))
    assert_shows(read_raster(path, IntakeOptions()), paper)


@pytest.mark.parametrize("name", ["deep.png", "deep.tif"])
def test_sixteen_bits_stay_sixteen(name: str, tmp_path: Path) -> None:
    import cv2

    grey = np.asarray(picture().convert("L")).astype(np.uint16) * 257
    artwork = read_raster(saved(tmp_path, name, Image.fromarray(grey)), IntakeOptions())
    assert image_of(artwork)["bits"] == 16
    assert_shows(artwork, picture().convert("L"))
    colour = np.asarray(picture())[:, :, ::-1].astype(np.uint16) * 257
    cv2.imwrite(str(tmp_path / name), colour)
    artwork = read_raster(tmp_path / name, IntakeOptions(width_mm=5.0))
    assert (image_of(artwork)["bits"], image_of(artwork)["space"]) == (16, "/DeviceRGB")
    assert_shows(artwork, picture())


@pytest.mark.parametrize("orientation", [1, 3, 5, 6])
def test_a_deep_tiff_lies_upright(orientation: int, tmp_path: Path) -> None:
    tifffile = pytest.importorskip("tifffile", reason="writes 16-bit RGB TIFF with an orientation")
    deep = np.asarray(picture()).astype(np.uint16) * 257
    path = tmp_path / "deep.tif"
    tag = [(274, "H", 1, orientation, True)]
    tifffile.imwrite(path, deep, photometric="rgb", extratags=tag, metadata=None)
    artwork = read_raster(path, IntakeOptions(width_mm=10.0))
    upright = picture().transpose(TURNS[orientation]) if orientation in TURNS else picture()
    assert artwork.pixels == upright.size
    assert image_of(artwork)["bits"] == 16
    assert_shows(artwork, upright)


def test_sixteen_bits_with_alpha(tmp_path: Path) -> None:
    import cv2

    image, paper = clear_picture()
    deep = np.asarray(image).astype(np.uint16)[:, :, [2, 1, 0, 3]] * 257
    cv2.imwrite(str(tmp_path / "deep.png"), deep)
    artwork = read_raster(tmp_path / "deep.png", IntakeOptions(width_mm=5.0))
    assert (image_of(artwork)["bits"], image_of(artwork)["clear"]) == (16, True)
    assert_shows(artwork, paper)


def test_jpeg_goes_in_byte_for_byte(tmp_path: Path) -> None:
    for name, words in (("plain.jpg", {}), ("steps.jpg", {"progressive": True})):
        path = saved(tmp_path, name, picture(), quality=95, subsampling=0, **words)
        held = image_of(read_raster(path, IntakeOptions()))
        assert held["filter"] == "/DCTDecode"
        assert held["raw"] == path.read_bytes()


def test_cmyk_jpeg_is_not_a_negative(tmp_path: Path) -> None:
    image = Image.new("CMYK", (60, 40), (0, 0, 0, 0))
    artwork = read_raster(saved(tmp_path, "paper.jpg", image, quality=95), IntakeOptions())
    assert page_picture(artwork.page_pdf, (60, 40)).min() > 250
    assert "cmyk-without-profile" in {n.code for n in artwork.notices}


def test_png_rows_go_in_byte_for_byte(tmp_path: Path) -> None:
    path = saved(tmp_path, "plain.png", picture())
    assert image_of(read_raster(path, IntakeOptions()))["raw"] in path.read_bytes()


def test_colour_profile_is_carried_over_or_told(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for name in ("a.png", "a.jpg", "a.tif"):
        artwork = read_raster(
            saved(tmp_path, name, picture(), icc_profile=profile), IntakeOptions()
        )
        with pikepdf.open(io.BytesIO(artwork.page_pdf)) as document:
            space = document.pages[0].Resources.XObject.Im0.ColorSpace
            assert space[1].read_bytes() == profile
    grey = saved(tmp_path, "b.png", picture().convert("L"), icc_profile=profile)
    artwork = read_raster(grey, IntakeOptions())
    assert image_of(artwork)["space"] == "/DeviceGray"
    assert "profile-dropped" in {n.code for n in artwork.notices}


def test_no_density_needs_the_users_word(tmp_path: Path) -> None:
    path = tmp_path / "plain.png"
    picture().save(path)
    with pytest.raises(NoSize, match=r"plain.png: has 60 x 40 pixels .* width = "):
        read_raster(path, IntakeOptions())
    artwork = read_raster(path, IntakeOptions(width_mm=30.0))
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((30.0, 20.0))
    known = KnownDistance(0, 0, 30, 0, 60.0)
    artwork = read_raster(path, IntakeOptions(known_distance=known))
    assert artwork.width_mm == pytest.approx(120.0)


def test_low_resolution_is_told(tmp_path: Path) -> None:
    def ppi(image: Image.Image, dpi: int) -> list[float]:
        artwork = read_raster(saved(tmp_path, "a.png", image, dpi=(dpi, dpi)), IntakeOptions())
        return [dict(n.numbers)["ppi"] for n in artwork.notices if n.code == "low-resolution"]

    assert ppi(picture(), 300) == []
    assert ppi(picture(), 299) == pytest.approx([299], abs=0.1)
    assert ppi(picture().convert("1"), 599) == pytest.approx([599], abs=0.1)
    assert ppi(picture().convert("1"), 600) == []


def _bomb() -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        sum_ = zlib.crc32(kind + body)
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", sum_)

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", b"x") + chunk(b"IEND", b"")


def _cut(folder: Path, kind: str) -> bytes:
    data = saved(folder, f"whole.{kind}", picture()).read_bytes()
    return data[: len(data) // 2]


@pytest.mark.parametrize(
    ("name", "kind", "words"),
    [
        ("bomb.png", TooMuch, "60000 x 60000|more than"),
        ("text.png", InputProblem, "not a PNG"),
        ("empty.png", InputProblem, "not a PNG"),
        ("cut.png", InputProblem, "damaged"),
        ("cut.jpg", InputProblem, "damaged"),
        ("cut.tif", InputProblem, "damaged"),
        ("nowhere.png", InputProblem, "cannot be read"),
    ],
)
def test_bad_files_are_refused(
    name: str, kind: type[DecalprepError], words: str, tmp_path: Path
) -> None:
    made = {"bomb.png": _bomb(), "text.png": b"Harbour tug", "empty.png": b""}
    path = tmp_path / name
    if name.startswith("cut"):
        path.write_bytes(_cut(tmp_path, name[-3:]))
    elif name in made:
        path.write_bytes(made[name])
    with pytest.raises(kind, match=words) as caught:
        read_raster(path, IntakeOptions())
    assert str(caught.value).startswith(f"{name}: ")


def test_limits_and_pillows_own_ceiling_stay_as_they_were(tmp_path: Path) -> None:
    before = Image.MAX_IMAGE_PIXELS
    path = saved(tmp_path, "a.png", picture())
    with pytest.raises(TooMuch):
        read_raster(path, IntakeOptions(limits=Limits(max_pixels=2399)))
    with pytest.raises(TooMuch, match="larger than"):
        read_raster(path, IntakeOptions(limits=Limits(max_bytes=20)))
    assert before == Image.MAX_IMAGE_PIXELS


def test_pages_of_a_tiff(tmp_path: Path) -> None:
    second = picture().transpose(Turn.ROTATE_180)
    path = saved(tmp_path, "two.tif", picture(), save_all=True, append_images=[second])
    artwork = read_raster(path, IntakeOptions(page=2, width_mm=5.0))
    assert_shows(artwork, second)
    assert "several-pictures" in {n.code for n in artwork.notices}
    with pytest.raises(UsageProblem, match="no page 3"):
        read_raster(path, IntakeOptions(page=3))


@pytest.mark.parametrize(
    ("compression", "words"),
    [("group4", "Fax4Decode: "), ("tiff_lzw", "code not yet in table")],
)
def test_a_damaged_tiff_is_refused_in_our_words_alone(
    compression: str, words: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """libtiff prints what is wrong; a fax-coded picture it then hands on with lines missing."""
    noise = np.random.default_rng(1).integers(0, 255, (120, 120), np.uint8)
    image = Image.fromarray(noise > 128 if compression == "group4" else noise)
    path = saved(tmp_path, "a.tif", image, compression=compression)
    read_raster(path, IntakeOptions())
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 40] = bytes(b ^ 0xFF for b in data[middle : middle + 40])
    path.write_bytes(data)
    with pytest.raises(InputProblem, match=f"^a.tif: is damaged .*{words}") as caught:
        read_raster(path, IntakeOptions())
    assert "tempfile" not in str(caught.value)
    assert capfd.readouterr().err == ""


def test_floating_pixels_are_refused(tmp_path: Path) -> None:
    path = saved(tmp_path, "float.tif", picture().convert("F"))
    with pytest.raises(Unfaithful, match=r"kind that cannot be carried over \(F\)"):
        read_raster(path, IntakeOptions())
