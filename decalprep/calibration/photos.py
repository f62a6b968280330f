"""Disc places from photographs to the printer's shape error: y/x ratio and skew, camera solved for.

One photograph tells nothing. Four or more of the same page, tilted in several directions, let
camera and page be solved for together (``bundle``). The size cannot be seen: a rule must give it.

Uncertainty: residuals grouped by the page's rows, and by its columns, over all views together
(as in ``scans``: what the printer did to a row is seen by every view), plus what camera and page
are not known by. How far focus and image middle moved between views is found from the photographs:
the answers for several amounts are weighed by how likely each makes them (Laplace's approximation),
and how far those answers differ goes into the covariance.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from decalprep.calibration.bundle import (
    OWN,
    SHARED,
    UNREST,
    Bundle,
    Linear,
    Taken,
    View,
    bend_mm,
    solved,
    start,
)
from decalprep.calibration.estimate import ShapeFinding
from decalprep.calibration.leastsquares import Array
from decalprep.errors import ReadingsRefused
from decalprep.model import Notice

LEAST_PHOTOS = 4
"""Three have as many equations as unknowns, with nothing left to tell a bad one by."""
LEAST_TILT_DEG = 12.0
LARGEST_BEND_MM = 4.0
LARGEST_SCATTER_MM = 0.1
RESTLESS = 0.6
"""Where focus wanders so, what the printer did to a page and what the camera did mix."""
_FIRST_SCATTER = 5e-5
_OUT_OF_LINE = 3.0
_ADVICE = (
    "lay the page flat on a table, lock focus and exposure, and take four or five photographs that "
    "the page fills, tilted 20 to 40 degrees from the left, the right, the near and the far side"
)


@dataclass(frozen=True)
class PhotoPoints:
    """Where the discs of one page lie in one photograph.

    ``page_mm``: meant places from the sheet's middle, y up. ``image_px``: found centroids from the
    picture's middle, y up. ``rows`` and ``columns`` group the discs. ``camera`` names camera, lens
    and zoom as far as the file does.
    """

    source: str
    page_mm: tuple[tuple[float, float], ...]
    image_px: tuple[tuple[float, float], ...]
    rows: tuple[int, ...]
    columns: tuple[int, ...]
    image_size_px: tuple[int, int]
    page: str = ""
    code: str = ""
    camera: str = ""
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class PhotoFit:
    """The finding, and what was found out on the way.

    ``tilts_deg`` of each photograph against straight above; ``bend_mm`` from the page's lowest to
    its highest disc; ``scatters_mm`` of a disc of each about the fit (rms of one coordinate).
    ``unrest`` is how far focus and image middle moved from one to the next, 1 being a lot.
    """

    shape: ShapeFinding
    tilts_deg: tuple[float, ...]
    bend_mm: float
    unrest: float
    scatters_mm: tuple[float, ...]

    @property
    def scatter_mm(self) -> float:
        """The same of all together."""
        return math.sqrt(sum(s**2 for s in self.scatters_mm) / len(self.scatters_mm))


def shape_from_photos(
    photos: Sequence[PhotoPoints], *, disc_mm: float, rule_u: tuple[float, float]
) -> PhotoFit:
    """y/x ratio error and skew of a printed page (parts of one) from four photographs or more.

    ``disc_mm`` is the discs' diameter; ``rule_u`` what a plain rule would know ratio and skew by:
    photographs that know less are refused. Does not give the size.

    Raises:
        ReadingsRefused: too few, of different pages or cameras, one twice; tilted too little or all
            one way, a page that is bent or moved, or an answer less certain than a rule's.
    """
    _refuse_useless(photos)
    views = [_view(p) for p in photos]
    bundle, sigma = _first(views, disc_mm / 2)
    fit = _finding(photos, views, bundle, sigma, disc_mm / 2)
    reasons = _reasons(photos, bundle, fit)
    variances = [fit.shape.covariance[i][i] for i in (0, 1)]
    if not all(0.0 < v < math.inf for v in variances):  # or no number at all
        reasons.insert(0, "no camera and no page explain the photographs")
    if reasons:
        raise ReadingsRefused("; ".join(reasons), do=_ADVICE)
    u = [math.sqrt(v) for v in variances]
    if any(mine > rules for mine, rules in zip(u, rule_u, strict=True)):
        told = (
            "the photographs know the page's shape less well than a plain rule would: "
            + ", ".join(
                f"{name} to {500 * mine:.2f} mm over 250 mm against {500 * rules:.2f}"
                for name, mine, rules in zip(("up against across", "lean"), u, rule_u, strict=True)
            )
        )
        raise ReadingsRefused(told, do=_ADVICE)
    return fit


def _view(photo: PhotoPoints) -> View:
    side = max(photo.image_size_px)
    return View(
        np.array(photo.page_mm),
        np.array(photo.image_px) / side,
        np.array(photo.rows),
        np.array(photo.columns),
    )


def _first(views: Sequence[View], rho_mm: float) -> tuple[Bundle, float]:
    """The unknowns of a steady camera, and the scatter of a place in image widths.

    Steady first: let free at once, the unknowns of a camera that kept still can wander off.
    """
    bundle, _ = solved(start(views), views, Taken(rho_mm, _FIRST_SCATTER, UNREST[1]))
    _, linear = solved(bundle, views, Taken(rho_mm, _FIRST_SCATTER))
    free = 2 * sum(len(v.page) for v in views) - SHARED - OWN * len(views)
    square = sum(float(np.sum(e**2)) for e in linear.residuals)
    return bundle, math.sqrt(square / max(free, 1))


def _finding(
    photos: Sequence[PhotoPoints],
    views: Sequence[View],
    bundle: Bundle,
    sigma: float,
    rho_mm: float,
) -> PhotoFit:
    values, variances, likely = [], [], []
    for unrest in UNREST:
        bundle, linear = solved(bundle, views, Taken(rho_mm, sigma, unrest))
        values.append(bundle.shared[:2])
        variances.append(_variances(views, linear, sigma))
        # What the printer did to the page misfits every view alike: half the weight of white noise.
        likely.append(-(linear.cost + linear.log_volume) / 4)
    weights = np.exp(np.array(likely) - max(likely))
    weights /= weights.sum()
    mean = weights @ np.array(values)
    data, left_open = (weights @ np.array([v[part] for v in variances]) for part in (0, 1))
    left_open = left_open + weights @ (np.array(values) - mean) ** 2
    variance = data + left_open
    groups = len(set(views[0].rows.tolist())) + len(set(views[0].columns.tolist()))
    # Welch and Satterthwaite: discs are many, views are few.
    freedom = variance**2 / (data**2 / max(groups - 2, 1) + left_open**2 / len(views))
    r, k = float(mean[0]), float(mean[1])
    per_width = bundle.own[:, 5] / math.exp(float(bundle.shared[2]))
    scatters = [
        float(np.sqrt(np.mean(e**2)) * mm)
        for e, mm in zip(linear.residuals, per_width, strict=True)
    ]
    shape = ShapeFinding(
        (1 + r / 2) / (1 - r / 2) - 1,
        k,
        ((float(variance[0]), 0.0), (0.0, float(variance[1]))),
        float(np.min(freedom)),
        tuple(n for p in photos for n in p.notices),
        "photos",
    )
    bend = _bend(bundle, np.vstack([v.page for v in views]))
    unrest = float(weights @ np.array(UNREST))
    return PhotoFit(shape, _tilts(bundle), bend, unrest, tuple(scatters))


def _bend(bundle: Bundle, page: Array) -> float:
    """How far the page's surface leaves a plane at its discs, lowest to highest, in mm."""
    z = bend_mm(bundle.shared, page)[0]
    # The plane through the discs is the table: what is left of the surface is the bend.
    flat = np.column_stack([np.ones(len(page)), page])
    return float(np.ptp(z - flat @ np.linalg.lstsq(flat, z, rcond=None)[0]))


