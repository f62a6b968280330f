"""The flat faces of a mesh: where they look, how large they are, and how they are seen.

A face is seen from outside: x to the right, y up, the normal towards the viewer. Up on the paper is
the part's +z, or +y where the face looks up or down (then x is to the right seen from above).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from decalprep.errors import InputProblem, UsageProblem
from decalprep.intake.meshprobe import NEAR_MM, Probe
from decalprep.intake.options import FaceOptions

Array = np.ndarray[Any, np.dtype[Any]]

WORDS = {
    "top": (0.0, 0.0, 1.0),
    "bottom": (0.0, 0.0, -1.0),
    "front": (0.0, -1.0, 0.0),
    "back": (0.0, 1.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "left": (-1.0, 0.0, 0.0),
}
_AXES = {
    "+z": WORDS["top"],
    "-z": WORDS["bottom"],
    "-y": WORDS["front"],
    "+y": WORDS["back"],
    "+x": WORDS["right"],
    "-x": WORDS["left"],
}
_TOGETHER = np.cos(np.radians(0.2))
"""Facets of one plane: their normals within 0.2 degrees; the distance test does the rest."""
_TOWARDS = np.cos(np.radians(1.0))
_ALIKE = 1e-3
LEAST_SHARE = 0.01
_CANDIDATES = 24
_SAMPLES = 64


@dataclass(frozen=True)
class Flat:
    """Coplanar facets: unit normal, distance from the origin in mm, facet numbers.

    ``area_mm2`` is what can be seen of it from outside, estimated by looking at sample points.
    """

    normal: Array
    offset_mm: float
    facets: Array
    area_mm2: float

    @property
    def towards(self) -> str:
        """Where it looks, in words."""
        for name, axis in _AXES.items():
            if float(self.normal @ np.array(axis)) > np.cos(np.radians(0.5)):
                return name
        return "({:.2f}, {:.2f}, {:.2f})".format(*(float(v) + 0.0 for v in self.normal))

    @property
    def frame(self) -> Array:
        """3 x 3: rows are right, up and normal; times a point gives (x, y, height)."""
        normal = self.normal
        up = np.array((0.0, 0.0, 1.0)) if abs(normal[2]) < 0.999 else np.array((0.0, 1.0, 0.0))
        up = up - normal * float(up @ normal)
        up /= np.linalg.norm(up)
        return np.array((np.cross(up, normal), up, normal))


def flat_faces(triangles: Array, flat_mm: float) -> list[Flat]:
    """The largest flats of a mesh (n x 3 x 3, mm), by visible area, largest first; at most 24.

    Buckets of like normal and distance give the candidates, each then gathered exactly: every
    corner within ``flat_mm`` of the plane of the bucket's largest facet. A flat that is wholly
    behind other material, like the floor of a closed box, is left out.
    """
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    doubled = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(doubled, 1e-300)[:, None]
    offsets = np.einsum("ij,ij->i", normals, triangles[:, 0])
    keys = np.column_stack([np.rint(normals * 100), np.rint(offsets / 0.1)]).astype(np.int64)
    _, bucket = np.unique(keys, axis=0, return_inverse=True)
    bucket = bucket.reshape(-1)
    sums = np.bincount(bucket, weights=doubled / 2)
    flats: list[Flat] = []
    for candidate in np.argsort(-sums, kind="stable")[:_CANDIDATES]:
        members = np.flatnonzero(bucket == candidate)
        seed = members[np.argmax(doubled[members])]
        flat = _gathered(triangles, normals, doubled, int(seed), flat_mm)
        if all(flat.facets[0] not in known.facets for known in flats):
            flats.append(flat)
    shown = [_as_seen(flat, triangles) for flat in flats]
    return sorted((f for f in shown if f.area_mm2 > 0), key=lambda flat: -flat.area_mm2)


def _as_seen(flat: Flat, triangles: Array) -> Flat:
    """The flat with its area less the share that lies behind other material."""
    high = (triangles @ flat.normal).max(axis=1) > flat.offset_mm + NEAR_MM
    if not high.any():
        return flat
    probe = Probe(triangles[high] @ flat.frame.T, flat.offset_mm)
    count = _SAMPLES if len(triangles) < 100_000 else _SAMPLES // 4
    points = _sampled((triangles[flat.facets] @ flat.frame.T)[:, :, :2], count)
    free = sum(not len(probe.above(x, y)) for x, y in points.tolist())
    return replace(flat, area_mm2=flat.area_mm2 * free / count)


def _sampled(facets: Array, count: int) -> Array:
    """Points spread evenly by area over facets (n x 3 x 2), always the same ones."""
    a, b, c = facets[:, 0], facets[:, 1], facets[:, 2]
    twice = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    steps = (np.arange(count) + 0.5) / count
    pick = np.searchsorted(np.cumsum(twice) / max(float(twice.sum()), 1e-300), steps)
    pick = np.minimum(pick, len(facets) - 1)
    u = (0.5 + np.arange(count) * 0.7548776662466927) % 1
    v = (0.5 + np.arange(count) * 0.5698402909980532) % 1
    over = u + v > 1
    u, v = np.where(over, 1 - u, u)[:, None], np.where(over, 1 - v, v)[:, None]
    return np.asarray(a[pick] + u * (b - a)[pick] + v * (c - a)[pick])


def _gathered(triangles: Array, normals: Array, doubled: Array, seed: int, flat_mm: float) -> Flat:
    normal = normals[seed]
    offset = float(normal @ triangles[seed].mean(axis=0))
    like = np.flatnonzero(normals @ normal > _TOGETHER)
    off = np.abs(triangles[like] @ normal - offset).max(axis=1)
    facets = like[off <= flat_mm]
    return Flat(normal, offset, facets, float(doubled[facets].sum() / 2))


def wanted_direction(direction: str | tuple[float, float, float] | None) -> Array | None:
    """The unit vector that a direction names; None for the largest face.

    Raises:
        UsageProblem: not a direction.
    """
    if direction is None or direction == "largest":
        return None
    if isinstance(direction, str):
        word = direction.strip().lower()
        known = WORDS | _AXES | {k[1]: v for k, v in _AXES.items() if k[0] == "+"}
        if word not in known:
            raise UsageProblem(
                f"{direction!r} is no direction of a face",
                do='use "top", "bottom", "front", "back", "left", "right", or "+z", "-x" and so on',
            )
        return np.array(known[word])
    vector = np.asarray(direction, dtype=float)
    length = float(np.linalg.norm(vector)) if vector.shape == (3,) else 0.0
    if not (np.isfinite(length) and length > 0):
        raise UsageProblem(f"{direction!r} is no direction of a face", do="give three numbers")
    return np.asarray(vector / length)


def chosen_flat(
    flats: list[Flat], skin_mm2: float, options: FaceOptions, where: str
) -> tuple[Flat, Flat | None]:
    """(the flat asked for, another of the same size that looks elsewhere, if there is one).

    Of flats within 0.1 % in area the one that looks up is taken, then front, then right.
    ``skin_mm2`` is the area of the whole part.

    Raises:
        InputProblem: nothing flat, only flats under 1 % of the part, nothing that looks there.
        UsageProblem: not so many flats look there.
    """
    if not flats:
        raise InputProblem("the part has no flat face", where=where, do="give another file")
    wanted = wanted_direction(options.direction)
    if wanted is None:
        flats, rival = _by_size(flats, skin_mm2, where)
        rival = rival if options.rank == 1 else None
    else:
        there = [f for f in flats if float(f.normal @ wanted) > _TOWARDS]
        if not there:
            seen = ", ".join(dict.fromkeys(f.towards for f in flats[:6]))
            raise InputProblem(
                f"no flat face looks {options.direction}", where=where, do=f"flats look: {seen}"
            )
        flats, rival = there, None
    if not 1 <= options.rank <= len(flats):
        raise UsageProblem(
            f"there is no flat face number {options.rank} that way",
            where=where,
            do=f"there are {len(flats)}",
        )
    return flats[options.rank - 1], rival


def _by_size(flats: list[Flat], skin_mm2: float, where: str) -> tuple[list[Flat], Flat | None]:
    """(flats largest first, ties in order of preference; the second of a tie for the largest)."""
    largest = flats[0].area_mm2
    if largest < LEAST_SHARE * skin_mm2:
        raise InputProblem(
            f"the part has no face to speak of: its largest flat is {largest:.2f} mm2 of "
            f"{skin_mm2:.0f} mm2",
            where=where,
            do="say which way the face looks, or give another file",
        )
    least = (1 - _ALIKE) * largest
    alike = sorted((f for f in flats if f.area_mm2 > least), key=_preference)
    rest = [f for f in flats if f.area_mm2 <= least]
    return [*alike, *rest], alike[1] if len(alike) > 1 else None


def _preference(flat: Flat) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 2) for v in flat.normal)
    return -z, y, -x
