"""The drawing list: what one sheet shows, as plain data in true sheet millimetres.

PDF, cut files and preview are small readers of it. Only export applies ``page_from_sheet``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from decalprep.geometry import Affine, Path

if TYPE_CHECKING:
    from decalprep.model.artwork import Artwork
    from decalprep.model.notice import Notice
    from decalprep.model.sheet import Sheet

RGB = tuple[float, float, float]
BLACK: RGB = (0.0, 0.0, 0.0)


class Layer(StrEnum):
    """The layers of a sheet, in drawing order; each becomes an optional-content group."""

    BLEED = "bleed"
    ARTWORK = "artwork"
    UNDERLAY = "underlay"
    MASK = "paint mask"
    CUT_OUTLINE = "cut outline"
    HOLE_GUIDE = "hole guide"
    SCREW_CROSS = "screw cross"
    TILE_MARK = "match ticks"
    REGISTRATION = "registration ticks"
    CHECK_BAR = "check bar"
    LABEL = "labels"
    TARGET = "targets"


@dataclass(frozen=True)
class PlacedArtwork:
    """An artwork on the sheet, clipped to ``clip`` paths (outer less holes by even-odd; sheet mm).

    ``decal`` and ``copy`` say whose it is.
    """

    artwork: Artwork
    sheet_from_artwork: Affine
    clip: tuple[Path, ...] = ()
    decal: str = ""
    copy: int = 1
    layer: Layer = Layer.ARTWORK


@dataclass(frozen=True)
class StrokeMark:
    """A line drawing, stroked ``width_mm`` wide, dash lengths in mm."""

    layer: Layer
    path: Path
    width_mm: float = 0.1
    colour: RGB = BLACK
    dash_mm: tuple[float, ...] = ()
    decal: str = ""
    copy: int = 1


@dataclass(frozen=True)
class FillMark:
    """Filled paths, even-odd."""

    layer: Layer
    paths: tuple[Path, ...]
    colour: RGB = BLACK
    decal: str = ""
    copy: int = 1


@dataclass(frozen=True)
class TextMark:
    """One line of text on a baseline through (x, y); ``height_mm`` is the capital height.

    ``anchor`` is "start", "middle" or "end" of the line at (x, y).
    """

    layer: Layer
    text: str
    x_mm: float
    y_mm: float
    height_mm: float = 1.8
    turn_deg: float = 0.0
    colour: RGB = BLACK
    decal: str = ""
    copy: int = 1
    anchor: str = "start"


Item = PlacedArtwork | StrokeMark | FillMark | TextMark


@dataclass(frozen=True)
class Drawing:
    """One sheet's drawing list; ``page_from_sheet`` (page mm from true mm) is the correction.

    ``notices`` tell what composing it left out, shortened or moved past the margins.
    """

    sheet: Sheet
    items: tuple[Item, ...]
    page_from_sheet: Affine = field(default_factory=Affine)
    title: str = ""
    notices: tuple[Notice, ...] = ()
