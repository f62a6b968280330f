"""Bleed: what is printed past the outline, so that a cut a little off shows no white.

True artwork is used where the artwork paints past the outline; elsewhere the ground colour found
just inside the edge is carried outward. The colour at each place of the edge is the middle one
(channel-wise median, then the sample nearest to it) of a legend-free band: samples from 0.4 to
1.6 mm inside, and along the edge over a window of 8 mm. So a letter or line that touches the edge
for less than half of the window is not smeared into the bleed. Widths are our choice.
"""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from decalprep.errors import UsageProblem
from decalprep.geometry import Affine, Arc, Box, Line, Path, polygon_with_holes
from decalprep.model import Artwork, Hole, Notice, Severity
from decalprep.outline.picture import Numbers, Picture, Pixels, draw, on_paper
from decalprep.outline.shaping import moved
from decalprep.units import pt_from_mm

DEPTHS_MM = (0.4, 0.7, 1.0, 1.3, 1.6)
STEP_MM = 0.25
WINDOW_MM = 8.0
UNDER_MM = 0.3
"""The bleed reaches this far under the artwork, so that no gap shows at the outline."""
PAINTED = 128
WHITE = 247
LEAST_SHARE = 0.005
CORNER_DEPTHS_MM = (0.3, 0.5, 0.7)
"""Distances from both sides of a sharp corner where it is looked at: less is the knife's."""
SHARP = math.cos(math.radians(150))
"""Sides that meet at less than this angle make a corner."""
_AT_ONCE = 512
Places = NDArray[np.intp]


@dataclass(frozen=True)
class BleedSettings:
    """``bleed_mm`` past the outline (1 to 3 mm); into holes only if ``into_holes``.

    ``hole_bleed_mm`` is the bleed into holes where it is not the same.
    """

    bleed_mm: float = 2.0
    into_holes: bool = False
    hole_bleed_mm: float | None = None
    dpi: float = 300.0


@dataclass(frozen=True)
class Bleed:
    """The artwork to print and what to draw under it.

    ``artwork`` is the one given, or, where it paints paper white past a coloured edge, the same
    clipped at the outline so that the bleed is not covered. ``true_share`` and ``extended_share``
    are the shares of the bleed's area that show true artwork and extended ground colour; the rest
    is bare because the artwork is bare at that edge. ``edge_colours`` are the ground colours (RGB,
    0 to 1) along the cut outline, white where it is bare; those on less than ``LEAST_SHARE`` of it
    are left out.
    """

    artwork: Artwork
    bleed_artwork: Artwork | None
    decal_from_bleed: Affine
    true_share: float
    extended_share: float
    notices: tuple[Notice, ...] = ()
    edge_colours: tuple[tuple[float, float, float], ...] = ()


def make_bleed(
    artwork: Artwork,
    outline: Path,
    holes: Sequence[Hole],
    *,
    decal_from_artwork: Affine,
    settings: BleedSettings,
) -> Bleed:
    """Bleed for one decal in decal mm: true artwork where there is some, else ground colour.

    Does not invent patterns: a gradient or picture at the edge is carried on as single colours.

    Raises:
        UsageProblem: the bleed is not between 0 and 10 mm.
    """
    if not 0 <= settings.bleed_mm <= 10:
        raise UsageProblem(f"a bleed of {settings.bleed_mm:g} mm", do="use 1 to 3 mm")
    if settings.bleed_mm == 0:
        return Bleed(artwork, None, Affine(), 0.0, 0.0)
    edges = [outline] + ([h.contour for h in holes] if settings.into_holes else [])
    kept = polygon_with_holes(outline, edges[1:], 0.005)
    ring = _ring(kept, outline, edges[1:], settings)
    box = Box(*outline.polygon(0.005).bounds).grown(settings.bleed_mm + 0.5)
    picture = draw(artwork, decal_from_artwork, box, dpi=settings.dpi)
    points, colours, on_outline = _edge_colours(picture, kept, edges)
    seen = _distinct(colours[:on_outline])
    notices = _bare_corners(picture, outline, colours[:on_outline], artwork.name)
    canvas, counts = _painted_ring(picture, kept, ring, points, colours)
    if counts.needed == 0:
        found = tuple(notices)
        return Bleed(artwork, None, Affine(), counts.true_share, 0.0, found, seen)
    printed = artwork
    if counts.covered > 0:
        printed = clipped_to(artwork, [outline, *edges[1:]], decal_from_artwork.inverse())
        text = (
            "the artwork paints white past its coloured edge, so it was clipped at the outline to "
            "let the bleed show"
        )
        notices.append(Notice("bleed-clipped", text, artwork.name, Severity.NOTE))
    if counts.extended_share > 0:
        text = (
            f"{100 * counts.extended_share:.0f} % of the bleed is ground colour carried on from "
            "the edge, because the artwork ends there"
        )
        share = (("extended_share", counts.extended_share),)
        notices.append(Notice("bleed-extended", text, artwork.name, Severity.NOTE, numbers=share))
    name = f"{artwork.name} bleed"
    if counts.plain is None:
        bleed_artwork = picture_page(canvas, picture, name)
    else:
        bleed_artwork = plain_page(ring, counts.plain, picture, name)
    shift = Affine.translation(picture.box.x0, picture.box.y0)
    return Bleed(
        printed,
        bleed_artwork,
        shift,
        counts.true_share,
        counts.extended_share,
        tuple(notices),
        seen,
    )


