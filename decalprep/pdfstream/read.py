"""Page contents as data: the reader on top of the walker."""

import io
import math
import re
from collections import Counter
from typing import Any

import pikepdf

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Box, Point
from decalprep.pdfstream.access import float_of, shown_parts, text_advance
from decalprep.pdfstream.colour import space_family
from decalprep.pdfstream.contents import PageContents, PaintedShape, ShownImage, ShownText
from decalprep.pdfstream.kept import MOST_KEPT, kept
from decalprep.pdfstream.paths import paths_in
from decalprep.pdfstream.state import Frame
from decalprep.pdfstream.tokens import Operation, inline_image_dict
from decalprep.pdfstream.walker import TEXT_STROKING, Walker, WalkLimits

_FILLING = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKING = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_CLOSING = frozenset((b"s", b"b", b"b*"))
_EVEN_ODD = frozenset((b"f*", b"B*", b"b*"))
_DECIMALS = re.compile(rb"\.([0-9]+)")
_SMALL_CLIP_SLACK_PT = 0.01


def open_document(page_pdf: bytes) -> pikepdf.Pdf:
    """The document in memory.

    Raises:
        InputProblem: not a readable PDF, or it needs a password.
    """
    try:
        return pikepdf.open(io.BytesIO(page_pdf))
    except pikepdf.PasswordError as problem:
        raise InputProblem("the PDF needs a password", do="save it without one") from problem
    except pikepdf.PdfError as problem:
        raise InputProblem(
            f"the PDF cannot be read ({problem})", do="export the artwork again"
        ) from problem


def read_page(page_pdf: bytes, *, page: int = 0, limits: WalkLimits | None = None) -> PageContents:
    """What page ``page`` (0-based) of a PDF paints, in page points, y up.

    Does not look inside tiling patterns, soft masks or Type 3 glyphs (``features`` names them),
    nor at annotations. Hidden layers are read too and marked not visible.

    Raises:
        InputProblem: unreadable, or no such page.
        TooMuch: beyond ``limits``.
        Unfaithful: a form contains itself.
    """
    keeping = kept() if page == 0 and limits is None else None
    if keeping is not None and page_pdf in keeping.read:
        return keeping.read[page_pdf]
    with open_document(page_pdf) as document:
        if not 0 <= page < len(document.pages):
            raise InputProblem(
                f"there is no page {page + 1}", do=f"the file has {len(document.pages)}"
            )
        reader = _Reader(document, limits=limits)
        reader.walk_page(document.pages[page])
        contents = reader.contents()
    if keeping is not None:
        keeping.read[page_pdf] = contents
        while len(keeping.read) > MOST_KEPT:
            keeping.read.pop(next(iter(keeping.read)))
    return contents


