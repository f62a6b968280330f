"""Sets of pieces for the nesting benchmark: generated ones, and published ones laid beside it.

The generated pieces are what a console is made of: face plates with notches, L and U shapes round
neighbours, rings and bezels with cut-outs, discs, long strips, plain plates. ``faces`` holds face
plates only (40 to 150 by 30 to 110 mm); in ``console`` every second piece is a small plate (20 to
60 by 15 to 45 mm), as the labels and switch plates are, so that cut-outs and notches are of use.
The rule was fixed before the engine's improver was tuned, and is not fitted to it.
"""

from __future__ import annotations

import json
import pathlib
import random
from dataclasses import dataclass

from shapely.affinity import rotate
from shapely.geometry import Point, Polygon, box

from decalprep.model import Margins, Sheet, Turns
from decalprep.nesting import NestPart

A4 = Sheet("A4", 210, 297, Margins(5, 5, 5, 5))
GAP_MM = 2.0
KINDS = ("faces", "console")


def _notched(rng: random.Random, w: float, h: float) -> Polygon:
    shape = box(0, 0, w, h)
    for _ in range(rng.randint(1, 2)):
        a, b = w * rng.uniform(0.15, 0.4), h * rng.uniform(0.15, 0.4)
        x, y = rng.choice(((0, 0), (w - a, 0), (0, h - b), (w - a, h - b)))
        shape = shape.difference(box(x, y, x + a, y + b))
    return shape


def _l_shape(rng: random.Random, w: float, h: float) -> Polygon:
    return box(0, 0, w, h).difference(
        box(w * rng.uniform(0.3, 0.6), h * rng.uniform(0.3, 0.6), w, h)
    )


def _u_shape(rng: random.Random, w: float, h: float) -> Polygon:
    a = rng.uniform(0.25, 0.35)
    return box(0, 0, w, h).difference(box(w * a, h * a, w * (1 - a), h))


def _ring(rng: random.Random, w: float, h: float) -> Polygon:
    d = min(w, h)
    return (
        Point(d / 2, d / 2)
        .buffer(d / 2)
        .difference(Point(d / 2, d / 2).buffer(d / 2 * rng.uniform(0.55, 0.8)))
    )


def _frame(rng: random.Random, w: float, h: float) -> Polygon:
    t = min(w, h) * rng.uniform(0.12, 0.25)
    return box(0, 0, w, h).difference(box(t, t, w - t, h - t))


def _plain(rng: random.Random, w: float, h: float) -> Polygon:
    return box(0, 0, w, h)


def _disc(rng: random.Random, w: float, h: float) -> Polygon:
    return Point(0, 0).buffer(min(w, h) / 2)


def _strip(rng: random.Random, w: float, h: float) -> Polygon:
    return box(0, 0, rng.uniform(100, 185), rng.uniform(12, 25))


MAKERS = (_plain, _notched, _l_shape, _u_shape, _ring, _frame, _disc, _strip)
WEIGHTS = (20, 20, 15, 15, 10, 10, 5, 5)


def panel_set(count: int, seed: int, kind: str = "faces") -> list[NestPart]:
    """``count`` pieces of one of ``KINDS``, the same for the same seed."""
    rng = random.Random(seed)
    parts = []
    for k in range(count):
        w, h = rng.uniform(40, 150), rng.uniform(30, 110)
        if kind == "console" and k % 2:
            w, h = rng.uniform(20, 60), rng.uniform(15, 45)
        shape = rng.choices(MAKERS, WEIGHTS)[0](rng, w, h)
        shape = rotate(shape, rng.choice((0, 90)), origin=(0, 0))
        parts.append(NestPart(f"panel {k}", 1, shape, panel=f"group {k % 5}"))
    return parts


@dataclass(frozen=True)
class Published:
    """A published strip set: pieces, strip height, and what is known of it.

    ``pieces`` and ``least_length`` (total area by strip height) are checked when it is read;
    ``reference`` is the density in percent of a published answer, or 100 for a jigsaw.
    """

    name: str
    pieces: int
    least_length: float
    reference: float
    turns: Turns


# Counts, turns and areas as in the ESICUP lists and the papers that use them; the reference
# densities are the medians of ten runs of 1200 s of the strip packer's own paper (from memory).
PUBLISHED = (
    Published("albano", 24, 8705.466, 89.5, Turns.HALF),
    Published("fu", 12, 28.5, 92.4, Turns.QUARTER),
    Published("marques", 24, 69.173, 91.0, Turns.QUARTER),
    Published("swim", 48, 4423.683, 78.3, Turns.HALF),
    Published("shirts", 99, 54.0, 89.7, Turns.HALF),
)
JIGSAWS = (
    Published("dighe1", 16, 100.0, 100.0, Turns.NONE),
    Published("dighe2", 10, 100.0, 100.0, Turns.NONE),
)


def read_published(folder: pathlib.Path, known: Published) -> tuple[list[Polygon], float]:
    """The pieces (copies one by one) and the strip height of a published set, checked.

    Reads the form of the open collections: items with demand, allowed orientations and a shape's
    points, keys in either of its two spellings.

    Raises:
        ValueError: the file is not the set that it is called.
    """
    data = _lower(json.loads((folder / f"{known.name}.json").read_text()))
    pieces = [
        Polygon(item["shape"]["data"]) for item in data["items"] for _ in range(item["demand"])
    ]
    height = data["strip_height"] if "strip_height" in data else data["strip"]["height"]
    length = sum(piece.area for piece in pieces) / height
    turns = {len(item.get("allowed_orientations") or [0]) for item in data["items"]}
    wanted = {Turns.NONE: 1, Turns.HALF: 2, Turns.QUARTER: 4}[known.turns]
    if len(pieces) != known.pieces or abs(length / known.least_length - 1) > 1e-4:
        raise ValueError(f"{known.name}: {len(pieces)} pieces, area by height {length:.3f}")
    if turns != {wanted}:
        raise ValueError(f"{known.name}: {turns} orientations, {wanted} published")
    return pieces, float(height)


def _lower(value: object) -> object:
    """Keys in one spelling: AllowedOrientations and allowed_orientations are the same."""
    if isinstance(value, dict):
        return {
            "".join("_" + c.lower() if c.isupper() else c for c in k).lstrip("_"): _lower(v)
            for k, v in value.items()
        }
    return [_lower(v) for v in value] if isinstance(value, list) else value