def _ring(
    kept: Polygon, outline: Path, holes: Sequence[Path], settings: BleedSettings
) -> BaseGeometry:
    """The area of the bleed: past the outline, and inside the holes' rims where asked."""
    area = moved(outline.polygon(0.005), settings.bleed_mm)
    inward = settings.bleed_mm if settings.hole_bleed_mm is None else settings.hole_bleed_mm
    for hole in holes:
        area = area.difference(moved(hole.polygon(0.005), -inward))
    return area.difference(kept.buffer(-UNDER_MM))


# ---------------------------------------------------------------- colours along the edge


def _edge_colours(
    picture: Picture, kept: Polygon, edges: Sequence[Path]
) -> tuple[Numbers, Numbers, int]:
    """(points along the edges in mm, RGBA ground colour at each, how many are on the first)."""
    all_points, all_colours = [], []
    for edge in edges:
        ring = edge.polygon(0.005).exterior
        count = max(8, math.ceil(ring.length / STEP_MM))
        along = shapely.line_interpolate_point(ring, np.arange(count) * ring.length / count)
        points = shapely.get_coordinates(along)
        tangent = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
        tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-12)[:, None]
        normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
        if edge is not edges[0]:
            normal = -normal  # outside a hole is inside the decal
        samples = _samples(picture, kept, points, normal)
        all_points.append(points)
        all_colours.append(_middle_along(samples, max(1, round(WINDOW_MM / STEP_MM / 2))))
    return np.vstack(all_points), np.vstack(all_colours), len(all_points[0])


def _bare_corners(picture: Picture, outline: Path, colours: Numbers, name: str) -> list[Notice]:
    """A warning where paper shows in corners of an outline whose edge is inked for the most part.

    Does not look at rounded corners, nor at ones that bare paper leaves by less than 0.7 mm.
    """
    bare = (colours[:, 3] < PAINTED) | (colours[:, :3].min(axis=1) >= WHITE)
    if bare.mean() > 0.5:
        return []
    ring = shapely.orient_polygons(outline.polygon(0.005)).exterior
    at = shapely.get_coordinates(ring.simplify(0.02))[:-1]
    ahead, back = np.roll(at, -1, axis=0) - at, np.roll(at, 1, axis=0) - at
    long = np.stack([np.hypot(*ahead.T), np.hypot(*back.T)])
    ahead, back = ahead / long[0][:, None], back / long[1][:, None]
    cosine = (ahead * back).sum(axis=1)
    turn = (
        ahead[:, 0] * back[:, 1] - ahead[:, 1] * back[:, 0]
    )  # of the angle: positive where convex
    sharp = (turn > 0.2) & (cosine > SHARP) & (long.min(axis=0) > 2 * max(CORNER_DEPTHS_MM))
    px_from_decal = picture.decal_from_px.inverse()
    places = []
    for corner, inward, sine in zip(at[sharp], (ahead + back)[sharp], turn[sharp], strict=True):
        # a point on the bisector that is d from both sides
        looked = [px_from_decal.apply(*(corner + inward * d / sine)) for d in CORNER_DEPTHS_MM]
        pixels = picture.rgba[[int(y) for _, y in looked], [int(x) for x, _ in looked]]
        if on_paper(pixels).min() >= WHITE:
            places.append(Box.around([(float(corner[0]), float(corner[1]))]).grown(2.0))
    if not places:
        return []
    text = (
        f"bare paper shows inside the cut outline at {len(places)} of its corners: the artwork "
        "ends short of them, rounder or smaller than the outline; round the outline too, or carry "
        "the artwork on"
    )
    return [
        Notice(
            "corner-bare",
            text,
            name,
            box_mm=places[0],
            numbers=(("corners", float(len(places))),),
        )
    ]


