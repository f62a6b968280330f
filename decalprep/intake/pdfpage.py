"""One page of a PDF as a document of its own: box at the origin, upright, in plain points.

Content bytes are kept. Where the page's box, turn or unit must be taken out, the content becomes a
form XObject whose Matrix and BBox are ours, so unbalanced graphics states cannot break out of it.
Only contents, resources and the page's transparency group come along; actions, scripts, links,
thumbnails and embedded files cannot, for nothing else is copied.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from io import BytesIO
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream

from decalprep.errors import InputProblem, TooMuch, Unfaithful
from decalprep.geometry import Affine, Box
from decalprep.intake.options import Limits

_STRIPPED = ("/AF", "/PieceInfo", "/Metadata", "/OPI", "/StructParent", "/StructParents")


@dataclass(frozen=True)
class PageFrame:
    """Where a page's visible box lies: box in user space, quarter turns clockwise, unit."""

    box: Box
    media: Box
    trim: Box | None
    turn_deg: int
    user_unit: float

    @property
    def page_from_user(self) -> Affine:
        """Points of the upright page, lower left at the origin, from the page's user space."""
        x0, y0, x1, y1 = self.box.x0, self.box.y0, self.box.x1, self.box.y1
        turned = {
            0: Affine(1, 0, 0, 1, -x0, -y0),
            90: Affine(0, -1, 1, 0, -y0, x1),
            180: Affine(-1, 0, 0, -1, x1, y1),
            270: Affine(0, 1, -1, 0, y1, -x0),
        }[self.turn_deg]
        return Affine.scaling(self.user_unit) @ turned

    @property
    def size_pt(self) -> tuple[float, float]:
        """Width and height of the upright page in points."""
        sides = (self.box.width * self.user_unit, self.box.height * self.user_unit)
        return sides if self.turn_deg in (0, 180) else (sides[1], sides[0])


def ancestors(page: Any) -> Iterator[Any]:
    """The page dictionary and its parents, upward; stops at a loop."""
    seen: set[tuple[int, int]] = set()
    node = page
    while isinstance(node, Dictionary) and len(seen) < 1000:
        yield node
        if node.objgen in seen:
            return
        seen.add(node.objgen)
        node = node.get("/Parent")


def inherited(page: Any, key: str) -> Any:
    """A page attribute, from the nearest ancestor that has it (ISO 32000-1, 7.7.3.4)."""
    return next((node[key] for node in ancestors(page) if key in node), None)


def _box(value: Any) -> Box | None:
    if not isinstance(value, Array) or len(value) != 4:
        return None
    try:
        x0, y0, x1, y1 = (float(number) for number in value)
    except (TypeError, ValueError):
        return None
    return Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))


def _inside(inner: Box | None, outer: Box) -> Box:
    """The common part, or all of ``outer`` where there is none."""
    if inner is None:
        return outer
    both = Box(
        max(inner.x0, outer.x0),
        max(inner.y0, outer.y0),
        min(inner.x1, outer.x1),
        min(inner.y1, outer.y1),
    )
    return both if both.width > 0 and both.height > 0 else outer


def page_frame(page: Any, name: str) -> PageFrame:
    """The frame of a page dictionary; the visible box is CropBox inside MediaBox.

    Raises:
        InputProblem: no usable MediaBox, or a Rotate or UserUnit that means nothing.
    """
    media = _box(inherited(page, "/MediaBox"))
    if media is None or media.width <= 0 or media.height <= 0:
        raise InputProblem("its page states no size (MediaBox)", where=name, do="export it again")
    turn = _number(inherited(page, "/Rotate"), 0.0)
    unit = _number(page.get("/UserUnit"), 1.0)
    if turn % 90 or not 0 < unit <= 1e6:
        raise InputProblem(
            f"its page has a turn of {turn:g} degrees and a unit of {unit:g}/72 in, which mean "
            "nothing",
            where=name,
            do="export it again",
        )
    box = _inside(_box(inherited(page, "/CropBox")), media)
    trim = _box(page.get("/TrimBox"))
    return PageFrame(box, media, trim, int(turn) % 360, unit)


def _number(value: Any, default: float) -> float:
    try:
        return default if value is None else float(value)
    except (TypeError, ValueError):
        return default


def _plain(value: float) -> Decimal:
    """A PDF number of up to 9 decimals; never an exponent."""
    number = Decimal(f"{value:.9f}")
    return number.quantize(Decimal(1)) if number == number.to_integral_value() else number


def content_bytes(page: Any, limits: Limits, name: str) -> bytes:
    """The page's content streams, decoded and joined by line ends.

    Raises:
        InputProblem: a stream that cannot be decoded.
        TooMuch: more than ``limits.max_bytes`` decoded.
    """
    contents = page.get("/Contents")
    streams = list(contents) if isinstance(contents, Array) else [contents]
    pieces: list[bytes] = []
    total = 0
    for stream in streams:
        if not isinstance(stream, Stream):
            continue
        _refuse_outside(stream, name)
        _check_growth(stream, limits, name)
        try:
            piece = stream.read_bytes()
        except pikepdf.PdfError as error:
            raise InputProblem(
                f"its drawing cannot be unpacked ({_first_line(error)})",
                where=name,
                do="export it again",
            ) from None
        total += len(piece)
        if total > limits.max_bytes:
            raise _bomb(limits, name)
        pieces.append(piece)
    return b"\n".join(pieces)


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or ["unknown"])[0][:120]