def _variances(views: Sequence[View], linear: Linear, sigma: float) -> tuple[Array, Array]:
    """Variances of ratio and skew: by grouped residuals, and what the priors leave open."""
    inverse = np.linalg.inv(linear.shared_matrix)
    open_part = linear.shared_matrix - sum(j.T @ j for j in linear.reduced)
    worst = np.zeros(2)
    for by_rows in (True, False):
        groups: dict[int, Array] = {}
        for view, j, e in zip(views, linear.reduced, linear.residuals, strict=True):
            scores = (j * (e.ravel() / sigma)[:, None]).reshape(len(e), 2, -1).sum(axis=1)
            names = view.rows if by_rows else view.columns
            for name, score in zip(names.tolist(), scores, strict=True):
                groups[name] = groups.get(name, np.zeros(SHARED)) + score
        scores = np.array(list(groups.values()))
        data = scores.T @ scores * len(scores) / (len(scores) - 1)
        worst = np.maximum(worst, np.diag(inverse @ data @ inverse)[:2])
    return worst, np.asarray(np.diag(inverse @ open_part @ inverse)[:2])


def _tilts(bundle: Bundle) -> tuple[float, ...]:
    """Angle in degrees between each line of sight to the page's middle and straight above it."""
    found = []
    for own, turn in zip(bundle.own, bundle.turns, strict=True):
        cosine = abs(float(turn[:, 2] @ own[3:6])) / float(np.linalg.norm(own[3:6]))
        found.append(math.degrees(math.acos(min(cosine, 1.0))))
    return tuple(found)