def _distinct(colours: Numbers) -> tuple[tuple[float, float, float], ...]:
    """The RGB colours (0 to 1) among RGBA ones, in steps of 16 levels; bare ones are white."""
    solid = np.where(colours[:, 3:] >= PAINTED, colours[:, :3], 255.0)
    steps = (solid // 16).astype(np.int64) @ (256, 16, 1)
    _, where, counts = np.unique(steps, return_inverse=True, return_counts=True)
    found = []
    for k in np.flatnonzero(counts >= LEAST_SHARE * len(solid)):
        red, green, blue = np.median(solid[where == k], axis=0) / 255
        found.append((float(red), float(green), float(blue)))
    return tuple(found)


def _samples(picture: Picture, kept: Polygon, points: Numbers, inward: Numbers) -> Numbers:
    """RGBA (points, depths, 4) at each depth inside each point, NaN where that leaves the decal."""
    px_from_decal = picture.decal_from_px.inverse()
    at = points[:, None, :] + np.array(DEPTHS_MM)[None, :, None] * inward[:, None, :]
    flat = at.reshape(-1, 2)
    shapely.prepare(kept)
    inside = shapely.contains_xy(kept, flat[:, 0], flat[:, 1])
    k, y1, x0 = px_from_decal.a, picture.box.y1, picture.box.x0
    rows, columns = picture.rgba.shape[:2]
    column = np.clip(((flat[:, 0] - x0) * k).astype(int), 0, columns - 1)
    row = np.clip(((y1 - flat[:, 1]) * k).astype(int), 0, rows - 1)
    colours = picture.rgba[row, column].astype(np.float64)
    colours[colours[:, 3] < PAINTED] = 0.0  # bare is one colour
    colours[~inside] = np.nan
    shaped: Numbers = colours.reshape(len(points), len(DEPTHS_MM), 4)
    return shaped


def _middle_along(samples: Numbers, reach: int) -> Numbers:
    """The middle colour at each point from its depths and its neighbours along the closed edge."""
    count, depths = samples.shape[:2]
    reach = min(reach, (count - 1) // 2)
    wrapped = np.concatenate([samples[-reach:], samples, samples[:reach]]) if reach else samples
    found = samples[:, 0].copy()
    mixed = np.flatnonzero(~_of_one_colour(wrapped, 2 * reach + 1))
    around = np.arange(2 * reach + 1)[None, :]
    for start in range(0, len(mixed), _AT_ONCE):
        some = mixed[start : start + _AT_ONCE]
        near = wrapped[some[:, None] + around].reshape(-1, (2 * reach + 1) * depths, 4)
        known = (~np.isnan(near[..., 0])).sum(axis=1)
        order = np.sort(near, axis=1)  # nan comes last
        each = np.arange(len(near))
        low, high = np.maximum(known - 1, 0) // 2, known // 2
        middle = (order[each, low] + order[each, np.minimum(high, near.shape[1] - 1)]) / 2
        off = np.abs(near - middle[:, None, :]).sum(axis=2)
        best = np.where(np.isnan(off), np.inf, off).argmin(axis=1)
        found[some] = np.where(known[:, None] > 0, near[each, best], 0.0)
    return found


def _of_one_colour(samples: Numbers, window: int) -> NDArray[np.bool_]:
    """For each run of ``window`` points whether all its samples are one known colour."""
    first = samples[:, :1]
    mixed = np.append(0, np.cumsum((samples != first).any(axis=(1, 2))))  # nan differs from itself
    turns = np.append(0, np.cumsum((first[1:] != first[:-1]).any(axis=(1, 2))))
    runs = len(samples) - window + 1
    plain = mixed[window:] == mixed[:runs]
    result: NDArray[np.bool_] = plain & (turns[window - 1 :] == turns[:runs])
    return result


@dataclass(frozen=True)
class _Counts:
    """Numbers and shares of the ring's pixels, and its colour (0 to 255) if it has only one."""

    needed: int
    covered: int
    true_share: float
    extended_share: float
    plain: tuple[int, int, int] | None


def _painted_ring(
    picture: Picture, kept: Polygon, ring: BaseGeometry, points: Numbers, colours: Numbers
) -> tuple[Pixels, _Counts]:
    """The ring as RGBA pixels: true artwork where it is painted, else the nearest edge's colour."""
    inside_ring = filled_mask(ring, picture)
    outside = inside_ring & ~filled_mask(kept, picture)
    at = np.flatnonzero(inside_ring)
    edge = np.rint(colours).astype(np.uint8)
    edge[edge[:, 3] >= PAINTED, 3] = 255
    edge[edge[:, 3] < PAINTED] = 0
    coloured = (edge[:, 3] > 0) & (edge[:, :3].min(axis=1) < WHITE)
    if (edge == edge[0]).all():
        ground, wants = edge[:1], coloured[:1]
    else:
        nearest = _nearest(picture, points, at)
        ground, wants = edge[nearest], coloured[nearest]
    true = _whole_pixels(picture.rgba)[at].view(np.uint8).reshape(-1, 4)
    is_out = outside.reshape(-1)[at]
    painted = true[:, 3] >= PAINTED
    white = (true[:, 0] >= WHITE) & (true[:, 1] >= WHITE) & (true[:, 2] >= WHITE)
    covered = is_out & painted & white & wants  # white paper drawn over a coloured edge's bleed
    use_true = is_out & painted & ~covered
    true[:, 3] = 255
    canvas = np.zeros_like(picture.rgba)
    shown = np.where(use_true, _whole_pixels(true), _whole_pixels(ground))
    _whole_pixels(canvas)[at] = shown
    red, green, blue, solid = (int(k) for k in shown[:1].view(np.uint8)) if len(at) else (0,) * 4
    plain = solid > 0 and bool((shown == shown[0]).all())
    if not plain:
        _colour_bare(canvas)
    total = max(int(is_out.sum()), 1)
    extended = int((is_out & ~use_true & wants).sum())
    share = 0.0 if extended <= 0.002 * total else extended / total
    counts = _Counts(
        extended if share else 0,
        int(covered.sum()) if share else 0,
        float(use_true.sum()) / total,
        share,
        (red, green, blue) if plain else None,
    )
    return canvas, counts


def _whole_pixels(rgba: Pixels) -> NDArray[np.uint32]:
    """The same memory, a number a pixel, in one row."""
    return rgba.view(np.uint32).reshape(-1)


def _nearest(picture: Picture, points: Numbers, at: Places) -> Places:
    """For each pixel, by its place in the picture's pixels, the number of the nearest point."""
    from scipy.spatial import cKDTree

    rows, columns = np.divmod(at, picture.rgba.shape[1])
    k = picture.mm_per_px
    x, y = picture.box.x0 + (columns + 0.5) * k, picture.box.y1 - (rows + 0.5) * k
    nearest: Places = cKDTree(points).query(np.stack([x, y], axis=1))[1]
    return nearest


def _colour_bare(canvas: Pixels) -> None:
    """Give bare pixels their neighbour's colour under zero alpha: readers that blend would darken
    the edge."""
    import cv2

    bare = canvas[..., 3] == 0
    if bare.all() or not bare.any():
        return
    _, found = cv2.distanceTransformWithLabels(
        bare.astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    labels = np.asarray(found)
    nearest_px = np.zeros(int(labels.max()) + 1, np.int64)
    nearest_px[labels[~bare]] = np.flatnonzero(~bare)
    canvas[..., :3] = canvas[..., :3].reshape(-1, 3)[nearest_px[labels]]


def filled_mask(shape: BaseGeometry, picture: Picture) -> NDArray[np.bool_]:
    """Boolean pixels whose centres lie in the shape (decal mm)."""
    import cv2

    rows, columns = picture.rgba.shape[:2]
    mask = np.zeros((rows, columns), np.uint8)
    parts = list(shape.geoms) if hasattr(shape, "geoms") else [shape]
    m = picture.decal_from_px.inverse()
    for part in parts:
        if not isinstance(part, Polygon) or part.is_empty:
            continue
        rings = [
            np.rint((np.array(m.apply_all(r.coords)) - 0.5) * 16).astype(np.int32)
            for r in (part.exterior, *part.interiors)
        ]
        layer = np.zeros_like(mask)
        cv2.fillPoly(layer, rings, 1, lineType=cv2.LINE_8, shift=4)
        mask |= layer
    return mask > 0


# ---------------------------------------------------------------- pages


def picture_page(rgba: Pixels, picture: Picture, name: str) -> Artwork:
    """RGBA pixels as a one-page artwork of the picture's size in mm (lossless, alpha as mask)."""
    import pikepdf

    rows, columns = rgba.shape[:2]
    width_mm, height_mm = columns * picture.mm_per_px, rows * picture.mm_per_px
    width_pt, height_pt = pt_from_mm(width_mm), pt_from_mm(height_mm)
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(width_pt, height_pt))
    page = pdf.pages[0].obj
    page.MediaBox = pikepdf.Array([0, 0, width_pt, height_pt])
    form = {
        "Type": pikepdf.Name.XObject,
        "Subtype": pikepdf.Name.Image,
        "Width": columns,
        "Height": rows,
        "BitsPerComponent": 8,
    }
    mask = pdf.make_stream(
        np.ascontiguousarray(rgba[..., 3]).tobytes(), **form, ColorSpace=pikepdf.Name.DeviceGray
    )
    image = pdf.make_stream(
        np.ascontiguousarray(rgba[..., :3]).tobytes(),
        **form,
        ColorSpace=pikepdf.Name.DeviceRGB,
        SMask=mask,
    )
    page.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im=image))
    page.Contents = pdf.make_stream(f"{width_pt:.9f} 0 0 {height_pt:.9f} 0 0 cm /Im Do".encode())
    out = io.BytesIO()
    pdf.save(out, deterministic_id=True, compress_streams=True)
    return Artwork(
        name, name, "bleed", out.getvalue(), width_pt, height_pt, width_mm, height_mm,
        pixels=(columns, rows),
    )  # fmt: skip


