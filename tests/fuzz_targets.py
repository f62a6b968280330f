"""Damaged files for every reader: each is read, or refused in one line by an error of ours, soon.

    python tests/fuzz_targets.py [--seconds 60] [--seed 1] [--keep found] [target ...]

A target takes any bytes; seeds are small good files, damaged in a few places at random. Whatever
ends in another error, or takes longer than ``MOST_SECONDS`` of processor time, is kept as a file
beside its name, and the run ends with 1. A target can be given to a fuzzer that watches coverage
as well: it is a function of bytes.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import logging
import math
import os
import random
import re
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).parent.parent), str(Path(__file__).parent)]

from decalprep.errors import DecalprepError

MOST_SECONDS = 10.0
DEMO = Path(str(files("decalprep") / "data" / "demo"))
NUMBERS = (
    b"0", b"-1", b"nan", b"inf", b"1e308", b"-1e-308", b"999999999", b"4294967295", b"2147483648",
    b"1.2.3", b"--1", b"0.0000001",
)  # fmt: skip
BYTES = (b"\0", b"\xff", b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\n", b"<", b"(")
_DIGITS = re.compile(rb"-?[0-9.]+")


@dataclass(frozen=True)
class Target:
    """A reader and good files for it; ``read`` checks what it got and raises if that is wrong."""

    read: Callable[[bytes], None]
    seeds: Callable[[], tuple[bytes, ...]]


# ---------------------------------------------------------------- damage


def damaged(data: bytes, other: bytes, rng: random.Random) -> bytes:
    """The data with one to six changes: bytes, numbers, lines and stretches of it, or of another
    seed."""
    for _ in range(rng.randint(1, 6)):
        if len(data) < 2:
            break
        data = rng.choice(_CHANGES)(data, other, rng)
    return data


def _byte(data: bytes, other: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]


def _odd_bytes(data: bytes, other: bytes, rng: random.Random) -> bytes:
    at, new = rng.randrange(len(data)), rng.choice(BYTES)
    return data[:at] + new + data[at + len(new) * rng.randint(0, 1) :]


def _number(data: bytes, other: bytes, rng: random.Random) -> bytes:
    start = rng.randrange(len(data))
    found = _DIGITS.search(data, start) or _DIGITS.search(data)
    if found is None:
        return _byte(data, other, rng)
    return data[: found.start()] + rng.choice(NUMBERS) + data[found.end() :]


def _drop(data: bytes, other: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + data[at + rng.choice((1, 4, 30, 200)) :]


def _double(data: bytes, other: bytes, rng: random.Random) -> bytes:
    at, length = rng.randrange(len(data)), rng.choice((4, 30, 200))
    return data[: at + length] + data[at : at + length] * rng.choice((1, 1, 20)) + data[at:]


def _cut(data: bytes, other: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) // 2, len(data))]


def _line(data: bytes, other: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    at = rng.randrange(len(lines))
    lines[at : at + 1] = rng.choice(([], [lines[at]] * 2, [rng.choice(lines)]))
    return b"\n".join(lines)


def _from_other(data: bytes, other: bytes, rng: random.Random) -> bytes:
    at, start, length = rng.randrange(len(data)), rng.randrange(len(other) or 1), rng.randint(1, 60)
    return data[:at] + other[start : start + length] + data[at:]


_CHANGES = (_byte, _odd_bytes, _number, _number, _drop, _double, _cut, _line, _from_other)


def inputs(target: Target, seed: int) -> Iterator[bytes]:
    """Damaged files without end; the same seed, the same files."""
    rng = random.Random(seed)
    seeds = target.seeds()
    yield from seeds
    while True:
        yield damaged(rng.choice(seeds), rng.choice(seeds), rng)


# ---------------------------------------------------------------- readers


def one_line(error: DecalprepError) -> None:
    """Whether an error is what a person can be told."""
    if "\n" in str(error) or not str(error).strip():
        raise AssertionError(f"not one line: {error!r}")


def check(right: bool, told: object) -> None:
    """Whatever is read must make sense."""
    if not right:
        raise AssertionError(f"read as {told!r}")


def as_file(data: bytes, name: str, read: Callable[[Path], None]) -> None:
    """A reader of files, given bytes."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        try:
            read(path)
        except DecalprepError as error:
            one_line(error)


