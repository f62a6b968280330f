"""Scan files: the kinds that scanners write, read the same; everything else refused by name."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from decalprep.errors import DecalprepError, InputProblem, TooMuch
from decalprep.scan import images as images_module
from decalprep.scan import read_scan

RNG = np.random.default_rng(3)
GREY = (RNG.random((420, 310)) * 255).astype(np.uint8)


def save(path: Path, mode: str = "L", **more: object) -> Path:
    picture = Image.fromarray(GREY)
    picture = picture.convert(mode) if mode != "L" else picture
    picture.save(path, **more)
    return path


@pytest.mark.parametrize("ending", ["png", "tif", "pdf"])
def test_lossless_kinds_keep_every_pixel_and_the_claimed_dpi(tmp_path: Path, ending: str) -> None:
    more = {"resolution": 300.0} if ending == "pdf" else {"dpi": (300, 300)}
    if ending == "pdf":
        # Pillow writes grey pictures into PDF as JPEG: compare what it wrote, not what it got.
        path = save(tmp_path / "s.pdf", **more)
        (scan,) = read_scan(path)
        assert scan.grey.shape == GREY.shape
        assert np.corrcoef(scan.grey.ravel(), GREY.ravel())[0, 1] > 0.9
    else:
        (scan,) = read_scan(save(tmp_path / f"s.{ending}", **more))
        assert np.array_equal(scan.grey, GREY)
    assert scan.claimed_dpi == pytest.approx((300, 300), abs=0.5)


def test_jpeg_colour_alpha_and_16_bit(tmp_path: Path) -> None:
    (scan,) = read_scan(save(tmp_path / "s.jpg", quality=95, dpi=(200, 200)))
    assert scan.claimed_dpi == (200, 200)
    for mode in ("RGB", "RGBA", "P", "1"):
        (scan,) = read_scan(save(tmp_path / f"{mode}.png", mode))
        assert scan.grey.dtype == np.uint8
        assert scan.grey.shape == GREY.shape
    deep = Image.fromarray(GREY.astype(np.uint16) * 257)
    deep.save(tmp_path / "deep.tif")
    (scan,) = read_scan(tmp_path / "deep.tif")
    assert np.abs(scan.grey.astype(int) - GREY).max() <= 1


def test_clear_paper_counts_as_white(tmp_path: Path) -> None:
    Image.new("RGBA", (400, 400), (0, 0, 0, 0)).save(tmp_path / "clear.png")
    assert read_scan(tmp_path / "clear.png")[0].grey.min() == 255


def test_pages_of_a_tiff_and_a_pdf(tmp_path: Path) -> None:
    one, two = Image.fromarray(GREY), Image.fromarray(255 - GREY)
    one.save(tmp_path / "two.tif", save_all=True, append_images=[two])
    one.save(tmp_path / "two.pdf", save_all=True, append_images=[two])
    for name in ("two.tif", "two.pdf"):
        found = read_scan(tmp_path / name)
        assert [scan.name[-6:] for scan in found] == ["page 1", "page 2"]
        assert found[0].grey[0, 0] != found[1].grey[0, 0]


def test_refusals(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(InputProblem, match="there is no such file; check the path"):
        read_scan(tmp_path / "none.png")
    for name, data, found in (
        ("text.png", b"hello", "no PNG, JPEG"),
        ("cut.png", save(tmp_path / "whole.png").read_bytes()[:4000], "damaged"),
        ("cut.pdf", b"%PDF-1.4 nothing", "damaged"),
    ):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(InputProblem, match=found):
            read_scan(tmp_path / name)
    noise = np.random.default_rng(1).integers(0, 2, (400, 400)) > 0
    Image.fromarray(noise).save(tmp_path / "fax.tif", compression="group4")
    fax = bytearray((tmp_path / "fax.tif").read_bytes())
    fax[3000:3040] = b"\xff" * 40
    (tmp_path / "fax.tif").write_bytes(fax)
    with pytest.raises(InputProblem, match="is damaged .Fax4Decode"):
        read_scan(tmp_path / "fax.tif")
    assert capfd.readouterr().err == ""
    Image.new("L", (100, 100)).save(tmp_path / "small.png")
    with pytest.raises(InputProblem, match="only 100 x 100 pixels"):
        read_scan(tmp_path / "small.png")
    monkeypatch.setattr(images_module, "LARGEST_PIXELS", 1000)
    with pytest.raises(TooMuch):
        read_scan(tmp_path / "whole.png")


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.sampled_from([b"", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\x00", b"%PDF-1.5\n"]),
    st.binary(max_size=300),
)
def test_any_bytes_are_read_or_refused(tmp_path: Path, head: bytes, body: bytes) -> None:
    path = tmp_path / "any"
    path.write_bytes(head + body)
    try:
        read_scan(path)
    except DecalprepError as refused:
        assert str(path) in str(refused)
