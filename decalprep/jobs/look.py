"""Looking at one file: what size it claims and why, its layers, strokes, images and warnings."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path

from decalprep.cleaning import stroke_table
from decalprep.geometry import Affine
from decalprep.model import Artwork, Notice, PartFace
from decalprep.pdfstream import PageContents, PaintedShape, ShownImage, ShownText, read_page
from decalprep.units import MM_PER_IN

WIDTH = 80
LOW_PPI = 300.0
MOST_CIRCLES = 40
PARTS = {".stl", ".3mf", ".obj", ".ply", ".off"}


@dataclass(frozen=True)
class Looked:
    """What one file holds, as lines to print, and its notices."""

    lines: tuple[str, ...]
    notices: tuple[Notice, ...]


def look_at(
    path: Path, *, width_mm: float | None = None, height_mm: float | None = None, page: int = 1
) -> Looked:
    """What an artwork or part file holds.

    Raises:
        DecalprepError: the file cannot be used; the message says why.
    """
    from decalprep.intake import read_artwork, read_face
    from decalprep.intake.options import FaceOptions, IntakeOptions

    if path.suffix.lower() in PARTS:
        return look_at_face(path.name, read_face(path, FaceOptions()))
    options = IntakeOptions(
        width_mm=width_mm, height_mm=height_mm, page=page, allow_missing_fonts=True
    )
    artwork = read_artwork(path, options)
    contents = read_page(artwork.page_pdf)
    lines = [
        f"{path.name} ({artwork.kind}): {artwork.width_mm:.3f} x {artwork.height_mm:.3f} mm",
        *_evidence(artwork),
        *_layers(contents),
        *_strokes(artwork),
        *_images(artwork, contents),
        *_texts(artwork, contents),
        *_circles(artwork),
    ]
    if artwork.face is not None:
        lines += [f"exact geometry: outline and {len(artwork.face.holes)} holes"]
    return Looked(tuple(lines), artwork.notices)


def look_at_face(name: str, face: PartFace) -> Looked:
    """What the face of a part holds."""
    box = face.outline.box
    lines = [f"{name} (part): {box.width:.3f} x {box.height:.3f} mm, {face.described}"]
    if face.thickness_mm is not None:
        lines.append(f"thickness: {face.thickness_mm:.3f} mm")
    lines.append(f"holes: {len(face.holes)}")
    for hole in face.holes:
        x, y = hole.contour.box.centre
        size = (
            f"{hole.circle.diameter:.3f} mm across (fits within {hole.fit_error_mm:.4f} mm)"
            if hole.circle
            else f"{hole.contour.box.width:.2f} x {hole.contour.box.height:.2f} mm, not round"
        )
        lines.append(f"  at {x:.3f}, {y:.3f} mm: {size}")
    return Looked(tuple(lines), ())


def _evidence(artwork: Artwork) -> list[str]:
    lines = ["its size rests on:"]
    for claim in artwork.evidence:
        words = f"{claim.width_mm:.3f} x {claim.height_mm:.3f} mm: {claim.reason}"
        lines += textwrap.wrap(words, WIDTH, initial_indent="  ", subsequent_indent="    ")
    return lines


def _layers(contents: PageContents) -> list[str]:
    if not contents.layers:
        return ["layers: none"]
    drawn: dict[str, int] = {}
    hidden: set[str] = set()
    items: list[PaintedShape | ShownText | ShownImage] = [*contents.shapes]
    items += [*contents.texts, *contents.images]
    for item in items:
        if item.layer:
            drawn[item.layer] = drawn.get(item.layer, 0) + 1
            if not item.visible:
                hidden.add(item.layer)
    return ["layers:"] + [
        f"  {name}: {drawn.get(name, 0)} items" + (", hidden" if name in hidden else "")
        for name in contents.layers
    ]


def _strokes(artwork: Artwork) -> list[str]:
    rows = stroke_table(artwork)
    if not rows:
        return ["strokes: none"]
    lines = ["strokes by width:"]
    for row in sorted(rows, key=lambda r: (r.width_mm, r.what)):
        dash = ", dashed" if row.dashed else ""
        lines.append(f"  {row.width_mm:.3f} mm: {row.before} ({row.what}{dash})")
    return lines


def image_ppi(image: ShownImage, artwork_from_page: Affine) -> tuple[float, float]:
    """(across, up) pixels an inch of an image at its true size."""
    m = artwork_from_page @ image.page_from_image
    across = (m.a**2 + m.b**2) ** 0.5
    up = (m.c**2 + m.d**2) ** 0.5
    return (
        image.width_px / across * MM_PER_IN if across else 0.0,
        image.height_px / up * MM_PER_IN if up else 0.0,
    )


def _images(artwork: Artwork, contents: PageContents) -> list[str]:
    if not contents.images:
        return ["images: none"]
    lines = ["images at true size:"]
    for image in contents.images:
        across, up = image_ppi(image, artwork.artwork_from_page)
        least = 600.0 if image.bits == 1 else LOW_PPI
        word = "  (coarse)" if min(across, up) < least else ""
        lines.append(
            f"  {image.width_px} x {image.height_px} px, {image.bits} bit {image.colour_space}: "
            f"{across:.0f} x {up:.0f} px/in{word}"
        )
    return lines


def _circles(artwork: Artwork) -> list[str]:
    """The numbered circles, for known_circles in a job file."""
    from decalprep.intake import numbered_circles

    circles = numbered_circles(artwork)
    lines = [f"circles: {len(circles)}"]
    m = artwork.artwork_from_page
    for number, circle in enumerate(circles[:MOST_CIRCLES], 1):
        x, y = m.apply(circle.x, circle.y)
        lines.append(f"  {number}: at {x:.3f}, {y:.3f} mm, {circle.diameter * m.a:.3f} mm across")
    if len(circles) > MOST_CIRCLES:
        lines.append(f"  and {len(circles) - MOST_CIRCLES} more")
    return lines


def _texts(artwork: Artwork, contents: PageContents) -> list[str]:
    if not contents.texts:
        return []
    scale = artwork.artwork_from_page.stretch[0]
    sizes = [text.size_pt * scale for text in contents.texts if text.visible]
    fonts = sorted({text.font for text in contents.texts if text.font})
    lines = [f"text: {len(contents.texts)} strings in {len(fonts)} fonts"]
    if sizes:
        lines.append(f"  type size from {min(sizes):.2f} to {max(sizes):.2f} mm")
    return lines