def read_tokens(data: bytes) -> None:
    from decalprep.pdfstream import operands, operations

    last = 0
    for _, first, start, end in operations(data):
        check(last <= first <= start <= end <= len(data), (last, first, start, end))
        operands(data, first, start)
        last = end


def read_content(data: bytes) -> None:
    from hairline_cases import artwork_of, page_bytes
    from test_pdfstream_fuzz import dressed

    from decalprep.cleaning import make_white_bare, strip_hairlines
    from decalprep.pdfstream import read_page

    page = page_bytes(data, dressed)
    try:
        read_page(page)
        read_page(make_white_bare(strip_hairlines(artwork_of(page)).artwork).artwork.page_pdf)
    except DecalprepError as error:
        one_line(error)


def content_seeds() -> tuple[bytes, ...]:
    from hairline_cases import CASES

    return tuple(case.before for case in CASES if case.before)


def read_svg_root(data: bytes) -> None:
    from decalprep.intake.svg_size import read_root_size

    parts = [p.decode("utf-8", "replace") for p in data.split(b"|")] + [""] * 4
    words = [part or None for part in parts[:3]]
    try:
        size = read_root_size(
            words[0], words[1], view_box=words[2], aspect=parts[3], name="panel.svg"
        )
    except DecalprepError as error:
        one_line(error)
        return
    if size is not None:
        sides = (size.claim.width_mm, size.claim.height_mm)
        check(all(math.isfinite(s) and s > 0 for s in sides), sides)


def svg_root_seeds() -> tuple[bytes, ...]:
    return (
        b"60mm|40mm|0 0 60 40|",
        b"2.5in|100pt|0,0,240,133|xMinYMax slice",
        b"|50%|-3 -3 1e2 .5e2|none",
        b"9pc|12Q||xMidYMid meet",
        b"100%|calc(3mm)|0 0 1 1|defer xMaxYMin",
    )


def read_svg_text(data: bytes) -> None:
    from decalprep.intake.options import IntakeOptions
    from decalprep.intake.svg_prepass import prepare, root_size
    from decalprep.intake.svg_xml import parse_svg

    try:
        root = parse_svg(data, "panel.svg")
        prepare(root, IntakeOptions(), name="panel.svg", folder=None)
        root_size(root, "panel.svg")
    except DecalprepError as error:
        one_line(error)


def svg_seeds() -> tuple[bytes, ...]:
    plain = (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        b'<style>.a{fill:#fff;stroke-width:0.1}</style><g id="legend" class="a">'
        b'<path d="M1 1 L9 9 A3 3 0 0 1 5 5z" transform="rotate(3 1 1)"/>'
        b'<text x="5" y="9" font-size="3">HELM<tspan dx="1">UP</tspan></text></g>'
        b'<use href="#legend" x="3"/></svg>'
    )
    return (plain, (DEMO / "winch.svg").read_bytes())


def read_pdf_file(data: bytes) -> None:
    from decalprep.intake import IntakeOptions
    from decalprep.intake.pdf import artwork_from_pdf

    try:
        artwork = artwork_from_pdf(data, IntakeOptions(), name="bow", source="bow.pdf")
    except DecalprepError as error:
        one_line(error)
        check(str(error).startswith("bow.pdf: "), error)
    else:
        check(0 < artwork.width_mm <= 5080, artwork.width_mm)


def pdf_seeds() -> tuple[bytes, ...]:
    import pikepdf
    from pikepdf import Array, Dictionary, Name

    document = pikepdf.new()
    document.add_blank_page(page_size=(283, 141))
    page = document.pages[0].obj
    page.Rotate, page.CropBox, page.UserUnit = 90, Array([0, 0, 200, 100]), 2
    group = document.make_indirect(Dictionary(Type=Name.OCG, Name="legend"))
    page.Resources = Dictionary(Properties=Dictionary(A=group))
    document.Root.OCProperties = Dictionary(OCGs=Array([group]), D=Dictionary(OFF=Array([group])))
    page.Contents = document.make_stream(
        b"0 g 28 14 28 57 re f /OC /A BDC 1 0 0 RG 0 0 m 9 9 l S EMC"
    )
    out = io.BytesIO()
    plain = pikepdf.ObjectStreamMode.disable
    document.save(out, object_stream_mode=plain, compress_streams=False, deterministic_id=True)
    return (out.getvalue(),)


