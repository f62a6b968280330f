"""What is uncertain about laying a part on its print: the print's own place, and the glass between.

A print of which a side is not seen may be stretched or leaning there, and a scanner is not even
all over its glass. Both are a shift and a gradient that are known so and so well; laying the part
by shift and turn takes out what a hand would take out, and what is left widens the ranges.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.errors import InputProblem
from decalprep.scan.images import ScanImage
from decalprep.scan.lines import Samples, look_in_all
from decalprep.scan.own_step import own_step
from decalprep.scan.placing import Placed

Array = npt.NDArray[np.float64]

UNEVEN_MM = 0.15
"""So far a length of 100 mm differs between two places of a scanner's glass that are 100 mm apart,
standard uncertainty (assumed, no source: lens errors of up to some tenths of a millimetre at the
ends of the sensor, a carriage that runs unevenly)."""
LEAST_SEEN = 0.5
"""Of a decal's cut line less than this tells nothing of it."""
_NEAR_MM = 0.4
_OWN_MM = 0.15
"""Standard deviation of a decal's own stretch, over half its longer side, beside the sheet's (lens
and feed, assumed): what is not seen of it is as open as that."""
_ANY_STRETCH = 0.01
"""Standard deviation of what the sheet as a whole may be stretched by where its lines do not show
it: as far as dialogs, printers and dpi tags go (assumed)."""
_ROUNDS = 3


@dataclass(frozen=True)
class OwnPlace:
    """The map (2 x 3) from sheet mm to px at one decal, and how surely it is known.

    ``covariance`` is of its shift in mm and gradient row by row, about ``middle``; ``share`` of the
    decal's line is seen.
    """

    image_from_mm: Array
    middle: Array
    covariance: Array
    share: float

    def wider(self, uneven: float) -> "OwnPlace":
        """The same with a gradient that is uncertain by so much more, parts of one."""
        more = np.diag([0.0, 0.0, *(uneven**2,) * 4])
        return OwnPlace(self.image_from_mm, self.middle, self.covariance + more, self.share)


def sheet_gradient(placed: Placed, samples: Samples) -> Array:
    """Covariance (4 x 4) of the gradient of a sheet's place, row by row, by its lines seen."""
    across = placed.across
    seen = across.seen & (np.abs(across.offsets_mm) < _NEAR_MM)
    points = samples.points[seen]
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    side = float(np.ptp(points, axis=0).max())
    known = np.diag([1.0, 1.0, *((2 / side / _ANY_STRETCH) ** 2,) * 4])
    found = across.offsets_mm[seen]
    return own_step(points - middle, samples.normals[seen], found, side_mm=side, known=known)[1][
        2:, 2:
    ]


def own_place(scan: ScanImage, image_from_mm: Array, samples: Samples, gradient: Array) -> OwnPlace:
    """Where one decal of a sheet lies in its scan, from where the sheet as a whole says.

    ``gradient``: covariance (4 x 4) of what the sheet says of stretch, lean and turn.

    Raises:
        InputProblem: less than half of the decal's cut line is seen.
    """
    middle = (samples.points.min(axis=0) + samples.points.max(axis=0)) / 2
    side = float(np.ptp(samples.points, axis=0).max())
    known = np.eye(6)
    known[2:, 2:] = np.linalg.inv(np.eye(4) * _OWN_MM**2 + gradient * (side / 2) ** 2)
    covariance, share = np.eye(6), 0.0
    for _ in range(_ROUNDS):
        across = look_in_all(scan.views, image_from_mm, samples, reach_mm=0.5)
        seen = across.seen & (np.abs(across.offsets_mm) < _NEAR_MM)
        share = float(seen.mean())
        if share < LEAST_SEEN:
            raise InputProblem(
                f"shows only {100 * share:.0f} % of the decal's cut line",
                where=scan.name,
                do="scan the whole decal at 300 dpi in colour",
            )
        points, normals = samples.points[seen] - middle, samples.normals[seen]
        step, covariance = own_step(
            points, normals, across.offsets_mm[seen], side_mm=side, known=known
        )
        linear = np.eye(2) + step[2:].reshape(2, 2)
        shift = step[:2] - (linear - np.eye(2)) @ middle
        old = image_from_mm[:, :2]
        image_from_mm = np.column_stack([old @ linear, old @ shift + image_from_mm[:, 2]])
    return OwnPlace(image_from_mm, middle, covariance, share)


class Left:
    """What is left of the place's uncertainty once the part is laid on it by shift and turn."""

    def __init__(self, place: OwnPlace, laid_by: Array) -> None:
        """``laid_by``: the points (sheet mm) that the part was laid by."""
        self.place = place
        self.fields = _fields(laid_by - place.middle)
        self.rigid = _rigid(laid_by - place.middle)
        flat = self.rigid.reshape(-1, 3)
        # (3 x 6): the shift and turn that best follow each unknown.
        self.followed = np.linalg.lstsq(flat, self.fields.reshape(-1, 6), rcond=None)[0]

    def at(self, points: Array) -> Array:
        """Covariances (n x 2 x 2) of the places at points, mm2."""
        q = points - self.place.middle
        left = _fields(q) - _rigid(q) @ self.followed
        return np.asarray(left @ self.place.covariance @ left.transpose(0, 2, 1))

    def u_mm(self, points: Array) -> Array:
        """Standard uncertainty at each point in the direction where it is largest, mm."""
        largest = np.linalg.eigvalsh(self.at(points))[:, -1]
        return np.asarray(np.sqrt(np.maximum(largest, 0.0)))

    def u_across_mm(self, points: Array, outward: Array) -> Array:
        """The same along a direction at each point."""
        square = np.einsum("ni,nij,nj->n", outward, self.at(points), outward)
        return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _fields(q: Array) -> Array:
    """How each unknown (shift x, y; gradient row by row) moves points: (n x 2 x 6)."""
    (x, y), one, no = q.T, np.ones(len(q)), np.zeros(len(q))
    across = np.column_stack([one, no, x, y, no, no])
    return np.stack([across, np.column_stack([no, one, no, no, x, y])], axis=1)


def _rigid(q: Array) -> Array:
    """How shift x, shift y and a small turn move points: (n x 2 x 3)."""
    (x, y), one, no = q.T, np.ones(len(q)), np.zeros(len(q))
    return np.stack([np.column_stack([one, no, -y]), np.column_stack([no, one, x])], axis=1)


def uneven_share(apart_mm: float, uneven_mm: float) -> float:
    """How far scales differ between two places of the glass, standard uncertainty, parts of one.

    In proportion to how far apart they are: that is how an error that changes slowly behaves.

    >>> round(uneven_share(60.0, 0.15), 6)
    0.0009
    """
    return uneven_mm / 100.0 * apart_mm / 100.0


def range_mm(own_u_mm: float, place_u_mm: float) -> float:
    """The 95 % range in mm of two uncertainties together."""
    return 2 * math.hypot(own_u_mm, place_u_mm)
