"""Changing content streams: byte edits, tokens, and variants of shared resources."""

import copy
import hashlib
import io
import zlib
from collections.abc import Callable
from functools import partial
from typing import Any

import pikepdf

from decalprep.pdfstream import (
    Frame,
    GraphicsState,
    Operation,
    Walker,
    object_key,
    operands,
    stream_bytes,
)

_COMPRESSION = 3  # half the time of the default level, about a tenth larger
Edit = tuple[int, int, bytes]
"""Replace the bytes from the first up to the second."""


def apply_edits(data: bytes, edits: list[Edit]) -> bytes:
    """The bytes with every edit done; edits may come in any order but must not overlap.

    >>> apply_edits(b"0 0 m 9 9 l B", [(12, 13, b" f ")])
    b'0 0 m 9 9 l  f '
    """
    parts = []
    position = 0
    for start, end, new in sorted(edits, key=lambda edit: edit[:2]):
        parts += [data[position:start], new]
        position = end
    parts.append(data[position:])
    return b"".join(parts)


def number_token(value: float) -> bytes:
    """A number as PDF writes it, at most 9 decimals, no exponent.

    >>> number_token(0.5), number_token(-0.0), number_token(12.0)
    (b'0.5', b'0', b'12')
    """
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    return b"0" if text in ("-0", "") else text.encode("ascii")


def name_token(name: str) -> bytes:
    """A name with its slash, special bytes escaped.

    >>> name_token("A B")
    b'/A#20B'
    """
    raw = name.encode("utf-8", "surrogateescape")
    return b"/" + b"".join(
        bytes([byte]) if 33 <= byte <= 126 and byte not in b"()<>[]{}/%#" else b"#%02X" % byte
        for byte in raw
    )


class Variants:
    """New versions of shared objects under new resource names, equal ones once.

    A name is drawn from the content, so running twice gives the same bytes.
    """

    def __init__(self, document: pikepdf.Pdf) -> None:
        self.document = document
        self._made: dict[str, Any] = {}

    def stream(self, original: Any, data: bytes, resources: Any) -> tuple[str, Any]:
        """(resource name, object) of a form with other content and resources."""
        name = self._name("s", original, data)
        if name not in self._made:
            made = self.document.make_stream(data)
            for key, value in original.items():
                if key not in ("/Length", "/Filter", "/DecodeParms"):
                    made[key] = value
            if resources is not None:
                made["/Resources"] = resources
            self._made[name] = self.document.make_indirect(made)
        return name, self._made[name]

    def font(self, original: Any, glyphs: dict[str, bytes], resources: Any) -> tuple[str, Any]:
        """(resource name, object) of a Type 3 font with other glyph procedures."""
        text = b"\0".join(n.encode() + b"\0" + d for n, d in sorted(glyphs.items()))
        name = self._name("f", original, text)
        if name not in self._made:
            made = copy.copy(original)
            procedures = copy.copy(original["/CharProcs"])
            for glyph, data in glyphs.items():
                procedures[glyph] = self.document.make_indirect(self.document.make_stream(data))
            made["/CharProcs"] = procedures
            if resources is not None:
                made["/Resources"] = resources
            self._made[name] = self.document.make_indirect(made)
        return name, self._made[name]

    @staticmethod
    def _name(kind: str, original: Any, data: bytes) -> str:
        number, generation = object_key(original)
        digest = hashlib.sha256(b"%d %d " % (number, generation) + data).hexdigest()
        return f"Clean{kind}{digest[:16]}"


class StreamEdits:
    """Edits and new resources of one content stream that is being walked."""

    def __init__(self) -> None:
        self.edits: list[Edit] = []
        self.added: dict[str, dict[str, Any]] = {}

    def __bool__(self) -> bool:
        return bool(self.edits)

    def replace(self, start: int, end: int, new: bytes) -> None:
        """Put ``new`` with spaces round it in the place of some bytes."""
        self.edits.append((start, end, b" " + new + b" "))

    def add(self, kind: str, name: str, value: Any) -> None:
        """Have a resource under a new name."""
        self.added.setdefault(kind, {})[name] = value

    def resources(self, old: Any) -> Any:
        """The resources with the new ones added; None where there is nothing to add."""
        if not self.added:
            return None
        resources = copy.copy(old) if old is not None else pikepdf.Dictionary()
        for kind, items in self.added.items():
            table = copy.copy(resources[kind]) if kind in resources else pikepdf.Dictionary()
            for name, value in items.items():
                table["/" + name] = value
            resources[kind] = table
        return resources


