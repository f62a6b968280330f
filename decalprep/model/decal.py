"""Decals, their holes, and the faces of parts."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from decalprep.geometry import Affine, Circle, Path
from decalprep.model.notice import Notice

if TYPE_CHECKING:
    from decalprep.model.artwork import Artwork


class HoleKind(StrEnum):
    """What is done with a hole: pierced under a cross, cut after sticking, or cut as drawn."""

    SCREW = "screw"
    SWITCH = "switch"
    FREE = "free"


@dataclass(frozen=True)
class Hole:
    """One hole in mm: its contour, and the circle that fits it where it is round.

    ``fit_error_mm`` is the largest distance of the contour from ``circle``;
    ``classed_by`` names the table row and its certainty.
    """

    contour: Path
    circle: Circle | None = None
    fit_error_mm: float = 0.0
    kind: HoleKind = HoleKind.FREE
    classed_by: str = ""
    label: str = ""


@dataclass(frozen=True)
class PartFace:
    """The face of a part that carries a decal: outline and holes in mm, and the plate's thickness.

    ``facet_error_mm`` is how far a faceted source may be from the true curve; 0 for exact sources.
    ``notices`` are what its reader had to tell.
    """

    outline: Path
    holes: tuple[Hole, ...] = ()
    thickness_mm: float | None = None
    facet_error_mm: float = 0.0
    described: str = ""
    notices: tuple[Notice, ...] = ()


class Turns(StrEnum):
    """How a decal may be turned on the sheet; never mirrored."""

    QUARTER = "quarter turns"
    HALF = "half turn"
    NONE = "upright"
    FREE = "any angle"


@dataclass(frozen=True)
class Decal:
    """One printed, cut-out piece. The decal frame is mm, y up; the outline lies in it.

    ``decal_from_artwork`` lays the artwork in the decal frame; ``bleed_artwork`` is drawn under
    it where the artwork does not reach as far as the bleed; ``fitted_from_decal`` is the
    part's own size error (identity where the part was not measured).
    ``turn_step_deg`` holds ``Turns.FREE`` to steps of so many degrees (0: any angle).
    ``ink`` says where ink may lie if that is not the outline grown by the bleed, as for a tile:
    one outer path, then the bare parts (even-odd). ``label`` is printed in place of the name.
    ``edge_colours`` are the ground colours (RGB, 0 to 1) that the cut line lies on, if known.
    """

    name: str
    panel: str
    artwork: Artwork
    outline: Path
    outline_from: str
    holes: tuple[Hole, ...] = ()
    copies: int = 1
    bleed_mm: float = 0.0
    bleed_into_holes: bool = False
    turns: Turns = Turns.QUARTER
    turn_step_deg: float = 0.0
    decal_from_artwork: Affine = field(default_factory=Affine)
    bleed_artwork: Artwork | None = None
    decal_from_bleed: Affine = field(default_factory=Affine)
    fitted_from_decal: Affine = field(default_factory=Affine)
    ink: tuple[Path, ...] = ()
    label: str = ""
    edge_colours: tuple[tuple[float, float, float], ...] = ()