def read_drawing(data: bytes) -> None:
    from decalprep.intake import FaceOptions, IntakeOptions
    from decalprep.intake.dxf import read_dxf, read_dxf_face

    def read(path: Path) -> None:
        artwork = read_dxf(path, IntakeOptions(unit="mm"))
        check(0 < artwork.width_mm <= 5080, artwork.width_mm)

    def read_face(path: Path) -> None:
        face = read_dxf_face(path, FaceOptions(unit="mm"))
        check(face.outline.polygon().area > 0, face.outline)

    as_file(data, "bow.dxf", read)
    as_file(data, "bow.dxf", read_face)


def dxf_seeds() -> tuple[bytes, ...]:
    import ezdxf

    document = ezdxf.new("R12")
    space = document.modelspace()
    corners = [(0, 0), (80, 0, 0.5), (80, 40), (0, 40)]
    space.add_polyline2d(corners, format="xyb", close=True)
    space.add_circle((20, 10), 3)
    space.add_arc((30, 10), 3, 0, 90)
    space.add_text("HELM", height=3)
    document.blocks.new("b").add_circle((0, 0), 1)
    space.add_blockref("b", (5, 5))
    out = io.StringIO()
    document.write(out)
    text = out.getvalue().encode()
    blocks = text.find(b"SECTION\n  2\nBLOCKS")
    tail = text[blocks - 4 :] if blocks > 4 else text
    later = (
        b"0\nSECTION\n2\nENTITIES\n0\nLWPOLYLINE\n100\nAcDbEntity\n8\ncut\n100\nAcDbPolyline\n"
        b"90\n4\n70\n1\n10\n0\n20\n0\n10\n60\n20\n0\n42\n0.4\n10\n60\n20\n40\n10\n0\n20\n40\n"
        b"0\nSPLINE\n8\n0\n70\n8\n71\n3\n72\n8\n73\n4\n40\n0\n40\n0\n40\n0\n40\n0\n40\n1\n40\n1\n"
        b"40\n1\n40\n1\n10\n5\n20\n5\n10\n9\n20\n9\n10\n14\n20\n2\n10\n20\n20\n8\n"
        b"0\nELLIPSE\n8\n0\n10\n30\n20\n20\n11\n6\n21\n1\n40\n0.5\n41\n0\n42\n4\n"
        b"0\nHATCH\n8\n0\n70\n1\n91\n1\n92\n1\n93\n1\n72\n2\n10\n9\n20\n30\n40\n2\n50\n0\n51\n360\n"
        b"73\n1\n97\n0\n75\n0\n76\n1\n0\nENDSEC\n0\nEOF\n"
    )
    return (tail, later, (DEMO / "winch-plate.dxf").read_bytes())


def read_part(data: bytes) -> None:
    from decalprep.intake import FaceOptions
    from decalprep.intake.mesh import read_mesh_face

    def read(path: Path) -> None:
        face = read_mesh_face(path, FaceOptions())
        check(face.outline.polygon().area > 0, face.outline)

    as_file(data, "plate.stl", read)


@cache
def part_seeds() -> tuple[bytes, ...]:
    from mesh_parts import plate

    mesh = plate(12)
    made = (mesh.export(file_type=how) for how in ("stl", "stl_ascii", "obj", "3mf"))
    return tuple(data if isinstance(data, bytes) else data.encode() for data in made)