class Rewriter(Walker):
    """A walker that gathers edits; a form that must change where it is drawn gets a variant."""

    def __init__(self, document: pikepdf.Pdf) -> None:
        super().__init__(document)
        self.edits = StreamEdits()
        self.variants = Variants(document)

    def edited(self, walk: Callable[[], Frame]) -> tuple[Frame, StreamEdits]:
        """(frame it was walked in, edits it asks for) of an inner stream that ``walk`` walks."""
        outer, self.edits = self.edits, StreamEdits()
        inner = walk()
        made, self.edits = self.edits, outer
        return inner, made

    def on_form(self, frame: Frame, form: Any, op: Operation) -> None:
        """Walk a form; if it must change here, draw a variant of it instead."""
        inner, made = self.edited(lambda: self.enter_form(frame, form))
        if made:
            name, variant = self._variant(form, inner, made)
            self.edits.replace(op[1], op[2], name_token(name))
            self.edits.add("/XObject", name, variant)

    def _variant(self, stream: Any, inner: Frame, made: StreamEdits) -> tuple[str, Any]:
        data = apply_edits(inner.data, made.edits)
        return self.variants.stream(stream, data, made.resources(inner.resources))

    def rewrite_pattern(self, frame: Frame, pattern: Any, op: Operation) -> None:
        """Walk the cell of a tiling pattern, the last operand of ``op``; if it must change, take a
        variant of it instead."""
        cell = Frame(
            stream_bytes(pattern), pattern.get("/Resources", frame.resources), GraphicsState()
        )
        inner, made = self.edited(lambda: self.enter_stream(pattern, cell))
        if made:
            name, variant = self._variant(pattern, inner, made)
            tint = operands(frame.data, op[1], op[2])[:-1]
            numbers = [number_token(v) for v in tint if isinstance(v, float)]
            self.edits.replace(op[1], op[2], b" ".join([*numbers, name_token(name)]))
            self.edits.add("/Pattern", name, variant)

    def rewrite_glyphs(self, frame: Frame, op: Operation) -> bool:
        """Walk Type 3 glyphs shown now; if one must change, show the string in a variant font.

        False where a font that a graphics state has set would have to change: it has no name.
        """
        changed: dict[str, bytes] = {}
        extra = StreamEdits()
        for name, stream in self.glyphs_shown(frame, op):
            glyph = self.glyph_frame(frame, stream)
            inner, made = self.edited(partial(self.enter_stream, stream, glyph))
            if made:
                changed[name] = apply_edits(inner.data, made.edits)
                for kind, items in made.added.items():
                    extra.added.setdefault(kind, {}).update(items)
        font, state = frame.state.font, frame.state
        if not changed or font is None:
            return True
        if not state.font_name:
            return False
        old = font.dictionary.get("/Resources", frame.resources)
        name, variant = self.variants.font(font.dictionary, changed, extra.resources(old))
        size = b" " + number_token(state.font_size) + b" Tf"
        self.edits.replace(op[1], op[1], name_token(name) + size)
        plain = state.font_name.decode("utf-8", "surrogateescape")
        self.edits.replace(op[3], op[3], name_token(plain) + size)
        self.edits.add("/Font", name, variant)
        return True

    def rewrite(self, page: pikepdf.Page) -> bool:
        """Walk the page and put its edited content in place; whether anything changed."""
        frame = self.page_frame(page)
        self.walk(frame)
        if not self.edits:
            return False
        rewrite_page(self.document, page, frame, self.edits)
        if self.edits.added:
            self.document.remove_unreferenced_resources()
        return True


def rewrite_page(document: pikepdf.Pdf, page: pikepdf.Page, frame: Frame, new: StreamEdits) -> None:
    """Put the edited content in the place of the page's own."""
    data = zlib.compress(apply_edits(frame.data, new.edits), _COMPRESSION)
    page.obj["/Contents"] = document.make_stream(data, Filter=pikepdf.Name.FlateDecode)
    resources = new.resources(page.obj.get("/Resources"))
    if resources is not None:
        page.obj["/Resources"] = resources


def saved(document: pikepdf.Pdf) -> bytes:
    """The document as bytes: the same content gives the same bytes."""
    out = io.BytesIO()
    document.save(out, deterministic_id=True)
    return out.getvalue()