def plain_page(
    ring: BaseGeometry, colour: tuple[int, int, int], picture: Picture, name: str
) -> Artwork:
    """The ring (decal mm) in one colour (0 to 255) as a drawn page of the picture's size in mm."""
    import pikepdf

    rows, columns = picture.rgba.shape[:2]
    width_mm, height_mm = columns * picture.mm_per_px, rows * picture.mm_per_px
    width_pt, height_pt = pt_from_mm(width_mm), pt_from_mm(height_mm)
    to_page = Affine.scaling(pt_from_mm(1.0)) @ Affine.translation(-picture.box.x0, -picture.box.y0)
    steps = [" ".join(f"{level / 255:.5f}" for level in colour) + " rg"]
    for part in shapely.get_parts(ring):
        for line in (part.exterior, *part.interiors):
            points = to_page.apply_all([(x, y) for x, y, *_ in line.coords[:-1]])
            places = [f"{x:.4f} {y:.4f}" for x, y in points]
            steps.append(f"{places[0]} m " + " ".join(f"{place} l" for place in places[1:]) + " h")
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(width_pt, height_pt))
    page = pdf.pages[0].obj
    page.MediaBox = pikepdf.Array([0, 0, width_pt, height_pt])
    page.Contents = pdf.make_stream(" ".join([*steps, "f*"]).encode())
    out = io.BytesIO()
    pdf.save(out, deterministic_id=True, compress_streams=True)
    return Artwork(name, name, "bleed", out.getvalue(), width_pt, height_pt, width_mm, height_mm)