class _Reader(Walker):
    def __init__(self, document: pikepdf.Pdf, *, limits: WalkLimits | None) -> None:
        super().__init__(document, limits=limits)
        self.shapes: list[PaintedShape] = []
        self.texts: list[ShownText] = []
        self.images: list[ShownImage] = []
        self.order = 0
        self.grids: dict[float, Counter[int]] = {}

    def contents(self) -> PageContents:
        """All that was gathered."""
        return PageContents(
            tuple(self.shapes),
            tuple(self.texts),
            tuple(self.images),
            self.layers.names,
            self._step(),
            tuple(sorted(self.features.items())),
        )

    def _next(self) -> int:
        self.order += 1
        return self.order - 1

    def _step(self) -> float:
        """Grid of the scale at which most coordinates were written."""
        if not self.grids:
            return 0.0
        scale, counts = max(self.grids.items(), key=lambda item: item[1].total())
        return float(10.0 ** -max(counts) * scale)

    def _shape_step(self, frame: Frame) -> float:
        decimals = 0
        count = 0
        for start, end in frame.path:
            found = [len(d) for d in _DECIMALS.findall(frame.data, start, end)]
            decimals = max([decimals, *found])
            count += max(len(found), 1)
        scale = round(frame.state.ctm.stretch[0], 9)
        self.grids.setdefault(scale, Counter())[decimals] += count
        return float(10.0**-decimals * scale)

    def on_paint(self, frame: Frame, op: Operation) -> None:
        """One painted path."""
        name = op[0]
        if name == b"n" or not frame.path:
            return
        state = frame.state
        filling = name in _FILLING
        paths = paths_in(frame.data, frame.path, state.ctm, closing=filling or name in _CLOSING)
        if not paths:
            return
        self.shapes.append(
            PaintedShape(
                paths,
                filling,
                name in _EVEN_ODD,
                name in _STROKING,
                state.fill,
                state.stroke,
                state.stroke_width_pt,
                state.dashed,
                self.layer,
                self.visible,
                _clipped(frame, paths),
                self._next(),
                self._shape_step(frame),
            )
        )

    def on_show(self, frame: Frame, op: Operation) -> None:
        """One shown string."""
        state, font = frame.state, frame.state.font
        parts = shown_parts(frame, op)
        strings = [part for part in parts if isinstance(part, bytes)]
        if font is None:
            self.note("text without its font")
        elif font.type3:
            self.note("Type 3 font")
        page_from_text = state.ctm @ frame.text
        up = page_from_text.apply(0, state.font_size)
        base = page_from_text.apply(0, 0)
        advance = text_advance(frame, parts)
        ascent, descent = font.heights if font else (0.75, -0.25)
        low = descent * state.font_size + state.rise
        high = ascent * state.font_size + state.rise
        corners = page_from_text.apply_all(((0, low), (advance, low), (advance, high), (0, high)))
        stroked = state.render_mode in TEXT_STROKING
        self.texts.append(
            ShownText(
                "".join(font.text(s) if font else s.decode("cp1252", "replace") for s in strings),
                font.name if font else "",
                math.dist(up, base),
                Box.around(corners),
                state.render_mode,
                self.layer,
                self.visible,
                state.fill,
                state.stroke,
                state.stroke_width_pt if stroked else (0.0, 0.0),
                bool(font and font.exact_widths),
                self._next(),
            )
        )

    def on_image(self, frame: Frame, image: Any, _op: Operation) -> None:
        """One image XObject."""
        stencil = bool(image.get("/ImageMask", False))
        space = image.get("/ColorSpace")
        self._add_image(
            frame.state.ctm,
            (_whole(image, "/Width", 0), _whole(image, "/Height", 0)),
            1 if stencil else _whole(image, "/BitsPerComponent", 8),
            "" if space is None else space_family(space),
            stencil=stencil,
            inline=False,
        )

    def on_inline_image(self, frame: Frame, op: Operation) -> None:
        """One inline image."""
        _, _, at, end = op
        marker = frame.data.find(b"ID", at, end)
        keys = inline_image_dict(frame.data, at + 2, marker if marker >= 0 else end)

        def number(short: str, long: str, default: float) -> int:
            value = keys.get(short, keys.get(long, default))
            return int(value) if isinstance(value, float) else int(default)

        stencil = keys.get("IM", keys.get("ImageMask")) is True
        space = keys.get("CS", keys.get("ColorSpace", ""))
        self._add_image(
            frame.state.ctm,
            (number("W", "Width", 0), number("H", "Height", 0)),
            1 if stencil else number("BPC", "BitsPerComponent", 8),
            space_family("/" + space) if isinstance(space, str) and space else "",
            stencil=stencil,
            inline=True,
        )

    def _add_image(
        self,
        page_from_image: Affine,
        size: tuple[int, int],
        bits: int,
        space: str,
        *,
        stencil: bool,
        inline: bool,
    ) -> None:
        self.images.append(
            ShownImage(
                page_from_image,
                size[0],
                size[1],
                bits,
                space,
                self.layer,
                self.visible,
                inline,
                stencil,
                self._next(),
            )
        )


def _whole(image: Any, key: str, otherwise: int) -> int:
    value = float_of(image.get(key))
    return otherwise if value is None else int(value)


def _clipped(frame: Frame, paths: tuple[Any, ...]) -> bool:
    clip = frame.state.clip
    if clip is None:
        return False
    if frame.state.clip_shaped:
        return True
    points = [
        point
        for path in paths
        for s in path.segments
        for point in (
            (s.start, s.end)
            if not hasattr(s, "control1")
            else (s.start, s.control1, s.control2, s.end)
        )
    ]
    if not clip.contains(Box.around(points), _SMALL_CLIP_SLACK_PT):
        return True
    return any(not _inside(quad, points) for quad in frame.state.clip_quads)


def _inside(quad: tuple[Point, ...], points: list[Point]) -> bool:
    """Whether all points lie in a convex quadrilateral, give or take the slack."""
    turn = 0.0
    sides = list(zip(quad, quad[1:] + quad[:1], strict=True))
    for (x0, y0), (x1, y1) in sides:
        turn += x0 * y1 - x1 * y0
    for (x0, y0), (x1, y1) in sides:
        dx, dy = x1 - x0, y1 - y0
        length = math.hypot(dx, dy)
        sign = math.copysign(1.0, turn)
        if any(
            sign * (dx * (y - y0) - dy * (x - x0)) < -_SMALL_CLIP_SLACK_PT * length
            for x, y in points
        ):
            return False
    return True
