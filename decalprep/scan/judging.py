"""Judging decals one by one: each decal's own shift, stretch and turn from what its lines show."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from decalprep.calibration import ShapeFit, coverage_factor
from decalprep.scan.findings import MeanScale, MeasuredDecal, Point, SheetDecal, Verdict
from decalprep.scan.lines import Samples
from decalprep.scan.own_step import design_of, own_step, units_of

Array = npt.NDArray[np.float64]

_LEAST_SHARE = 0.5
_OPEN_MM = 2.0
_OWN_LEAN = 0.005
"""Standard deviation of a decal's own lean beside the sheet's (assumed, no source: printers lean
whole sheets); it matters for decals of some mm only, which show a lean badly."""
_ROUND = 0.15
"""An outline that a turn moves across itself by less than this share of what lean does is round."""


@dataclass(frozen=True)
class _Local:
    """What one decal's lines leave beside the sheet's shape.

    ``step`` is its shift (mm) and 2 x 2 gradient row by row, ``covariance`` of it; ``round`` says
    that it shows no turn.
    """

    step: Array
    covariance: Array
    round: bool

    def u(self, *parts: int, times: float = 1.0) -> float:
        """Standard uncertainty of a sum of parts, times a length."""
        chosen = np.zeros(6)
        chosen[list(parts)] = times
        return math.sqrt(float(chosen @ self.covariance @ chosen))


class Judge:
    """Fits each decal's own shift, stretch and turn to what is left of its lines."""

    def __init__(
        self,
        samples: Samples,
        seen: Sequence[npt.NDArray[np.bool_]],
        fit: ShapeFit,
        common: MeanScale,
        tolerance_mm: float,
        *,
        judging: bool,
    ) -> None:
        self.samples, self.seen, self.fit, self.judging = samples, seen, fit, judging
        self.common, self.tolerance_mm = common, tolerance_mm

    def decal(self, number: int, decal: SheetDecal, size_mm: Point) -> MeasuredDecal:
        """What one decal measures, in mm with 95 % ranges, and whether it is within tolerance."""
        mine = self.samples.owners == number
        # Turned, the sheet hangs over the glass: seen well in one scan is seen.
        share = max(float(seen[mine].mean()) for seen in self.seen) if mine.any() else 0.0
        if share < _LEAST_SHARE:
            unseen = Verdict.UNSEEN
            return MeasuredDecal(decal.name, decal.copy, unseen, seen_share=share, place=unseen)
        box = np.array(decal.outline)
        sides = np.ptp(box, axis=0)
        middle = (box.min(axis=0) + box.max(axis=0)) / 2
        local = self._local(mine, middle, float(sides.max()))
        measured = replace(
            self._placed(decal, middle - np.array(size_mm) / 2, sides, local),
            **self._size(sides, local),
            seen_share=share,
        )
        return self._judged(measured)

    def _size(self, sides: Array, local: _Local) -> dict[str, Any]:
        """Width, height and lean of a decal: how far off, and the 95 % ranges."""
        width, height = float(sides[0]), float(sides[1])
        r, mean, step = self.fit.shape.ratio, self.common.error, local.step
        u_ratio, u_skew = self._u_shape()
        k = coverage_factor(self.fit.shape.freedom)
        error_x = (mean - r / 2 + float(step[2])) * width
        error_y = (mean + r / 2 + float(step[5])) * height
        u_sizes = (local.u(2, times=width), local.u(5, times=height))
        ranges = [
            k * math.hypot(u_size, side * u_ratio, side * self.common.u)
            for u_size, side in zip(u_sizes, (width, height), strict=True)
        ]
        # Turning the decal as it is laid takes out what a lean does along its longer side.
        short = min(width, height)
        lean = (self.fit.shape.skew + float(step[3] + step[4])) * short
        u_lean = math.hypot(local.u(3, 4, times=short), short * u_skew)
        return {
            "width_mm": width + error_x,
            "height_mm": height + error_y,
            "error_x_mm": error_x,
            "error_y_mm": error_y,
            "range_x_mm": ranges[0],
            "range_y_mm": ranges[1],
            "lean_mm": lean,
            "range_lean_mm": k * u_lean,
        }

    def _placed(self, decal: SheetDecal, at: Array, sides: Array, local: _Local) -> MeasuredDecal:
        """Shift of the decal's middle and its turn, with their 95 % ranges."""
        x, y = float(at[0]), float(at[1])
        r, mean, step = self.fit.shape.ratio, self.common.error, local.step
        u_ratio, u_skew = self._u_shape()
        k = coverage_factor(self.fit.shape.freedom)
        u_mean, longest = self.common.u, float(sides.max())
        skew = self.fit.shape.skew
        # Its longer side shows best how a decal is turned.
        part, sign = (4, 1.0) if sides[0] >= sides[1] else (3, -1.0)
        turn = sign * float(step[part])
        u_x = math.hypot(local.u(0), x * u_mean, x * u_ratio, y * u_skew)
        u_y = math.hypot(local.u(1), y * u_mean, y * u_ratio)
        return MeasuredDecal(
            decal.name,
            decal.copy,
            Verdict.OPEN,
            off_x_mm=(mean - r / 2) * x + skew * y + float(step[0]),
            off_y_mm=(mean + r / 2) * y + float(step[1]),
            range_off_x_mm=k * u_x,
            range_off_y_mm=k * u_y,
            turn_deg=None if local.round else math.degrees(turn),
            turn_mm=None if local.round else turn * longest,
            range_turn_mm=0.0 if local.round else k * local.u(part, times=longest),
        )

    def _u_shape(self) -> tuple[float, float]:
        """Standard uncertainties of half the ratio and of the skew, parts of one."""
        (ratio, _), (_, skew) = self.fit.shape.covariance
        return math.sqrt(ratio) / 2, math.sqrt(skew)

    def _local(self, mine: npt.NDArray[np.bool_], middle: Array, side: float) -> _Local:
        points, normals, found = [], [], []
        for seen, residual in zip(self.seen, self.fit.residuals_mm, strict=True):
            chosen = seen & mine
            points.append(self.samples.points[chosen] - middle)
            normals.append(self.samples.normals[chosen])
            found.append(residual[mine[seen]])
        p, n = np.vstack(points), np.vstack(normals)
        # What its lines do not show stays open by some mm.
        lean = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 0.0]) * units_of(side) / _OWN_LEAN
        known = np.eye(6) / _OPEN_MM**2 + np.outer(lean, lean)
        step, covariance = own_step(p, n, np.concatenate(found), side_mm=side, known=known)
        design = design_of(p, n)
        spin, shear = (
            float(np.linalg.norm(design @ np.array([0, 0, 0, sign, 1, 0]))) for sign in (-1, 1)
        )
        return _Local(step, covariance, spin < _ROUND * shear)

    def _judged(self, d: MeasuredDecal) -> MeasuredDecal:
        """The decal with its verdicts: on size and lean, on place, and both together."""
        size = {
            "width": self._verdict(d.error_x_mm, d.range_x_mm),
            "height": self._verdict(d.error_y_mm, d.range_y_mm),
            "lean": self._verdict(d.lean_mm, d.range_lean_mm),
        }
        place = {
            "place": max(
                self._verdict(d.off_x_mm, d.range_off_x_mm),
                self._verdict(d.off_y_mm, d.range_off_y_mm),
                key=_GRAVITY.index,
            ),
            # An end of the decal moves by half of what its whole length does.
            "turn": self._verdict((d.turn_mm or 0.0) / 2, d.range_turn_mm / 2),
        }
        faults = tuple(name for name, v in (size | place).items() if v is Verdict.BAD)
        shape = max(size.values(), key=_GRAVITY.index)
        where = max(place.values(), key=_GRAVITY.index)
        # A place that cannot be told matters to a cutting machine only: it is told, not held back.
        verdict = Verdict.BAD if faults else shape
        return replace(d, verdict=verdict, place=where, faults=faults)

    def _verdict(self, error: float, uncertain: float) -> Verdict:
        if abs(error) - uncertain > self.tolerance_mm:
            return Verdict.BAD
        if self.judging and abs(error) + uncertain <= self.tolerance_mm:
            return Verdict.GOOD
        return Verdict.OPEN


_GRAVITY = (Verdict.GOOD, Verdict.OPEN, Verdict.BAD)
