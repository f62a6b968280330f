"""Thin printed lines in a picture: how far each lies from where it is expected, across itself.

Across the line a profile is taken and compared with three shapes at once: even ground, a step (ink
ends at the line) and a line. The line's share says how sure it is, the place where the three leave
least over is the line's place; so a line at the edge of a printed area is not pulled to one side.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.scan.images import Grey

Array = npt.NDArray[np.float64]
Point = tuple[float, float]

STEP_MM = 0.04
_HALF_WINDOW_MM = 0.48
_LINE_SIGMA_MM = 0.085
_CORNER_MM = 1.5
_SOFT_SIGMA_MM = 0.06
"""A line drawn sharp, one pixel wide, is unlike the shape of a printed one until it is softened."""
_LEAST_RESPONSE = 25.0
_FULL_RESPONSE = 100.0
_STEP_SHARE = 0.25
"""A line at the edge of ink nearly as dark as itself is not to be seen apart from the edge."""


@dataclass(frozen=True)
class Samples:
    """Points along expected lines: place and unit normal (mm), and the line each belongs to."""

    points: Array
    normals: Array
    owners: npt.NDArray[np.int64]


@dataclass(frozen=True)
class Across:
    """For each sample: distance of the line found along the normal (mm), strength, seen or not.

    ``inside`` says where the picture has anything to see at all.
    """

    offsets_mm: Array
    strength: Array
    seen: npt.NDArray[np.bool_]
    inside: npt.NDArray[np.bool_]


def sample_lines(lines: Sequence[Sequence[Point]], every_mm: float = 1.0) -> Samples:
    """Samples along polylines, away from their corners and ends."""
    points, normals, owners = [], [], []
    for owner, line in enumerate(lines):
        for run in _smooth_runs(np.asarray(line, dtype=float)):
            steps = np.hypot(*np.diff(run, axis=0).T)
            along = np.concatenate([[0.0], np.cumsum(steps)])
            free = along[-1] - 2 * _CORNER_MM
            closed = math.dist(run[0], run[-1]) < 1e-6
            if free <= 0 and not closed:
                continue
            lead = 0.0 if closed else _CORNER_MM
            count = max(2, round((along[-1] - 2 * lead) / every_mm) + 1)
            at = np.linspace(lead, along[-1] - lead, count)[: -1 if closed else None]
            place = np.column_stack([np.interp(at, along, run[:, k]) for k in (0, 1)])
            segment = np.clip(np.searchsorted(along, at, side="right") - 1, 0, len(steps) - 1)
            direction = np.diff(run, axis=0)[segment] / steps[segment][:, None]
            points.append(place)
            normals.append(np.column_stack([-direction[:, 1], direction[:, 0]]))
            owners.append(np.full(len(place), owner))
    if not points:
        empty = np.zeros((0, 2))
        return Samples(empty, empty, np.zeros(0, dtype=np.int64))
    return Samples(np.vstack(points), np.vstack(normals), np.concatenate(owners).astype(np.int64))


def _smooth_runs(line: Array) -> list[Array]:
    """A polyline cut at its corners (turns of more than 20 degrees); a smooth loop stays whole."""
    keep = np.concatenate([[True], np.hypot(*np.diff(line, axis=0).T) > 1e-9])
    line = line[keep]
    if len(line) < 2:
        return []
    closed = math.dist(line[0], line[-1]) < 1e-6
    direction = np.diff(line, axis=0)
    angle = np.unwrap(np.arctan2(direction[:, 1], direction[:, 0]))
    turn = np.abs(np.diff(angle)) > math.radians(20)
    corners = [int(k) + 1 for k in np.flatnonzero(turn)]
    if closed:
        last = (angle[0] - angle[-1] + math.pi) % (2 * math.pi) - math.pi
        if abs(last) <= math.radians(20) and corners:
            # Start the loop at a corner, so that no run is cut where there is none.
            line = np.vstack([line[corners[0] :], line[1 : corners[0] + 1]])
            corners = [c - corners[0] for c in corners[1:]]
    ends = [0, *corners, len(line) - 1]
    return [line[a : b + 1] for a, b in pairwise(ends) if b > a]


def look_across(grey: Grey, image_from_mm: Array, samples: Samples, *, reach_mm: float) -> Across:
    """Where the lines lie within ``reach_mm`` of the samples, across the lines, in mm.

    ``image_from_mm`` (2 x 3) takes expected places to px (column, row, pixel centres at .5).
    """
    inside, (step, line, left_over) = _across_at(grey, image_from_mm, samples, reach_mm)
    # A step looks a little like a line to either side of it, but leaves more over there.
    centre = np.argmax(_excess(step, line, left_over), axis=1)
    rows = np.arange(len(centre))
    strength = np.abs(line[rows, centre])
    clear = strength > _STEP_SHARE * np.abs(step[rows, centre])
    inner = np.clip(centre, 1, left_over.shape[1] - 2)
    before, here, after = (left_over[rows, inner + k] for k in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = np.where(bend > 1e-9, 0.5 * (before - after) / np.where(bend > 1e-9, bend, 1), 0.0)
    half = (left_over.shape[1] - 1) / 2
    found = (inner - half + np.clip(shift, -1, 1)) * STEP_MM
    edge = (centre == 0) | (centre == left_over.shape[1] - 1)
    seen = inside & ~edge & clear & (strength > _LEAST_RESPONSE)
    return Across(found, strength, seen, inside)


def likeness(
    views: Sequence[Grey], image_from_mm: Array, samples: Samples, *, reach_mm: float
) -> Array:
    """How surely a line runs at each place across each sample (0 to 1), ``STEP_MM`` apart.

    Faint lines count nearly as much as strong ones; outside the picture nothing counts.
    """
    best: Array | None = None
    for view in views:
        inside, (step, line, left_over) = _across_at(
            view, image_from_mm, samples, reach_mm, soft_mm=_SOFT_SIGMA_MM
        )
        excess = np.sqrt(np.clip(_excess(step, line, left_over), 0, _FULL_RESPONSE**2))
        found = excess / _FULL_RESPONSE * inside[:, None]
        best = found if best is None else np.maximum(best, found)
    if best is None:
        raise ValueError("no picture to look in")
    return best


def _excess(step: Array, line: Array, left_over: Array) -> Array:
    return np.asarray(line**2 - 2 * left_over - (_STEP_SHARE * step) ** 2, dtype=np.float64)


def _across_at(
    grey: Grey, image_from_mm: Array, samples: Samples, reach_mm: float, *, soft_mm: float = 0.0
) -> tuple[npt.NDArray[np.bool_], tuple[Array, Array, Array]]:
    """Which samples are inside the picture, and the responses across all of them."""
    count = round((reach_mm + _HALF_WINDOW_MM) / STEP_MM)
    offsets = np.arange(-count, count + 1) * STEP_MM
    at = samples.points[:, None, :] + offsets[None, :, None] * samples.normals[:, None, :]
    px = at @ image_from_mm[:, :2].T + image_from_mm[:, 2] - 0.5
    inside = np.all((px > 1) & (px < np.array(grey.shape[::-1]) - 2), axis=(1, 2))
    profiles = _remap(grey, px)
    if soft_mm and len(profiles):
        soft = cv2.GaussianBlur(profiles, (0, 0), soft_mm / STEP_MM, sigmaY=1e-6)
        profiles = np.asarray(soft, dtype=np.float64)
    return inside, _responses(profiles)


def look_in_all(
    views: Sequence[Grey], image_from_mm: Array, samples: Samples, *, reach_mm: float
) -> Across:
    """The same, each sample from the picture in which its line stands out most."""
    best = look_across(views[0], image_from_mm, samples, reach_mm=reach_mm)
    for view in views[1:]:
        more = look_across(view, image_from_mm, samples, reach_mm=reach_mm)
        take = more.seen & (~best.seen | (more.strength > best.strength))
        best = Across(
            np.where(take, more.offsets_mm, best.offsets_mm),
            np.where(take, more.strength, best.strength),
            best.seen | more.seen,
            best.inside,
        )
    return best


def _remap(grey: Grey, px: Array) -> Array:
    """Bilinear grey levels; cv2.remap takes at most 32,767 rows, so long lists go in parts."""
    parts = []
    for k in range(0, max(len(px), 1), 8192):
        part = px[k : k + 8192].astype(np.float32)
        if len(part):
            parts.append(cv2.remap(grey, part[..., 0], part[..., 1], cv2.INTER_CUBIC))
    if not parts:
        return np.zeros((0, px.shape[1]))
    return np.concatenate(parts).astype(np.float64)


def _responses(profiles: Array) -> tuple[Array, Array, Array]:
    """(step response, line response, energy left over) at each window place of each profile."""
    half = round(_HALF_WINDOW_MM / STEP_MM)
    x = np.arange(-half, half + 1) * STEP_MM
    step = np.array([math.erf(v / (_LINE_SIGMA_MM * math.sqrt(2))) for v in x])
    line = np.exp(-0.5 * (x / _LINE_SIGMA_MM) ** 2)
    basis, _ = np.linalg.qr(np.column_stack([np.ones(len(x)), step, line]))
    if not len(profiles):
        empty = np.zeros((0, profiles.shape[1] - 2 * half))
        return empty, empty, empty

    def slid(rows: Array, kernel: Array) -> Array:
        """The kernel laid at each place of each row where it fits whole."""
        # Sliding windows by numpy would copy the profiles 25 times over.
        found = cv2.filter2D(rows, cv2.CV_64F, kernel.reshape(1, -1))
        return np.asarray(found[:, half:-half], dtype=np.float64)

    even, stepped, lined = (slid(profiles, basis[:, k]) for k in range(3))
    energy = slid(profiles**2, np.ones(len(x)))
    return stepped, lined, energy - even**2 - stepped**2 - lined**2