def clipped_to(artwork: Artwork, paths: Sequence[Path], artwork_from_decal: Affine) -> Artwork:
    """The artwork clipped to the paths (decal mm, even-odd), its content otherwise untouched."""
    import pikepdf

    page_from_decal = artwork.artwork_from_page.inverse() @ artwork_from_decal
    clip = " ".join(_operators(p.mapped(page_from_decal)) for p in paths)
    with pikepdf.open(io.BytesIO(artwork.page_pdf)) as pdf:
        page = pdf.pages[0]
        page.contents_add(f"q {clip} W* n\n".encode(), prepend=True)
        page.contents_add(b"\nQ")
        out = io.BytesIO()
        pdf.save(out, deterministic_id=True)
    return replace(artwork, page_pdf=out.getvalue())


def _operators(path: Path) -> str:
    start = path.segments[0].start
    steps = [f"{start[0]:.6f} {start[1]:.6f} m"]
    for segment in path.segments:
        if isinstance(segment, Line):
            steps.append(f"{segment.end[0]:.6f} {segment.end[1]:.6f} l")
            continue
        for cubic in segment.cubics() if isinstance(segment, Arc) else [segment]:
            points = (cubic.control1, cubic.control2, cubic.end)
            steps.append(" ".join(f"{x:.6f} {y:.6f}" for x, y in points) + " c")
    return " ".join(steps) + " h"