def _refuse_useless(photos: Sequence[PhotoPoints]) -> None:
    if len(photos) < LEAST_PHOTOS:
        one = "one photograph tells" if len(photos) == 1 else f"{len(photos)} photographs tell"
        raise ReadingsRefused(f"{one} nothing about a page: camera and page mix", do=_ADVICE)
    if len({p.page for p in photos}) > 1 or len({p.code for p in photos if p.code}) > 1:
        raise ReadingsRefused(
            "the photographs show different pages", do="photograph one and the same printed page"
        )
    sizes = sorted({p.image_size_px for p in photos})
    cameras = sorted({p.camera for p in photos if p.camera})
    if len(sizes) > 1 or len(cameras) > 1:
        seen = [f"{w} x {h} pixels" for w, h in sizes] if len(sizes) > 1 else cameras
        raise ReadingsRefused(
            "the photographs are not of one camera, lens and zoom: " + ", ".join(seen),
            do="take all with the same lens, without zoom, cropping or turning afterwards",
        )
    for i, a in enumerate(photos):
        for b in photos[:i]:
            if a.image_px == b.image_px:
                raise ReadingsRefused(
                    f"{a.source} and {b.source} are the same photograph", do=_ADVICE
                )


def _reasons(photos: Sequence[PhotoPoints], bundle: Bundle, fit: PhotoFit) -> list[str]:
    """What is wrong with the photographs, in words, as far as it shows."""
    reasons = []
    tilted = [t for t in fit.tilts_deg if t >= LEAST_TILT_DEG]
    if len(tilted) < 3:
        shown = ", ".join(f"{t:.0f}" for t in fit.tilts_deg)
        reasons.append(f"too few are tilted ({shown} degrees)")
    elif _one_way(bundle):
        reasons.append("they are all tilted along one line")
    if fit.bend_mm > LARGEST_BEND_MM:
        reasons.append(f"the page is bent by {fit.bend_mm:.0f} mm")
    if fit.scatter_mm > LARGEST_SCATTER_MM:
        off = f"{fit.scatter_mm:.2f} mm" if fit.scatter_mm < 1 else "millimetres"
        reasons.append(
            f"the discs lie {off} off any gently bent page seen through one lens: the page moved, "
            "is folded, or a picture was edited"
        )
    if fit.unrest > RESTLESS:
        reasons.append("focus or zoom changed from one to the next")
    middle = sorted(fit.scatters_mm)[len(photos) // 2]
    odd = zip(photos, fit.scatters_mm, strict=True)
    return reasons + [
        f"{p.source} fits the others badly" for p, mm in odd if mm > _OUT_OF_LINE * middle
    ]


def _one_way(bundle: Bundle) -> bool:
    """Whether the cameras stood along one line over the page."""
    # The camera's place over the page, as directions in the page's plane.
    spots = np.array(
        [
            (turn.T @ own[3:6])[:2] / np.linalg.norm(own[3:6])
            for own, turn in zip(bundle.own, bundle.turns, strict=True)
        ]
    )
    across = np.linalg.svd(spots - spots.mean(axis=0), compute_uv=False)
    return bool(across[1] < math.sin(math.radians(LEAST_TILT_DEG)) / 2)
