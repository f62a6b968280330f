"""Judging decals one by one: each decal's own shift, stretch and turn from what its lines show."""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from decalprep.calibration import ShapeFit, coverage_factor
from decalprep.scan.findings import MeanScale, MeasuredDecal, Point, SheetDecal, Verdict
from decalprep.scan.lines import Samples

Array = npt.NDArray[np.float64]

_LEAST_SHARE = 0.5
_LINE_U_MM = 0.01


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
        """What one decal measures."""
        mine = self.samples.owners == number
        # Turned, the sheet hangs over the glass: seen well in one scan is seen.
        share = max(float(seen[mine].mean()) for seen in self.seen) if mine.any() else 0.0
        if share < _LEAST_SHARE:
            return MeasuredDecal(decal.name, decal.copy, Verdict.UNSEEN, seen_share=share)
        box = np.array(decal.outline)
        width, height = np.ptp(box, axis=0)
        middle = (box.min(axis=0) + box.max(axis=0)) / 2
        local, u_local = self._local(mine, middle, float(max(width, height)))
        r, mean = self.fit.shape.ratio, self.common.error
        scale_x = mean - r / 2 + local[2]
        scale_y = mean + r / 2 + local[5]
        u_ratio = math.sqrt(self.fit.shape.covariance[0][0]) / 2
        k = coverage_factor(self.fit.shape.freedom)
        ranges = [
            k * math.sqrt(u_local**2 + (side * u_ratio) ** 2 + (side * self.common.u) ** 2)
            for side in (width, height)
        ]
        errors = (float(scale_x * width), float(scale_y * height))
        off = self._off(middle, size_mm, local)
        return MeasuredDecal(
            decal.name,
            decal.copy,
            self._verdict(errors, ranges),
            float(width + errors[0]),
            float(height + errors[1]),
            errors[0],
            errors[1],
            ranges[0],
            ranges[1],
            off[0],
            off[1],
            share,
        )

    def _local(
        self, mine: npt.NDArray[np.bool_], middle: Array, side: float
    ) -> tuple[Array, float]:
        """((dx, dy, and the 2 x 2 gradient), standard uncertainty of a size in mm)."""
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
        # Lines err together over about 10 mm: each such piece counts once; two edges make a size.
        u = math.hypot(spread, _LINE_U_MM) * math.sqrt(2) / math.sqrt(max(pieces / 4, 1))
        local: Array = step * unit
        return local, u

    def _off(self, middle: Array, size_mm: Point, local: Array) -> tuple[float, float]:
        x, y = middle - np.array(size_mm) / 2
        r, k, mean = self.fit.shape.ratio, self.fit.shape.skew, self.common.error
        return (
            float((mean - r / 2) * x + k * y + local[0]),
            float((mean + r / 2) * y + local[1]),
        )

    def _verdict(self, errors: Sequence[float], ranges: Sequence[float]) -> Verdict:
        worst = [abs(e) for e in errors]
        if any(w - u > self.tolerance_mm for w, u in zip(worst, ranges, strict=True)):
            return Verdict.BAD
        if self.judging and all(
            w + u <= self.tolerance_mm for w, u in zip(worst, ranges, strict=True)
        ):
            return Verdict.GOOD
        return Verdict.OPEN
