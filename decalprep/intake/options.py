"""What a person may say about an artwork or a part, and the limits that keep reading safe."""

import math
import os
from dataclasses import dataclass, field, fields, replace
from typing import Any

from decalprep.errors import UsageProblem

LIMITS_VARIABLE = "DECALPREP_LIMITS"


@dataclass(frozen=True)
class Limits:
    """Ceilings; an input beyond one is refused by name, never cut short.

    ``max_side_mm`` is 5080 mm, the longest side a PDF page can have (14,400 units of 1/72 in,
    ISO 32000-1 Annex C; from memory). ``min_side_mm`` catches a unit slip, not a small decal.
    ``max_seconds`` and ``max_memory_bytes`` bound a converter that runs in its own process;
    ``max_processes`` bounds how many share a job's work (1: all of it in one).
    """

    max_bytes: int = 256_000_000
    max_seconds: float = 30.0
    max_memory_bytes: int = 2_000_000_000
    max_pixels: int = 400_000_000
    max_paths: int = 200_000
    max_holes: int = 1_000
    max_depth: int = 32
    max_facets: int = 1_000_000
    max_pages: int = 20_000
    max_side_mm: float = 5080.0
    min_side_mm: float = 0.5
    max_processes: int = 8

    def changed(self, words: str) -> "Limits":
        """The limits with those named in ``words`` changed.

        Raises:
            UsageProblem: no such limit, or no number above zero.

        >>> Limits().changed("max_paths=500000, max_side_mm=9000").max_paths
        500000
        """
        known = [f.name for f in fields(self)]
        result = self
        for part in filter(None, (p.strip() for p in words.replace(";", ",").split(","))):
            name, _, value = (piece.strip() for piece in part.partition("="))
            if name not in known:
                raise UsageProblem(
                    f"there is no limit {name!r}",
                    where=LIMITS_VARIABLE,
                    do=f"use {', '.join(known)}",
                )
            try:
                number = float(value)
            except ValueError:
                number = math.nan
            if not (math.isfinite(number) and number > 0):
                raise UsageProblem(
                    f"{name}={value} is no limit", where=LIMITS_VARIABLE, do="give a number over 0"
                )
            whole = isinstance(getattr(self, name), int)
            value_in_kind: Any = int(number) if whole else number
            result = replace(result, **{name: value_in_kind})
        return result


def stated_limits() -> Limits:
    """The limits, with what ``$DECALPREP_LIMITS`` changes, such as "max_paths=500000".

    Raises:
        UsageProblem: the variable names no limit, or no number.
    """
    return Limits().changed(os.environ.get(LIMITS_VARIABLE, ""))


@dataclass(frozen=True)
class KnownDistance:
    """Two points in page points (1/72 in; lower left origin, y up) that are truly so far apart.

    The points are those of the page as read, before any scaling: for a raster its page has one
    point a pixel. ``name`` says in the report what was measured, such as "screw to screw".
    """

    x1_pt: float
    y1_pt: float
    x2_pt: float
    y2_pt: float
    distance_mm: float
    name: str = "the distance you gave"


@dataclass(frozen=True)
class IntakeOptions:
    """What the user says about one artwork; a value of None says nothing.

    ``width_mm`` and ``height_mm`` are of the whole page. ``scale`` multiplies the size the file
    states for itself. ``circle_distance`` is (number, number, true mm): the centres of two circles
    by their numbers in ``numbered_circles``. ``unit`` names the unit of a file that has none
    (DXF): "mm", "in" and so on. ``allow_stretch`` accepts a width and height whose ratio is not
    the file's.
    ``resample_dpi`` lays a picture's pixels on a grid of so many an inch; None leaves them.
    ``page`` counts from 1. ``show_layers`` and ``hide_layers`` switch layers by name. ``dpi`` is
    the density for what can only be carried over as pixels. ``line_mm`` is the width of a DXF line
    that states none.
    """

    width_mm: float | None = None
    height_mm: float | None = None
    scale: float | None = None
    known_distance: KnownDistance | None = None
    circle_distance: tuple[int, int, float] | None = None
    unit: str | None = None
    allow_stretch: bool = False
    page: int = 1
    show_layers: tuple[str, ...] = ()
    hide_layers: tuple[str, ...] = ()
    allow_missing_fonts: bool = False
    dpi: float = 600.0
    resample_dpi: float | None = None
    line_mm: float = 0.25
    joining_mm: float = 0.01
    limits: Limits = field(default_factory=stated_limits)


@dataclass(frozen=True)
class FaceOptions:
    """Which face of a part is meant, and in which unit the file is.

    ``direction`` is where the face looks: "+z", "-x" and so on, "top", "bottom", "front", "back",
    "left", "right" (z up, front is -y), or three numbers; None or "largest" takes the largest flat
    face. ``rank`` 1 is the largest face that looks there, 2 the next. ``unit`` names
    the file's unit; None takes the file's own, or mm for a mesh file that has none. ``turn_deg``
    turns the face on the paper, counter-clockwise.
    ``body`` counts the separate bodies of a mesh from 1, largest first; None takes them all.
    ``outline_layer`` and ``hole_layers`` choose by name in a DXF. ``joining_mm`` is the largest
    gap between two ends that count as one point. ``flat_mm`` is how far a facet may lie off the
    face's plane. ``recesses`` takes blind recesses for holes too.
    """

    direction: str | tuple[float, float, float] | None = None
    rank: int = 1
    unit: str | None = None
    turn_deg: float = 0.0
    body: int | None = None
    outline_layer: str | None = None
    hole_layers: tuple[str, ...] = ()
    joining_mm: float = 0.01
    flat_mm: float = 0.005
    recesses: bool = False
    limits: Limits = field(default_factory=stated_limits)
