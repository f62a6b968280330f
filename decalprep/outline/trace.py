"""The edge of a picture traced to a fraction of a pixel."""

import math
from dataclasses import dataclass

import numpy as np

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Box, Path, Point, circle_path, fit_circle, polygon_path
from decalprep.model import Artwork
from decalprep.outline.advice import edge_advice
from decalprep.outline.arcfit import smoothed
from decalprep.outline.picture import Numbers, Picture, draw
from decalprep.units import MM_PER_IN

PAPER_FROM = 0.96
"""Corners at least this light (or unpainted) are paper round the picture."""
ONE_PIECE_SHARE = 0.9
"""The traced piece must hold this share of everything painted, or there is no one edge."""


@dataclass(frozen=True)
class Traced:
    """The edge in mm (artwork frame), how far it may be off, and the pixel it rests on in mm."""

    path: Path
    error_mm: float
    pixel_mm: float


def trace_edge(artwork: Artwork, *, dpi: float = 600.0) -> Traced:
    """The outer edge of what the page shows, in artwork mm, to a fraction of a pixel.

    A raster is traced at its own pixels. The stated error is half the coarser of a drawn pixel and
    a pixel of the source picture, or how far the tidied path leaves the traced points if that is
    more; a blurred or shadowed edge is worse.
    Does not find an edge where the picture fills its page.

    Raises:
        InputProblem: the picture fills its page, is blank, or falls into several pieces.
    """
    page = Box(0, 0, artwork.width_mm, artwork.height_mm)
    if artwork.pixels:  # pixel on pixel: steps of enlarged pixels are no edge
        dpi = (
            max(artwork.pixels[0] / artwork.width_mm, artwork.pixels[1] / artwork.height_mm)
            * MM_PER_IN
        )
    dpi = min(dpi, math.sqrt(60_000_000 / max(page.area, 1.0)) * MM_PER_IN)
    picture = draw(artwork, Affine(), page.grown(2 * MM_PER_IN / dpi), dpi=dpi)
    cover = _cover(picture, artwork)
    ring = largest_ring(cover, artwork)
    pixel = picture.mm_per_px
    if artwork.pixels:
        pixel = max(
            pixel, artwork.width_mm / artwork.pixels[0], artwork.height_mm / artwork.pixels[1]
        )
    points = picture.decal_from_px.apply_all(ring)
    path = tidied(points, pixel)
    return Traced(path, max(pixel / 2, _farthest(points, path)), pixel)


def _farthest(points: list[Point], path: Path) -> float:
    """Largest distance in mm of a traced point from the path laid through the points."""
    from shapely import distance
    from shapely import points as as_points

    return float(distance(as_points(np.asarray(points)), path.polygon().exterior).max())


def trace_openings(artwork: Artwork, *, smallest_mm: float) -> tuple[tuple[Path, ...], float]:
    """(closed paths in artwork mm round see-through openings in a picture, the pixel in mm).

    Only transparent openings count: white inside a picture may be legend. Those narrower than
    ``smallest_mm`` are left out.
    """
    import cv2

    if not artwork.pixels:
        return (), 0.0
    page = Box(0, 0, artwork.width_mm, artwork.height_mm)
    dpi = artwork.pixels[0] / artwork.width_mm * MM_PER_IN
    picture = draw(artwork, Affine(), page.grown(2 * MM_PER_IN / dpi), dpi=dpi)
    cover: Numbers = picture.rgba[..., 3].astype(np.float32) / np.float32(255)
    slope = slopes(cover)
    solid = (cover >= 0.5).astype(np.uint8)
    contours, tree = cv2.findContours(solid, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    found = []
    for contour, node in zip(contours, tree[0] if contours else (), strict=True):
        _, _, columns, rows = cv2.boundingRect(contour)
        if node[3] < 0 or min(columns, rows) * picture.mm_per_px < smallest_mm:
            continue
        ring = half_level(cover, contour[:, 0, :].astype(np.float64), slope)
        points = picture.decal_from_px.apply_all(ring)
        found.append(tidied(points, picture.mm_per_px))
    return tuple(found), picture.mm_per_px


def _cover(picture: Picture, artwork: Artwork) -> Numbers:
    """How far each pixel is from paper, 0 to 1, paper being what lies at the corners."""
    edge = 3  # past the two-pixel rim that was drawn round the page
    inner = picture.rgba[edge:-edge, edge:-edge, 3]
    if float(np.mean(inner < 128)) > 0.002:
        return picture.rgba[..., 3].astype(np.float64) / 255
    rgb = picture.paper
    corners = [rgb[r, c] for r in (edge, -edge - 1) for c in (edge, -edge - 1)]
    if min(float(c.min()) for c in corners) < PAPER_FROM * 255:
        raise InputProblem(
            "the picture fills its page, so it shows no edge to cut along",
            where=artwork.source,
            do=edge_advice(artwork),
        )
    paper = np.median(np.array(corners), axis=0)
    away: Numbers = np.abs(rgb.astype(np.float64) - paper).max(axis=2)
    cover: Numbers = np.minimum(away / max(float(np.percentile(away, 99)), 1.0), 1.0)
    return cover


def largest_ring(cover: Numbers, artwork: Artwork) -> list[Point]:
    """Points (column, row) round the largest painted piece, where the cover passes one half.

    Raises:
        InputProblem: blank, or no piece holds nine tenths of what is painted.
    """
    import cv2

    solid = (cover >= 0.5).astype(np.uint8)
    contours, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        raise InputProblem(
            "the picture is blank",
            where=artwork.source,
            do="check the file" if artwork.pixels else "check the file and its layers",
        )
    best = max(contours, key=cv2.contourArea)
    whole = np.zeros_like(solid)
    cv2.drawContours(whole, [best], -1, 1, thickness=-1)
    share = float((solid & whole).sum()) / float(solid.sum())
    if share < ONE_PIECE_SHARE or cv2.contourArea(best) < 100:
        raise InputProblem(
            f"the picture shows {len(contours)} separate pieces (the largest holds "
            f"{100 * share:.0f} % of what is painted), so no one edge can be traced",
            where=artwork.source,
            do=edge_advice(artwork, pieces=True),
        )
    return half_level(cover, best[:, 0, :].astype(np.float64))


def slopes(cover: Numbers) -> tuple[Numbers, Numbers]:
    """How the cover, a little smoothed, changes across and down: the edge's normals."""
    import cv2

    smooth = cv2.GaussianBlur(cover.astype(np.float32), (0, 0), 1.0)
    across: Numbers = np.asarray(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), dtype=np.float32)
    down: Numbers = np.asarray(cv2.Sobel(smooth, cv2.CV_32F, 0, 1), dtype=np.float32)
    return across, down


