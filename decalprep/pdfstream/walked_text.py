"""What a page's text operators do to the state, and where a string is shown (for ``Walker``)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from decalprep.geometry import Affine
from decalprep.pdfstream.access import float_of, last_numbers, shown_parts, text_advance
from decalprep.pdfstream.state import IDENTITY, Frame
from decalprep.pdfstream.tokens import Operation, operands

if TYPE_CHECKING:
    from decalprep.pdfstream.walker import Walker


def begin_text(_walker: Walker, frame: Frame, _op: Operation) -> None:
    """A text begins: both matrices are the identity."""
    frame.text = frame.text_line = IDENTITY


def set_font(walker: Walker, frame: Frame, op: Operation) -> None:
    """A font and its size are chosen."""
    values = operands(frame.data, op[1], op[2])
    if len(values) < 2 or not isinstance(values[-1], float):
        return
    name = str(values[-2]).encode("utf-8", "surrogateescape")
    font = walker.resource(frame, "/Font", values[-2])
    walker.take_font(frame, font, name, float_of(values[-1]))


def text_setting(_walker: Walker, frame: Frame, op: Operation) -> None:
    """Spacing, scale, leading, rise or mode of letters."""
    values = last_numbers(frame, op, 1)
    if not values:
        return
    state, value = frame.state, values[0]
    if op[0] == b"Tr":
        state.render_mode = int(value)
    elif op[0] == b"Tc":
        state.char_space = value
    elif op[0] == b"Tw":
        state.word_space = value
    elif op[0] == b"Tz":
        state.text_scale = value / 100
    elif op[0] == b"TL":
        state.leading = value
    else:
        state.rise = value


def move_text(_walker: Walker, frame: Frame, op: Operation) -> None:
    """The next line begins elsewhere."""
    values = last_numbers(frame, op, 2)
    if values:
        if op[0] == b"TD":
            frame.state.leading = -values[1]
        _next_line(frame, values[0], values[1])


def text_matrix(_walker: Walker, frame: Frame, op: Operation) -> None:
    """Where and how the text stands."""
    values = last_numbers(frame, op, 6)
    if values:
        frame.text = frame.text_line = Affine(*values)


def new_line(_walker: Walker, frame: Frame, _op: Operation) -> None:
    """The next line begins below."""
    _next_line(frame, 0, -frame.state.leading)


def _next_line(frame: Frame, dx: float, dy: float) -> None:
    frame.text = frame.text_line = frame.text_line @ Affine.translation(dx, dy)


def show(walker: Walker, frame: Frame, op: Operation) -> None:
    """A string is shown, and the place moves on past it."""
    if op[0] in (b"'", b'"'):
        values = operands(frame.data, op[1], op[2])
        if op[0] == b'"' and len(values) >= 3:
            word, char = values[-3], values[-2]
            frame.state.word_space = word if isinstance(word, float) else 0.0
            frame.state.char_space = char if isinstance(char, float) else 0.0
        new_line(walker, frame, op)
    walker.on_show(frame, op)
    advance = text_advance(frame, shown_parts(frame, op))
    frame.text = frame.text @ Affine.translation(advance, 0)
