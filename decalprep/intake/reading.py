"""Which reader reads a file, told by its content."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from decalprep.errors import InputProblem, NoSize, UsageProblem
from decalprep.geometry import Circle, Line, Point, Segment, fit_circle
from decalprep.geometry import Path as Outline
from decalprep.intake.files import MESH_KINDS, kind_of, read_whole
from decalprep.intake.options import FaceOptions, IntakeOptions, KnownDistance
from decalprep.model import Artwork, Notice, PartFace, Severity

_SUFFIXES = {
    "svg": {".svg"},
    "pdf": {".pdf", ".ai"},
    "raster": {".png", ".jpg", ".jpeg", ".jpe", ".tif", ".tiff", ".webp", ".bmp", ".dib"},
    "dxf": {".dxf"},
}

ROUND = 1e-3
"""A closed shape is a circle when no point is off by more than this share of its diameter."""


def read_artwork(
    path: Path, options: IntakeOptions | None = None, *, part: PartFace | None = None
) -> Artwork:
    """The artwork in a file, at its true size in mm.

    ``part`` is the face that it will cover: evidence of the size where the file states none, else
    a check of it.

    Raises:
        InputProblem: no such file, not a picture, or one that cannot be used.
        NoSize: nothing says how large it is.
        TooMuch: beyond a limit.
        UsageProblem: options that do not fit this file.
    """
    path, options = Path(path), options or IntakeOptions()
    kind = kind_of(read_whole(path, options.limits), path)
    if kind in MESH_KINDS:
        raise InputProblem(
            f"this is a part ({kind.upper()} mesh), not a picture",
            where=str(path),
            do="give it as the panel's part, and the picture as its artwork",
        )
    if options.circle_distance is not None:
        options = _with_known_distance(path, kind, options)
    artwork = (
        _read_kind(path, kind, options) if part is None else _with_part(path, kind, options, part)
    )
    return replace(artwork, notices=(*artwork.notices, *_misnamed(path, kind)))


def _with_part(path: Path, kind: str, options: IntakeOptions, part: PartFace) -> Artwork:
    """The artwork with the part as evidence; where nothing else says a size, the part's rules."""
    from decalprep.intake.partsize import compared_with_part, part_claim, sized_by

    try:
        artwork = _read_kind(path, kind, options)
    except NoSize:
        artwork = _unscaled(path, kind, options)
        claim = part_claim(artwork, part)
        if claim is None or options.scale is not None:
            raise
        return sized_by(claim, replace(artwork, evidence=()), options)
    return compared_with_part(artwork, part, options)


def read_face(path: Path, options: FaceOptions | None = None) -> PartFace:
    """The face of the part in a DXF or mesh file: outline and holes in mm, thickness of a mesh.

    Raises:
        InputProblem: no such file, a picture, or a part that cannot be used.
        NoSize: a DXF whose unit nobody states.
        TooMuch: beyond a limit.
        UsageProblem: no such face, body or layer.
    """
    path, options = Path(path), options or FaceOptions()
    kind = kind_of(read_whole(path, options.limits), path)
    if kind == "dxf":
        from decalprep.intake.dxf import read_dxf_face

        return read_dxf_face(path, options)
    if kind in MESH_KINDS:
        from decalprep.intake.mesh import read_mesh_face

        return read_mesh_face(path, options)
    raise InputProblem(
        f"this is a picture ({kind}), not a part",
        where=str(path),
        do="give it as the panel's artwork; a part is an STL, 3MF, OBJ or DXF file",
    )


def _read_kind(path: Path, kind: str, options: IntakeOptions) -> Artwork:
    if kind == "svg":
        from decalprep.intake.svg import read_svg

        return read_svg(path, options)
    if kind == "raster":
        from decalprep.intake.raster import read_raster

        return read_raster(path, options)
    if kind == "dxf":
        from decalprep.intake.dxf import read_dxf

        return read_dxf(path, options)
    from decalprep.intake.pdf import read_pdf

    return read_pdf(path, options)


def _misnamed(path: Path, kind: str) -> list[Notice]:
    suffix = path.suffix.lower()
    if suffix in _SUFFIXES[kind]:
        return []
    text = f"the name ends in {suffix!r} but the content is {kind.upper()}; read as that"
    return [Notice("misnamed", text, str(path), Severity.NOTE)]