def half_level(
    cover: Numbers, contour: Numbers, slope: tuple[Numbers, Numbers] | None = None
) -> list[Point]:
    """The contour's pixels moved along the edge normal to where the cover is one half.

    Pixel centres lie at half numbers in the result. A crossing is looked for within two pixels.
    ``slope`` may be handed in for many contours of one picture.
    """
    import cv2

    gx, gy = slope or slopes(cover)
    columns, rows = contour[:, 0].astype(int), contour[:, 1].astype(int)
    normal = np.stack([-gx[rows, columns], -gy[rows, columns]], axis=1)
    length = np.hypot(normal[:, 0], normal[:, 1])
    keep = length > 1e-6
    contour, normal = contour[keep], normal[keep] / length[keep, None]
    steps = np.linspace(-2, 2, 33)
    at = contour[:, None, :] + steps[None, :, None] * normal[:, None, :]
    profile = cv2.remap(
        cover if cover.dtype == np.float32 else cover.astype(np.float32),
        at[..., 0].astype(np.float32),
        at[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    falls = (profile[:, :-1] >= 0.5) & (profile[:, 1:] < 0.5)
    has = falls.any(axis=1)
    # the crossing nearest the contour pixel itself
    order = np.abs(steps[:-1] + 0.06)
    first = np.where(falls, order, np.inf).argmin(axis=1)
    index = np.arange(len(contour))
    high, low = profile[index, first], profile[index, first + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(high > low, (high - 0.5) / (high - low), 0.0)
    offset = np.where(has, steps[first] + part * (steps[1] - steps[0]), 0.0)
    moved = contour + offset[:, None] * normal + 0.5
    return [(float(x), float(y)) for x, y in moved]


def tidied(points: list[Point], pixel: float) -> Path:
    """A ring of traced points (mm) as circle, straight sides and arcs; ``pixel`` in mm.

    Straight sides of ten pixels or more are fitted through all their points and meet in sharp
    corners where two of them follow each other.
    """
    from shapely.geometry import Polygon

    circle, error = fit_circle(points)
    whole = float(Polygon(points).area) > 0.8 * math.pi * circle.radius**2
    if whole and error <= 0.6 * pixel:
        return circle_path(circle.x, circle.y, circle.diameter)
    corners = _straightened(points, pixel)
    if len(corners) >= 3 and _fits(points, corners, pixel):
        return polygon_path(corners)
    path = smoothed(points, 0.75 * pixel)
    true, ring = Polygon(points), path.points()
    if len(set(ring)) >= 3:
        laid = Polygon(ring)
        if laid.is_valid and abs(laid.area - true.area) <= 2 * pixel * true.length:
            return path
    corners = list(true.simplify(0.3 * pixel).exterior.coords)[:-1]  # too thin to be tidied
    return polygon_path([(float(x), float(y)) for x, y in corners])


def _straightened(points: list[Point], pixel: float) -> list[Point]:
    """Corners of the polygon whose sides are fitted through the points; [] if it has curves."""
    from shapely.geometry import Polygon

    coarse = list(Polygon(points).simplify(1.0 * pixel).exterior.coords)[:-1]
    xy = np.asarray(points)
    starts = [int(np.hypot(*(xy - c).T).argmin()) for c in coarse]
    lines = []
    for k, first in enumerate(starts):
        last = starts[(k + 1) % len(starts)]
        run = xy[first : last + 1] if last > first else np.vstack([xy[first:], xy[: last + 1]])
        if len(run) < 10:
            return []
        trim = max(2, len(run) // 20)
        run = run[trim:-trim]
        middle = run.mean(axis=0)
        direction = np.linalg.svd(run - middle, full_matrices=False)[2][0]
        lines.append((middle, direction))
    corners = []
    for k, (q, v) in enumerate(lines):
        p, u = lines[k - 1]
        system = np.column_stack([u, -v])
        if abs(float(np.linalg.det(system))) < 0.05:
            return []
        t = np.linalg.solve(system, q - p)
        corners.append((float(p[0] + t[0] * u[0]), float(p[1] + t[0] * u[1])))
    return corners


def _fits(points: list[Point], corners: list[Point], pixel: float) -> bool:
    """Whether all but the corner points lie on the polygon (0.35 pixel; 2 pixels at corners)."""
    from shapely import distance
    from shapely import points as as_points
    from shapely.geometry import LinearRing

    ring = LinearRing(corners)
    away = distance(as_points(np.asarray(points)), ring)
    near_corner = (
        np.min([np.hypot(*(np.asarray(points) - c).T) for c in corners], axis=0) <= 4 * pixel
    )
    return bool((away[~near_corner] <= 0.35 * pixel).all() and (away <= 2 * pixel).all())
