"""Bytes of a file, and what kind of file they are."""

import itertools
import logging
import zipfile
from io import BytesIO
from pathlib import Path

from decalprep.errors import InputProblem, TooMuch, did_you_mean
from decalprep.intake.options import Limits

MESH_KINDS = frozenset({"stl", "3mf", "obj"})

BINARY_DXF = b"Binary DXF\r\n\x1a\0"
_HEAD = 4096
_MOST_FILES = 5000
"""So many files of a folder are looked through for a name like the wanted one."""
_RASTER_STARTS = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_REFUSED: tuple[tuple[bytes, str, str], ...] = (
    (b"GIF8", "a GIF picture", "save it as PNG"),
    (b"%!PS", "a PostScript file", "save it as PDF"),
    (b"\xc5\xd0\xd3\xc6", "a PostScript file with a preview", "save it as PDF"),
    (b"ISO-10303-21", "a STEP model", "save the part as STL or 3MF"),
    (b"ply\n", "a PLY mesh", "save the part as STL or 3MF"),
    (b"ply\r\n", "a PLY mesh", "save the part as STL or 3MF"),
    (b"glTF", "a glTF model", "save the part as STL or 3MF"),
    (b"AC10", "a DWG drawing", "save it as DXF"),
    (b"\x1f\x8b", "a gzip archive", "unpack it and give the file inside"),
    (b"Rar!", "an archive", "unpack it and give the file inside"),
    (b"7z\xbc\xaf", "an archive", "unpack it and give the file inside"),
)


for _library in ("ezdxf", "fontTools", "pikepdf", "trimesh"):
    # what they have to say of a damaged file is told by our own notices and errors
    logging.getLogger(_library).addHandler(logging.NullHandler())


def read_whole(path: Path, limits: Limits) -> bytes:
    """The bytes of a file.

    Raises:
        InputProblem: no such file, a folder, empty, or not readable.
        TooMuch: larger than ``limits.max_bytes``.
    """
    where = str(path)
    try:
        if path.is_dir():
            raise InputProblem(
                "this is a folder, not a file", where=where, do="name the file in it"
            )
        size = path.stat().st_size
        if not path.is_file():
            raise InputProblem(
                "this is a pipe or a device, not a file", where=where, do="name a file"
            )
        if size > limits.max_bytes:
            raise TooMuch(
                f"the file has {size / 1e6:.0f} MB, more than {limits.max_bytes / 1e6:.0f} MB",
                where=where,
                do="make it smaller, or raise the limit",
            )
        data = path.read_bytes()
    except FileNotFoundError:
        raise InputProblem(
            "there is no such file", where=where, do=meant_file(path) or "check the path"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputProblem(
            f"the file cannot be read ({reason})", where=where, do="check its permissions"
        ) from None
    if not data:
        raise InputProblem("the file is empty", where=where, do="export it again")
    return data


def meant_file(path: Path) -> str:
    """What to tell of a missing file: names like it in its folder, or that there is no folder.

    "" where nothing is like it.
    """
    folder = path.parent
    try:
        if not folder.is_dir():
            return f"there is no folder {str(folder)!r}"
        names = [entry.name for entry in itertools.islice(folder.iterdir(), _MOST_FILES)]
    except (OSError, ValueError):
        return ""
    return did_you_mean(path.name, names)


def kind_of(data: bytes, path: Path) -> str:
    """ "svg", "pdf", "raster", "dxf", "stl", "3mf" or "obj", told by content.

    Raises:
        InputProblem: another kind of file, by name where it is known.
    """
    head = data[:_HEAD]
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    known = _binary_kind(data, head) or _text_kind(data, text)
    if known:
        return known
    for start, what, do in _REFUSED:
        if text.startswith(start):
            raise InputProblem(f"this is {what}, which is not read", where=str(path), do=do)
    raise InputProblem(
        "this is no SVG, PDF, PNG, JPEG, TIFF, WebP, BMP, DXF, STL, 3MF or OBJ file",
        where=str(path),
        do="export it as one of these",
    )


def _binary_kind(data: bytes, head: bytes) -> str | None:
    if b"%PDF-" in head[:1024]:
        return "pdf"
    if head.startswith(_RASTER_STARTS) or (head[:4] == b"RIFF" and head[8:12] == b"WEBP"):
        return "raster"
    if head[:2] == b"BM" and len(data) > 26 and int.from_bytes(head[14:18], "little") in _BMP_HEADS:
        return "raster"
    if BINARY_DXF in head[:24]:
        return "dxf"
    if head[:4] == b"PK\x03\x04":
        return "3mf" if _holds_model(data) else None
    if len(data) >= 84 and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little"):
        return "stl"
    return None


_BMP_HEADS = (12, 40, 52, 56, 64, 108, 124)


def _holds_model(data: bytes) -> bool:
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return any(name.lower().endswith(".model") for name in archive.namelist())
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        return False


def _text_kind(data: bytes, text: bytes) -> str | None:
    if text.startswith((b"<", b"\xff\xfe<", b"\xfe\xff\0<")):
        plain = data[:65536].replace(b"\0", b"").lower()
        return "svg" if b"<svg" in plain or b":svg" in plain else None
    lines = [line.strip() for line in text.splitlines()[:60]]
    if text[:5].lower() == b"solid" and b"facet" in data[:65536].lower():
        return "stl"
    while len(lines) >= 2 and lines[0] == b"999":
        lines = lines[2:]
    if len(lines) >= 2 and lines[0] == b"0" and lines[1].upper() in (b"SECTION", b"EOF"):
        return "dxf"
    words = {line.split()[0] for line in data[:65536].splitlines() if line.split()}
    return "obj" if b"v" in words and (b"f" in words or len(data) > 65536) else None
