"""Walks a page's content as a viewer does and calls a method wherever something is painted.

Readers and rewriters subclass ``Walker`` and override the ``on_*`` methods. Coordinates handed on
are page points: the page's own user space times UserUnit, neither shifted nor turned (a
normalised artwork page has UserUnit 1, no Rotate and its origin in the corner).
Does not judge overprint, blend modes or transparency.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pikepdf

from decalprep.errors import TooMuch, Unfaithful
from decalprep.geometry import Affine, Box
from decalprep.pdfstream import walked_text
from decalprep.pdfstream.access import (
    float_of,
    floats_of,
    is_upright,
    last_numbers,
    matrix_of,
    object_key,
    page_content,
    page_resources,
    shown_parts,
    stream_bytes,
    user_unit,
)
from decalprep.pdfstream.colour import (
    Colour,
    colour_in,
    device_colour,
    initial_colour,
)
from decalprep.pdfstream.fonts import Font, load_font
from decalprep.pdfstream.layers import LayerRef, LayerTable
from decalprep.pdfstream.paths import paths_in
from decalprep.pdfstream.state import IDENTITY, Frame, GraphicsState
from decalprep.pdfstream.tokens import (
    INLINE_IMAGE,
    PATH,
    Operation,
    PdfName,
    operands,
    operations,
)


@dataclass(frozen=True)
class WalkLimits:
    """Where walking a page stops with TooMuch."""

    max_operations: int = 5_000_000
    max_depth: int = 28
    max_saved: int = 2_000


Handler = Callable[["Walker", Frame, Operation], None]
_MOST_COLOURS = 10_000
TEXT_STROKING = frozenset((1, 2, 5, 6))


class Walker:
    """State machine over one page. ``features`` gathers names of what it saw but cannot follow."""

    def __init__(self, document: pikepdf.Pdf, *, limits: WalkLimits | None = None) -> None:
        self.document = document
        self.limits = limits or WalkLimits()
        self.layers = LayerTable(document)
        self.layer_stack: list[LayerRef] = []
        self.features: dict[str, int] = {}
        self.done_operations = 0
        self.open_forms: list[tuple[int, int]] = []
        self._fonts: dict[tuple[int, int], Font] = {}
        self._worked_out: dict[tuple[Any, tuple[float, ...] | None], Colour] = {}

    # -- what subclasses override ------------------------------------------------------------

    def on_paint(self, frame: Frame, op: Operation) -> None:
        """A path painting operator (S s f F f* B B* b b* n); the path is in ``frame.path``."""

    def on_show(self, frame: Frame, op: Operation) -> None:
        """A string is about to be shown; the text matrix is still that of its first letter."""

    def on_image(self, frame: Frame, image: Any, op: Operation) -> None:
        """An image XObject is drawn on the unit square."""

    def on_inline_image(self, frame: Frame, op: Operation) -> None:
        """An inline image is drawn on the unit square."""

    def on_shading(self, frame: Frame, op: Operation) -> None:
        """A shading fills the clip."""

    def on_form(self, frame: Frame, form: Any, _op: Operation) -> None:
        """A form XObject is drawn; walks it."""
        self.enter_form(frame, form)

    def on_colour(self, frame: Frame, op: Operation) -> None:
        """A colour operator has been taken into the state."""

    def on_pattern(self, frame: Frame, name: str, pattern: Any) -> None:
        """A pattern becomes the fill or stroke colour."""

    def on_soft_mask(self, frame: Frame, mask: Any) -> None:
        """A soft mask is put on."""

    # -- walking -----------------------------------------------------------------------------

    def walk_page(self, page: pikepdf.Page) -> None:
        """Walk the whole page."""
        self.walk(self.page_frame(page))

    def page_frame(self, page: pikepdf.Page) -> Frame:
        """The frame in which a page is walked."""
        unit = user_unit(page)
        state = GraphicsState(ctm=Affine.scaling(unit) if unit != 1 else IDENTITY)
        return Frame(page_content(page), page_resources(page), state)

    def walk(self, frame: Frame) -> None:
        """Walk one content stream to its end."""
        handlers = _HANDLERS
        limit = self.limits.max_operations
        count = self.done_operations
        layers_at_entry = len(self.layer_stack)
        for op in operations(frame.data):
            count += 1
            if op[0] is PATH:
                frame.path.append((op[1], op[3]))
                continue
            handler = handlers.get(op[0])
            if handler is not None:
                self.done_operations = count
                handler(self, frame, op)
                count = self.done_operations
            if count > limit:
                raise TooMuch(
                    f"the drawing has more than {limit:,} operations", do="simplify the artwork"
                )
        self.done_operations = count
        del self.layer_stack[layers_at_entry:]

    def enter_form(self, frame: Frame, form: Any) -> Frame:
        """Walk a form XObject drawn now; the frame it was walked in."""
        layer = self._push_layer(form.get("/OC"))
        inner = self.enter_stream(form, self.form_frame(frame, form))
        if layer:
            self.layer_stack.pop()
        return inner

    def enter_stream(self, stream: Any, inner: Frame) -> Frame:
        """Walk a form or glyph in a frame made for it; refuses loops and too deep nesting."""
        key = object_key(stream)
        if key != (0, 0) and key in self.open_forms:
            raise Unfaithful("a form in the drawing contains itself", do="export the artwork again")
        if len(self.open_forms) >= self.limits.max_depth:
            raise TooMuch(
                f"forms are nested deeper than {self.limits.max_depth}", do="flatten the artwork"
            )
        self.open_forms.append(key)
        self.walk(inner)
        self.open_forms.pop()
        return inner

    def glyph_frame(self, frame: Frame, stream: Any) -> Frame:
        """The frame in which a Type 3 glyph shown now is walked."""
        state, font = frame.state.copied(), frame.state.font
        if font is None or not font.type3:
            raise ValueError("only a Type 3 font has glyphs that are streams")
        size = Affine(state.font_size * state.text_scale, 0, 0, state.font_size, 0, state.rise)
        state.ctm = state.ctm @ frame.text @ size @ font.matrix
        return Frame(
            stream_bytes(stream), font.dictionary.get("/Resources", frame.resources), state
        )

    @staticmethod
    def glyphs_shown(frame: Frame, op: Operation) -> list[tuple[str, Any]]:
        """(name, stream) of the Type 3 glyphs shown now, each once."""
        font = frame.state.font
        string = b"".join(p for p in shown_parts(frame, op) if isinstance(p, bytes))
        return [] if font is None else list(font.glyph_streams(string).items())

    def form_frame(self, frame: Frame, form: Any) -> Frame:
        """The frame in which a form drawn now is walked: state copied, Matrix and BBox applied."""
        state = frame.state.copied()
        state.ctm = state.ctm @ matrix_of(form.get("/Matrix"))
        box = floats_of(form.get("/BBox"))
        if len(box) == 4:
            x0, y0, x1, y1 = box
            corners = state.ctm.apply_all(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
            state.narrow_clip(Box.around(corners), shaped=False)
            if not is_upright(state.ctm):
                state.clip_quads = (*state.clip_quads, tuple(corners))
        return Frame(stream_bytes(form), form.get("/Resources", frame.resources), state)

    def _push_layer(self, content: Any) -> bool:
        if content is None:
            return False
        self.layer_stack.append(self.layers.resolve(content))
        return True

    # -- where we are ------------------------------------------------------------------------

    @property
    def layer(self) -> str | None:
        """Name of the innermost layer."""
        return next((ref.name for ref in reversed(self.layer_stack) if ref.name), None)

    @property
    def visible(self) -> bool:
        """Whether every layer round here is shown."""
        return all(ref.visible for ref in self.layer_stack)

    def note(self, feature: str) -> None:
        """Count a feature that walking does not follow."""
        self.features[feature] = self.features.get(feature, 0) + 1

    def resource(self, frame: Frame, kind: str, name: object) -> Any:
        """A resource by kind and name, or None."""
        try:
            return frame.resources[kind].get("/" + str(name))
        except (KeyError, TypeError, ValueError, AttributeError):
            return None

    def font(self, dictionary: Any) -> Font:
        """The font of a dictionary, read once."""
        key = object_key(dictionary)
        if key == (0, 0):
            return load_font(dictionary)
        if key not in self._fonts:
            self._fonts[key] = load_font(dictionary)
        return self._fonts[key]

    # -- handlers ----------------------------------------------------------------------------

    def _save(self, frame: Frame, _op: Operation) -> None:
        if len(frame.saved) >= self.limits.max_saved:
            raise TooMuch("graphics states are saved too deeply", do="export the artwork again")
        frame.saved.append(frame.state)
        frame.state = frame.state.copied()

    def _restore(self, frame: Frame, _op: Operation) -> None:
        if frame.saved:
            frame.state = frame.saved.pop()

    def _concat(self, frame: Frame, op: Operation) -> None:
        values = last_numbers(frame, op, 6)
        if values:
            frame.state.ctm = frame.state.ctm @ Affine(*values)

    def _line_width(self, frame: Frame, op: Operation) -> None:
        values = last_numbers(frame, op, 1)
        if values:
            frame.state.line_width = values[0]

    def _dash(self, frame: Frame, op: Operation) -> None:
        values = operands(frame.data, op[1], op[2])
        if values and isinstance(values[0], list):
            frame.state.dashed = any(isinstance(v, float) and v > 0 for v in values[0])

    def _ext_gstate(self, frame: Frame, op: Operation) -> None:
        values = operands(frame.data, op[1], op[2])
        table = self.resource(frame, "/ExtGState", values[-1]) if values else None
        if not isinstance(table, pikepdf.Dictionary):
            return
        state = frame.state
        state.line_width = _either(float_of(table.get("/LW")), state.line_width)
        state.fill_alpha = _either(float_of(table.get("/ca")), state.fill_alpha)
        state.stroke_alpha = _either(float_of(table.get("/CA")), state.stroke_alpha)
        dash = table.get("/D")
        if isinstance(dash, pikepdf.Array) and len(dash):
            state.dashed = any(length > 0 for length in floats_of(dash[0]))
        if "/SMask" in table:
            state.masked = isinstance(table["/SMask"], pikepdf.Dictionary)
            if state.masked:
                self.note("soft mask")
                self.on_soft_mask(frame, table["/SMask"])
        font = table.get("/Font")
        if isinstance(font, pikepdf.Array) and len(font) == 2:
            self.take_font(frame, font[0], b"", float_of(font[1]))

    def take_font(self, frame: Frame, font: Any, name: bytes, size: float | None) -> None:
        """Put a font of a resource dictionary into the state."""
        state = frame.state
        state.font = self.font(font) if isinstance(font, pikepdf.Dictionary) else None
        state.font_name = name
        state.font_size = _either(size, state.font_size)

    def _device(self, frame: Frame, op: Operation) -> None:
        count = {b"g": 1, b"rg": 3, b"k": 4}[op[0].lower()]
        values = last_numbers(frame, op, count)
        if not values:
            return
        space = {1: "/DeviceGray", 3: "/DeviceRGB", 4: "/DeviceCMYK"}[count]
        if op[0].islower():
            frame.state.fill, frame.state.fill_space = device_colour(values), space
        else:
            frame.state.stroke, frame.state.stroke_space = device_colour(values), space
        self.on_colour(frame, op)

    def _space(self, frame: Frame, op: Operation) -> None:
        text = frame.data[op[1] : op[2]]
        known = frame.spaces.get(text)
        if known is None:
            values = operands(text, 0, len(text))
            if not values:
                return
            space = self.resource(frame, "/ColorSpace", values[-1])
            space = space if space is not None else "/" + str(values[-1])
            known = space, self._known(space, None)
            if len(frame.spaces) < _MOST_COLOURS:
                frame.spaces[text] = known
        if op[0] == b"cs":
            frame.state.fill_space, frame.state.fill = known
        else:
            frame.state.stroke_space, frame.state.stroke = known

    def _known(self, space: Any, values: tuple[float, ...] | None) -> Colour:
        """The colour of ``values`` (None: the initial one) in a space, worked out once for each."""
        key: Any = space if isinstance(space, str) else object_key(space)
        if key == (0, 0):
            key = str(space) if isinstance(space, pikepdf.Name) else None
        if key is not None and (key, values) in self._worked_out:
            return self._worked_out[key, values]
        colour = initial_colour(space) if values is None else colour_in(space, values)
        if key is not None and len(self._worked_out) < _MOST_COLOURS:
            self._worked_out[key, values] = colour
        return colour

    def _colour(self, frame: Frame, op: Operation) -> None:
        text = frame.data[op[1] : op[2]]
        filling = op[0].islower()
        space = frame.state.fill_space if filling else frame.state.stroke_space
        key = text, id(space)  # held beside it, so that the id stays its own
        held = frame.colours.get(key)
        if held is not None and held[0] is space:
            colour = held[1]
        else:
            values = operands(text, 0, len(text))
            if values and isinstance(values[-1], PdfName):
                colour = self._pattern(frame, values[-1])
            else:
                colour = self._known(space, tuple(v for v in values if isinstance(v, float)))
                if len(frame.colours) < _MOST_COLOURS:
                    frame.colours[key] = space, colour
        if filling:
            frame.state.fill = colour
        else:
            frame.state.stroke = colour
        self.on_colour(frame, op)

    def _pattern(self, frame: Frame, name: PdfName) -> Colour:
        pattern = self.resource(frame, "/Pattern", name)
        tiling = isinstance(pattern, pikepdf.Stream)
        self.note("tiling pattern" if tiling else "shading pattern")
        self.on_pattern(frame, name, pattern)
        return Colour("Pattern")

    def _clip(self, frame: Frame, _op: Operation) -> None:
        frame.clip_pending = True

    def _paint(self, frame: Frame, op: Operation) -> None:
        self.on_paint(frame, op)
        if frame.clip_pending:
            self._apply_clip(frame)
        frame.path = []

    def _apply_clip(self, frame: Frame) -> None:
        frame.clip_pending = False
        paths = paths_in(frame.data, frame.path, frame.state.ctm, closing=True)
        points = [point for path in paths for s in path.segments for point in (s.start, s.end)]
        if not points:
            frame.state.narrow_clip(Box(0, 0, 0, 0), shaped=False)
            return
        box = Box.around(point for path in paths for point in path.points(0.05))
        plain = len(paths) == 1 and all(
            p[0] in (box.x0, box.x1) and p[1] in (box.y0, box.y1) for p in points
        )
        frame.state.narrow_clip(box, shaped=not plain)

    def _draw(self, frame: Frame, op: Operation) -> None:
        values = operands(frame.data, op[1], op[2])
        xobject = self.resource(frame, "/XObject", values[-1]) if values else None
        if not isinstance(xobject, pikepdf.Stream):
            return
        if str(xobject.get("/Subtype", "")) == "/Form":
            self.on_form(frame, xobject, op)
        elif str(xobject.get("/Subtype", "")) == "/Image":
            layer = self._push_layer(xobject.get("/OC"))
            self.on_image(frame, xobject, op)
            if layer:
                self.layer_stack.pop()

    def _inline(self, frame: Frame, op: Operation) -> None:
        self.on_inline_image(frame, op)

    def _shade(self, frame: Frame, op: Operation) -> None:
        self.note("shading")
        self.on_shading(frame, op)

    def _begin_marked(self, frame: Frame, op: Operation) -> None:
        values = operands(frame.data, op[1], op[2]) if op[0] == b"BDC" else []
        pushed = False
        if len(values) >= 2 and values[0] == "OC" and isinstance(values[1], PdfName):
            content = self.resource(frame, "/Properties", values[1])
            pushed = self._push_layer(content)
        frame.marked.append(pushed)

    def _end_marked(self, frame: Frame, _op: Operation) -> None:
        if frame.marked and frame.marked.pop() and self.layer_stack:
            self.layer_stack.pop()


def _either(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


_HANDLERS: dict[bytes, Handler] = {
    b"q": Walker._save,
    b"Q": Walker._restore,
    b"cm": Walker._concat,
    b"w": Walker._line_width,
    b"d": Walker._dash,
    b"gs": Walker._ext_gstate,
    **dict.fromkeys((b"g", b"G", b"rg", b"RG", b"k", b"K"), Walker._device),
    **dict.fromkeys((b"cs", b"CS"), Walker._space),
    **dict.fromkeys((b"sc", b"SC", b"scn", b"SCN"), Walker._colour),
    **dict.fromkeys((b"W", b"W*"), Walker._clip),
    **dict.fromkeys((b"S", b"s", b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*", b"n"), Walker._paint),
    b"Do": Walker._draw,
    INLINE_IMAGE: Walker._inline,
    b"sh": Walker._shade,
    b"BMC": Walker._begin_marked,
    b"BDC": Walker._begin_marked,
    b"EMC": Walker._end_marked,
    b"BT": walked_text.begin_text,
    b"Tf": walked_text.set_font,
    **dict.fromkeys((b"Tr", b"Tc", b"Tw", b"Tz", b"TL", b"Ts"), walked_text.text_setting),
    **dict.fromkeys((b"Td", b"TD"), walked_text.move_text),
    b"Tm": walked_text.text_matrix,
    b"T*": walked_text.new_line,
    **dict.fromkeys((b"Tj", b"TJ", b"'", b'"'), walked_text.show),
}
