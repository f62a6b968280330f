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

Array = npt.NDArray[np.float64]

_LEAST_SHARE = 0.5
_LINE_U_MM = 0.01
_ROUND = 0.15
"""An outline that a turn moves across itself by less than this share of what lean does is round."""


@dataclass(frozen=True)
class _Local:
    """What one decal's lines leave beside the sheet's shape.

    ``step`` is its shift (mm) and 2 x 2 gradient row by row; ``u_mm`` the standard uncertainty of
    where one of its four sides lies; ``round`` says that it shows no turn.
    """

    step: Array
    u_mm: float
    round: bool


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
        # Two sides make a size; a side's slope is known to sqrt(6) of its place over its length.
        u_size, u_slope = local.u_mm * math.sqrt(2), local.u_mm * math.sqrt(6)
        ranges = [
            k * math.sqrt(u_size**2 + (side * u_ratio) ** 2 + (side * self.common.u) ** 2)
            for side in (width, height)
        ]
        # Turning the decal as it is laid takes out what a lean does along its longer side.
        short = min(width, height)
        lean = (self.fit.shape.skew + float(step[3] + step[4])) * short
        u_lean = math.hypot(u_slope * math.hypot(1, short / max(width, height)), short * u_skew)
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
        u_side, u_mean = local.u_mm / math.sqrt(2), self.common.u
        skew = self.fit.shape.skew
        # Its longer side shows best how a decal is turned.
        turn = float(step[4] if sides[0] >= sides[1] else -step[3])
        u_x = math.hypot(u_side, x * u_mean, x * u_ratio, y * u_skew)
        u_y = math.hypot(u_side, y * u_mean, y * u_ratio)
        return MeasuredDecal(
            decal.name,
            decal.copy,
            Verdict.OPEN,
            off_x_mm=(mean - r / 2) * x + skew * y + float(step[0]),
            off_y_mm=(mean + r / 2) * y + float(step[1]),
            range_off_x_mm=k * u_x,
            range_off_y_mm=k * u_y,
            turn_deg=None if local.round else math.degrees(turn),
            turn_mm=None if local.round else turn * float(sides.max()),
            range_turn_mm=k * local.u_mm * math.sqrt(6),
        )

    def _u_shape(self) -> tuple[float, float]:
        """Standard uncertainties of half the ratio and of the skew, parts of one."""
        (ratio, _), (_, skew) = self.fit.shape.covariance
        return math.sqrt(ratio) / 2, math.sqrt(skew)

    def _local(self, mine: npt.NDArray[np.bool_], middle: Array, side: float) -> _Local:
        rows, found, groups = [], [], []
        for seen, residual in zip(self.seen, self.fit.residuals_mm, strict=True):
            chosen = seen & mine
            p = self.samples.points[chosen] - middle
            n = self.samples.normals[chosen]
            design = [n[:, 0], n[:, 1], n[:, 0] * p[:, 0], n[:, 0] * p[:, 1]]
            design += [n[:, 1] * p[:, 0], n[:, 1] * p[:, 1]]
            rows.append(np.column_stack(design))
            found.append(residual[mine[seen]])
            groups.append(np.floor(p / 10.0) @ np.array([1.0, 1000.0]))
        design_all, d = np.vstack(rows), np.concatenate(found)
        # In units of the decal's size, so that all unknowns weigh alike; a circle has no turn.
        unit = np.array([1, 1, *(2 / side,) * 4])
        step = np.zeros(6)
        for _ in range(8):
            left = d - design_all * unit @ step
            spread = max(1.5 * float(np.median(np.abs(left))), 0.005)
            weight = np.clip(1 - (left / (4 * spread)) ** 2, 0, None)
            weighted = design_all * unit * weight[:, None]
            step = np.linalg.lstsq(weighted, d * weight, rcond=1e-4)[0]
        pieces = max(len(np.unique(np.concatenate(groups))), 4)
        # Lines err together over about 10 mm: each such piece counts once, a quarter on each side.
        u = math.hypot(spread, _LINE_U_MM) / math.sqrt(max(pieces / 4, 1))
        step = np.asarray(step * unit, dtype=np.float64)
        spin, shear = (
            float(np.linalg.norm(design_all @ np.array([0, 0, 0, sign, 1, 0]))) for sign in (-1, 1)
        )
        if spin > _ROUND * shear:
            return _Local(step, u, False)
        step[3], step[4] = step[3] + step[4], 0.0
        return _Local(step, u, True)

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