def read_unsized(path: Path, options: IntakeOptions | None = None) -> Artwork:
    """The artwork of a file that states no size, at a size that means nothing.

    A picture is read at 100 mm across, a DXF at 1 drawing unit = 1 mm. For looking at only.

    Raises:
        InputProblem, TooMuch, UsageProblem: as ``read_artwork``.
    """
    path, options = Path(path), options or IntakeOptions()
    kind = kind_of(read_whole(path, options.limits), path)
    return replace(_unscaled(path, kind, options), evidence=())


def _unscaled(path: Path, kind: str, options: IntakeOptions) -> Artwork:
    """The artwork as if the user had said nothing about its size.

    A DXF without a unit is read at 1 drawing unit = 1 mm, other pages without a size at any.
    """
    silent = replace(
        options,
        circle_distance=None,
        known_distance=None,
        width_mm=None,
        height_mm=None,
        scale=None,
    )
    try:
        return _read_kind(path, kind, silent)
    except NoSize:
        given = replace(silent, unit="mm") if kind == "dxf" else replace(silent, width_mm=100.0)
        return _read_kind(path, kind, given)


def numbered_circles(artwork: Artwork) -> tuple[Circle, ...]:
    """The circles drawn on an artwork's page, in page points; number them from 1.

    Top to bottom, then left to right; hidden layers are left out, and circles drawn twice (same
    centre) count once. Does not find circles in pixels.
    """
    from decalprep.pdfstream import read_page

    found: list[Circle] = []
    for shape in read_page(artwork.page_pdf).shapes:
        if shape.visible:
            found += [c for c in map(_round, shape.paths) if c is not None]
    found.sort(key=lambda c: (-round(c.y, 1), c.x, c.diameter))
    once: dict[tuple[float, float], Circle] = {}
    for circle in found:
        once.setdefault((round(circle.x, 2), round(circle.y, 2)), circle)
    return tuple(once.values())


def _round(path: Outline) -> Circle | None:
    """The circle that a path goes all the way round, if it is on one.

    Fitted through the ends and middles of its curves, which lie on the circle where four curves
    draw it; between them they bulge by 2.7e-4 of the radius. Ends that meet need no closing
    operator: many writers leave it out.
    """
    points = path.points(tolerance=0.001)
    if len(points) < 8:
        return None
    nodes = [p for s in path.segments for p in _on_curve(s)]
    try:
        circle, _ = fit_circle(nodes if len(nodes) >= 6 else points)
    except ValueError:
        return None
    centre, slack = (circle.x, circle.y), ROUND * circle.diameter
    ends = path.segments[0].start, path.segments[-1].end
    if not path.closed and math.dist(*ends) > slack:
        return None
    if any(abs(math.dist(p, centre) - circle.radius) > slack for p in points):
        return None
    angles = sorted(math.atan2(y - circle.y, x - circle.x) for x, y in points)
    gaps = [b - a for a, b in zip(angles, [*angles[1:], angles[0] + math.tau], strict=True)]
    return circle if max(gaps) < math.pi / 2 else None


def _on_curve(segment: Segment) -> tuple[Point, ...]:
    """The start of a piece, and the middle of a curved one."""
    return (segment.start,) if isinstance(segment, Line) else (segment.start, segment.at(0.5))


def _with_known_distance(path: Path, kind: str, options: IntakeOptions) -> IntakeOptions:
    """``circle_distance`` turned into the known distance between the two centres."""
    assert options.circle_distance is not None
    first, second, distance_mm = options.circle_distance
    circles = numbered_circles(_unscaled(path, kind, options))
    for number in (first, second):
        if not 1 <= number <= len(circles):
            have = f"circles 1 to {len(circles)}" if circles else "no circles"
            raise UsageProblem(
                f"there is no circle {number}", where=str(path), do=f"the artwork has {have}"
            )
    if options.known_distance is not None:
        raise UsageProblem(
            "two known distances are given", where=str(path), do="keep the one you trust"
        )
    a, b = circles[first - 1], circles[second - 1]
    named = f"the distance of circles {first} and {second}"
    known = KnownDistance(a.x, a.y, b.x, b.y, distance_mm, named)
    return replace(options, circle_distance=None, known_distance=known)
