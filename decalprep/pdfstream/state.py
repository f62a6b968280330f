"""The graphics state that painting depends on (ISO 32000-1:2008, 8.4)."""

from dataclasses import dataclass, field
from typing import Any

from decalprep.geometry import Affine, Box, Point
from decalprep.pdfstream.colour import BLACK, Colour
from decalprep.pdfstream.fonts import Font

IDENTITY = Affine()


@dataclass
class GraphicsState:
    """State at one moment. ``ctm`` goes to page points; copied by q, given back by Q.

    ``clip`` is the box of all clips so far (None: none); ``clip_shaped`` says that one of them
    was not a rectangle; ``clip_quads`` are the corners of those that stand aslant.
    ``masked`` says that a soft mask is on.
    """

    ctm: Affine = IDENTITY
    line_width: float = 1.0
    dashed: bool = False
    fill: Colour = BLACK
    stroke: Colour = BLACK
    fill_space: Any = "/DeviceGray"
    stroke_space: Any = "/DeviceGray"
    font: Font | None = None
    font_name: bytes = b""
    font_size: float = 1.0
    char_space: float = 0.0
    word_space: float = 0.0
    text_scale: float = 1.0
    leading: float = 0.0
    rise: float = 0.0
    render_mode: int = 0
    masked: bool = False
    fill_alpha: float = 1.0
    stroke_alpha: float = 1.0
    clip: Box | None = None
    clip_shaped: bool = False
    clip_quads: tuple[tuple[Point, ...], ...] = ()

    def copied(self) -> "GraphicsState":
        """A state of its own with the same values."""
        new = object.__new__(GraphicsState)
        new.__dict__.update(self.__dict__)
        return new

    @property
    def stroke_width_pt(self) -> tuple[float, float]:
        """(largest, smallest) width on the page in points of a stroke made now."""
        width = abs(self.line_width)
        largest, smallest = self.ctm.stretch
        return width * largest, width * smallest

    def narrow_clip(self, box: Box, *, shaped: bool) -> None:
        """Intersect the clip with a box."""
        old = self.clip
        if old is not None:
            box = Box(
                max(old.x0, box.x0), max(old.y0, box.y0), min(old.x1, box.x1), min(old.y1, box.y1)
            )
        self.clip = box
        self.clip_shaped = self.clip_shaped or shaped


@dataclass
class Frame:
    """One content stream being walked: its bytes, resources, state and what is half done.

    ``spaces`` and ``colours`` keep what operands of colour operators meant when they came first.
    """

    data: bytes
    resources: Any
    state: GraphicsState
    saved: list[GraphicsState] = field(default_factory=list)
    path: list[tuple[int, int]] = field(default_factory=list)
    clip_pending: bool = False
    text: Affine = IDENTITY
    text_line: Affine = IDENTITY
    marked: list[bool] = field(default_factory=list)
    spaces: dict[bytes, tuple[Any, Colour]] = field(default_factory=dict)
    colours: dict[tuple[bytes, int], tuple[Any, Colour]] = field(default_factory=dict)