def read_model(data: bytes) -> None:
    """The XML inside a 3MF."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("3D/3dmodel.model", data)
    read_part(out.getvalue())


def model_seeds() -> tuple[bytes, ...]:
    with zipfile.ZipFile(io.BytesIO(part_seeds()[-1])) as archive:
        return tuple(archive.read(n) for n in archive.namelist() if n.endswith(".model"))


def read_picture(data: bytes) -> None:
    from decalprep.intake import IntakeOptions
    from decalprep.intake.raster import read_raster

    def read(path: Path) -> None:
        artwork = read_raster(path, IntakeOptions(width_mm=30))
        check(artwork.width_mm == 30, artwork.width_mm)
        check(artwork.pixels is not None and min(artwork.pixels) > 0, artwork.pixels)

    as_file(data, "alarms.png", read)


def picture_seeds() -> tuple[bytes, ...]:
    from PIL import Image

    colours = Image.effect_noise((24, 16), 90).convert("RGB")
    exif = Image.Exif()
    exif[274], exif[282], exif[283], exif[296] = 6, 300.0, 300.0, 2
    found = []
    for how, image, said in (
        ("PNG", colours, {"dpi": (300, 300)}),
        ("PNG", colours.quantize(9), {}),
        ("PNG", colours.convert("I;16"), {}),
        ("PNG", colours.convert("1"), {}),
        ("JPEG", colours, {"dpi": (300, 300), "exif": exif}),
        ("JPEG", colours.convert("CMYK"), {}),
        ("TIFF", colours, {"dpi": (300, 300), "compression": "tiff_lzw"}),
        ("BMP", colours, {"dpi": (300, 300)}),
        ("WEBP", colours, {"exif": exif, "lossless": True}),
    ):
        out = io.BytesIO()
        image.save(out, how, **said)
        found.append(out.getvalue())
    return tuple(found)


TARGETS = {
    "tokens": Target(read_tokens, content_seeds),
    "content": Target(read_content, content_seeds),
    "svg root": Target(read_svg_root, svg_root_seeds),
    "svg": Target(read_svg_text, svg_seeds),
    "pdf": Target(read_pdf_file, pdf_seeds),
    "dxf": Target(read_drawing, dxf_seeds),
    "mesh": Target(read_part, part_seeds),
    "3mf model": Target(read_model, model_seeds),
    "picture": Target(read_picture, picture_seeds),
}


# ---------------------------------------------------------------- running


def run(name: str, *, seed: int, least: int, seconds: float, keep: Path) -> int:
    """How many files the target took: ``least``, and more until ``seconds`` are over.

    Raises:
        AssertionError: one of them gave another error or took too long; it lies in ``keep``.
    """
    target = TARGETS[name]
    end = time.monotonic() + seconds
    done = 0
    for data in inputs(target, seed):
        if done >= least and time.monotonic() >= end:
            break
        began = time.process_time()
        try:
            target.read(data)
        except Exception as error:
            raise AssertionError(f"{kept(name, data, keep)}: {error!r}") from error
        taken = time.process_time() - began
        if taken > MOST_SECONDS:
            raise AssertionError(f"{kept(name, data, keep)}: took {taken:.1f} s")
        done += 1
    return done


def kept(name: str, data: bytes, keep: Path) -> str:
    """The file that an input was written to."""
    keep.mkdir(parents=True, exist_ok=True)
    path = keep / f"{name.replace(' ', '-')}-{hashlib.sha256(data).hexdigest()[:12]}"
    path.write_bytes(data)
    return str(path)


def main() -> int:
    """Run the targets and say how many files each took."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("targets", nargs="*", choices=[*TARGETS, []], metavar="target")
    parser.add_argument("--seconds", type=float, default=60.0, help="for each target")
    parser.add_argument("--files", type=int, default=1, help="at the least, for each target")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=Path("fuzz-found"))
    asked = parser.parse_args()
    logging.disable()
    if os.name == "posix":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (4_000_000_000, 4_000_000_000))
    failed = 0
    for name in asked.targets or TARGETS:
        try:
            count = run(
                name, seed=asked.seed, least=asked.files, seconds=asked.seconds, keep=asked.keep
            )
            print(f"{name}: {count} files, all read or refused", flush=True)
        except AssertionError as problem:
            print(f"{name}: {problem}", flush=True)
            failed = 1
    return failed


if __name__ == "__main__":
    raise SystemExit(main())
