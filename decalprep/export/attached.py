"""Files carried in a PDF read back, from any file that calls itself one, within stated limits."""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator

import pikepdf

from decalprep.errors import InputProblem, TooMuch

MOST_FILES = 2000
MOST_BYTES = 64_000_000
"""All carried files together, unpacked."""
MOST_NODES = 10_000


def read_attachments(pdf: bytes, *, name: str) -> dict[str, bytes]:
    """The carried files of a PDF by name: those in its tree of embedded files.

    Does not follow annotations, and opens nothing but plain and deflated streams.

    Raises:
        InputProblem: it is no PDF, is encrypted, or a carried file is damaged.
        TooMuch: more than ``MOST_FILES``, or more than ``MOST_BYTES`` together.
    """
    try:
        with pikepdf.open(io.BytesIO(pdf)) as opened:
            return _all(opened, name)
    except pikepdf.PasswordError as e:
        raise InputProblem("it is encrypted", where=name, do="remove its password") from e
    except (pikepdf.PdfError, ValueError, TypeError, AttributeError, KeyError, IndexError) as e:
        raise InputProblem("it cannot be read as a PDF", where=name) from e


def _all(opened: pikepdf.Pdf, name: str) -> dict[str, bytes]:
    found: dict[str, bytes] = {}
    room = MOST_BYTES
    tree = opened.Root.get("/Names", pikepdf.Dictionary()).get("/EmbeddedFiles")
    for spec in _specs(tree):
        if not isinstance(spec, pikepdf.Dictionary):
            continue
        held = spec.get("/EF", pikepdf.Dictionary())
        stream = held.get("/UF", held.get("/F"))
        title = spec.get("/UF", spec.get("/F"))
        if not isinstance(stream, pikepdf.Stream) or title is None:
            continue
        if len(found) >= MOST_FILES:
            raise TooMuch(f"it carries more than {MOST_FILES} files", where=name)
        data = _bytes(stream, room, name)
        room -= len(data)
        found.setdefault(str(title), data)
    return found


def _specs(tree: pikepdf.Object | None) -> Iterator[pikepdf.Object]:
    """The file specifications of a name tree (ISO 32000-1, 7.9.6); each node is read once."""
    seen: set[tuple[int, int]] = set()
    waiting = [tree]
    while waiting and len(seen) < MOST_NODES:
        node = waiting.pop()
        if not isinstance(node, pikepdf.Dictionary) or node.objgen in seen:
            continue
        if node.is_indirect:
            seen.add(node.objgen)
        names, kids = node.get("/Names"), node.get("/Kids")
        if isinstance(names, pikepdf.Array):
            yield from (names[k] for k in range(1, len(names), 2))
        if isinstance(kids, pikepdf.Array):
            waiting.extend(reversed(list(kids)))


def _bytes(stream: pikepdf.Stream, room: int, name: str) -> bytes:
    filters = stream.get("/Filter")
    if isinstance(filters, pikepdf.Array):
        filters = filters[0] if len(filters) == 1 else filters
    raw = bytes(stream.read_raw_bytes())
    if filters is None:
        data = raw
    elif isinstance(filters, pikepdf.Name) and filters == pikepdf.Name.FlateDecode:
        if "/DecodeParms" in stream:
            raise InputProblem("a carried file is packed in an unusual way", where=name)
        opener = zlib.decompressobj()
        try:
            data = opener.decompress(raw, room + 1)
        except zlib.error as e:
            raise InputProblem("a carried file is damaged", where=name) from e
    else:
        raise InputProblem("a carried file is packed in an unusual way", where=name)
    if len(data) > room:
        raise TooMuch(f"its carried files are over {MOST_BYTES / 1e6:.0f} MB", where=name)
    return data
