"""What the user may say about outline and holes."""

from dataclasses import dataclass
from enum import StrEnum

from decalprep.geometry import Affine
from decalprep.model import HoleKind


class OutlineSource(StrEnum):
    """Where the cut outline may come from; AUTO tries them in this order, PAGE only on request."""

    AUTO = "auto"
    LAYER = "layer"
    PART = "part"
    PATH = "path"
    PICTURE = "picture"
    PAGE = "page"


class HoleSource(StrEnum):
    """Where holes may come from; AUTO takes the first that has any."""

    AUTO = "auto"
    PART = "part"
    LAYER = "layer"
    PATHS = "paths"
    NONE = "none"


@dataclass(frozen=True)
class OutlineSettings:
    """Choices for outline, alignment and holes; lengths in mm.

    ``layer`` and ``spot`` name the layer or spot colour that holds the outline, ``hole_layer`` the
    one that holds the holes. Where nothing is named, layers called as in ``outline_names`` and
    ``hole_names`` are taken. ``decal_from_artwork`` overrides the alignment of artwork and part.
    ``join_mm`` is the gap across which loose ends of one outline are joined. More holes than
    ``most_holes`` are refused: each is drawn, cut and proven by itself.
    """

    source: OutlineSource = OutlineSource.AUTO
    layer: str = ""
    spot: str = ""
    hole_source: HoleSource = HoleSource.AUTO
    hole_layer: str = ""
    outline_names: tuple[str, ...] = ("cut outline", "cut", "outline", "kiss cut", "through cut")
    hole_names: tuple[str, ...] = ("hole guide", "holes", "hole", "cut-outs", "openings")
    offset_mm: float = 0.0
    corner_radius_mm: float = 0.0
    decal_from_artwork: Affine | None = None
    join_mm: float = 0.05
    trace_dpi: float = 600.0
    smallest_hole_mm: float = 2.0
    misfit_mm: float = 0.3
    most_holes: int = 1_000


@dataclass(frozen=True)
class HoleOverride:
    """The user's word on one hole, found by its ``label``, ``index`` from 0, or nearest point."""

    kind: HoleKind
    label: str = ""
    index: int | None = None
    near_mm: tuple[float, float] | None = None