def _bomb(limits: Limits, name: str) -> TooMuch:
    return TooMuch(
        f"its drawing unpacks to more than {limits.max_bytes / 1e6:.0f} MB",
        where=name,
        do="simplify it, or raise the limit",
    )


def _check_growth(stream: Stream, limits: Limits, name: str) -> None:
    """Unpack a deflated stream piece by piece, so a bomb is seen before it fills the memory."""
    if stream.get("/Filter") not in (Name.FlateDecode, Array([Name.FlateDecode])):
        return
    raw = stream.read_raw_bytes()
    if len(raw) * 1032 <= limits.max_bytes:
        return
    unpacker, total = zlib.decompressobj(), 0
    try:
        while raw and not unpacker.eof:
            total += len(unpacker.decompress(raw, 1 << 20))
            raw = unpacker.unconsumed_tail
            if total > limits.max_bytes:
                raise _bomb(limits, name)
    except zlib.error:
        return


def _refuse_outside(stream: Any, name: str) -> None:
    if "/F" in stream:
        raise Unfaithful(
            "part of its content lies in another file, which is never followed",
            where=name,
            do="export it with everything embedded",
        )


def single_page(source: pikepdf.Pdf, page: Any, frame: PageFrame, content: bytes) -> pikepdf.Pdf:
    """A new document with that page alone, upright, at the origin, in points."""
    target = pikepdf.new()
    resources = _carried(source, target, inherited(page, "/Resources"))
    _complete_glyphs(target, resources)
    width, height = frame.size_pt
    made = Dictionary(
        Type=Name.Page, MediaBox=Array([0, 0, _plain(width), _plain(height)]), Resources=resources
    )
    if "/Group" in page:
        made.Group = _carried(source, target, page.Group)
    if frame.page_from_user == Affine():
        made.Contents = target.make_stream(content)
    else:
        made.Resources = Dictionary(XObject=Dictionary(Page=_form(target, frame, content)))
        made.Resources.XObject.Page.Resources = resources
        made.Contents = target.make_stream(b"/Page Do")
    target.pages.append(pikepdf.Page(target.make_indirect(made)))
    return target


def _complete_glyphs(target: pikepdf.Pdf, resources: Any) -> None:
    """Give Type 3 fonts without resources those of the page, which their glyphs may name.

    ISO 32000-1, 9.6.5. Else what only a glyph names would be lost as unused.
    """
    held = resources.get("/Font")
    listed = dict(held.items()) if isinstance(held, Dictionary) else {}
    listed = {k: v for k, v in listed.items() if isinstance(v, Dictionary)}
    # Without other Type 3 fonts: one of them would hold itself.
    plain = {k: v for k, v in listed.items() if v.get("/Subtype") != Name.Type3}
    for font in [*target.objects, *listed.values()]:
        if not isinstance(font, Dictionary) or font.get("/Subtype") != Name.Type3:
            continue
        if "/Resources" not in font:
            kept = Dictionary({k: v for k, v in resources.items() if k != "/Font"})
            kept[Name.Font] = Dictionary(plain)
            font[Name.Resources] = kept


def _form(target: pikepdf.Pdf, frame: PageFrame, content: bytes) -> Any:
    """The content as a form XObject clipped to the visible box and set upright by its Matrix."""
    form = target.make_stream(content)
    form.Type, form.Subtype = Name.XObject, Name.Form
    box = frame.box
    form.BBox = Array([_plain(v) for v in (box.x0, box.y0, box.x1, box.y1)])
    form.Matrix = Array([_plain(v) for v in frame.page_from_user.as_tuple()])
    return form


def _carried(source: pikepdf.Pdf, target: pikepdf.Pdf, value: Any) -> Any:
    """A dictionary of the source copied into the target, with what it refers to."""
    if not isinstance(value, Dictionary):
        return Dictionary()
    owned = value if value.is_indirect else source.make_indirect(value)
    return target.copy_foreign(owned)


def strip_private(target: pikepdf.Pdf, name: str) -> None:
    """Take out what must not travel: attached files, private data, metadata, tagging.

    Raises:
        Unfaithful: a stream whose data lie in another file.
    """
    for obj in target.objects:
        if isinstance(obj, Stream):
            _refuse_outside(obj, name)
        if isinstance(obj, Dictionary | Stream):
            for key in _STRIPPED:
                if key in obj:
                    del obj[key]


def saved(target: pikepdf.Pdf, version: str = "1.7") -> bytes:
    """The document's bytes; the same document gives the same bytes."""
    target.remove_unreferenced_resources()
    out = BytesIO()
    target.save(
        out,
        min_version=version,
        deterministic_id=True,
        compress_streams=True,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
    )
    return out.getvalue()
