"""Reading the parts of a page safely: operands, matrices, streams, strings."""

import math
from typing import Any

import pikepdf

from decalprep.errors import InputProblem
from decalprep.geometry import Affine
from decalprep.pdfstream.state import IDENTITY, Frame
from decalprep.pdfstream.tokens import Operation, operands

_LARGEST = 1e9


def shown_parts(frame: Frame, op: Operation) -> list[object]:
    """Strings and numbers that a show operator shows."""
    values = operands(frame.data, op[1], op[2])
    if values and isinstance(values[-1], list):
        return values[-1]
    return [v for v in values[-1:] if isinstance(v, bytes)]


def text_advance(frame: Frame, parts: list[object]) -> float:
    """How far the text matrix moves, in unscaled text space (ISO 32000-1, 9.4.4)."""
    state, font = frame.state, frame.state.font
    total = 0.0
    for part in parts:
        if isinstance(part, float):
            total -= part / 1000 * state.font_size
        elif isinstance(part, bytes):
            codes = font.codes(part) if font else list(part)
            width = sum(font.width(code) for code in codes) if font else 0.556 * len(codes)
            spaces = part.count(b" ") if font is None or not font.composite else 0
            total += (
                width * state.font_size + state.char_space * len(codes) + state.word_space * spaces
            )
    return total * state.text_scale


def object_key(obj: Any) -> tuple[int, int]:
    """Number and generation of an indirect object; (0, 0) for a direct one."""
    number, generation = obj.objgen
    return int(number), int(generation)


def matrix_of(array: Any) -> Affine:
    """A Matrix entry as a map; identity where missing or malformed."""
    values = floats_of(array)
    return Affine(*values) if len(values) == 6 else IDENTITY


def stream_bytes(stream: Any) -> bytes:
    """A stream's decoded bytes.

    Raises:
        InputProblem: it cannot be decoded.
    """
    try:
        return bytes(stream.read_bytes())
    except pikepdf.PdfError as problem:
        raise InputProblem(
            f"a drawing stream cannot be read ({problem})", do="export the artwork again"
        ) from problem


def page_content(page: pikepdf.Page) -> bytes:
    """The page's content streams joined by a line end, as one."""
    contents = page.obj.get("/Contents")
    if not isinstance(contents, pikepdf.Array | pikepdf.Stream):
        return b""
    if isinstance(contents, pikepdf.Array):
        parts = [part for part in contents.as_list() if isinstance(part, pikepdf.Stream)]
        return b"\n".join(stream_bytes(part) for part in parts)
    return stream_bytes(contents)


def is_upright(ctm: Affine) -> bool:
    return (ctm.b == 0 and ctm.c == 0) or (ctm.a == 0 and ctm.d == 0)


def page_resources(page: pikepdf.Page) -> Any:
    """The page's resources, inherited ones too; empty where there are none."""
    try:
        resources = page.resources
    except (AttributeError, KeyError, TypeError, ValueError):
        resources = None
    return resources if isinstance(resources, pikepdf.Dictionary) else pikepdf.Dictionary()


def user_unit(page: pikepdf.Page) -> float:
    """Size of a user space unit in points; 1 where not stated or not a positive number."""
    value = float_of(page.obj.get("/UserUnit"))
    return value if value is not None and value > 0 else 1.0


def float_of(value: Any) -> float | None:
    """A PDF number, None for anything else or one beyond 1e9."""
    if isinstance(value, bool):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError, AttributeError):
        return None
    return number if math.isfinite(number) and abs(number) <= _LARGEST else None


def floats_of(array: Any) -> list[float]:
    """The numbers of a PDF array; empty if it is none or holds anything else."""
    if not isinstance(array, pikepdf.Array):
        return []
    values = [float_of(value) for value in array.as_list()]
    return [] if None in values else [value for value in values if value is not None]


def last_numbers(frame: Frame, op: Operation, count: int) -> list[float]:
    """The last ``count`` operands if all are numbers up to 1e9, else nothing."""
    words = frame.data[op[1] : op[2]].split()
    try:
        values: list[object] = [float(word) for word in words[-count:]]
    except ValueError:
        values = operands(frame.data, op[1], op[2])[-count:]
    numbers = [v for v in values if isinstance(v, float) and -_LARGEST <= v <= _LARGEST]
    return numbers if len(numbers) == len(values) == count else []
