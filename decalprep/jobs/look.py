"""Looking at one file: what size it claims and why, its layers, strokes, images and warnings."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from decalprep.cleaning import image_ppi, is_coarse, stroke_table
from decalprep.errors import NoSize
from decalprep.model import Artwork, Notice, PartFace
from decalprep.pdfstream import PageContents, PaintedShape, ShownImage, ShownText, read_page

if TYPE_CHECKING:
    from decalprep.intake.options import IntakeOptions

WIDTH = 80
MOST_CIRCLES = 40
PARTS = {".stl", ".3mf", ".obj", ".ply", ".off"}
FRAME = "from the lower left corner, x to the right, y upward"
OF_A_SIZE = {"low-resolution", "size-conflict", "size-assumed"}
"""Notices that mean nothing where no size is known."""


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
    try:
        artwork = read_artwork(path, options)
    except NoSize as problem:
        return _look_unsized(path, options, problem)
    contents = read_page(artwork.page_pdf)
    lines = [
        *_wrapped(
            f"{path.name} ({artwork.kind}): {artwork.width_mm:.3f} x {artwork.height_mm:.3f} mm, "
            "the whole page",
            "",
        ),
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


def _look_unsized(path: Path, options: IntakeOptions, problem: NoSize) -> Looked:
    """What a file without a size holds, in pixels or drawing units.

    Raises:
        NoSize: not even its proportions are stated.
    """
    from decalprep.intake import read_unsized

    try:
        artwork = read_unsized(path, options)
    except NoSize:
        raise problem from None
    contents = read_page(artwork.page_pdf)
    if artwork.pixels is not None:
        size = f"{artwork.pixels[0]} x {artwork.pixels[1]} px"
        what_to_do = 'give width = "... mm" in the job, of the whole picture'
    else:
        size = f"{artwork.width_mm:.6g} x {artwork.height_mm:.6g} drawing units"
        what_to_do = 'give width = "... mm" or part_unit = "mm" in the job'
    lines = [
        f"{path.name} ({artwork.kind}): {size}",
        *_wrapped(f"no size stated: {what_to_do}", ""),
        *_layers(contents),
        *([] if artwork.pixels else _circles(artwork, "drawing units")),
    ]
    notices = tuple(n for n in artwork.notices if n.code not in OF_A_SIZE)
    return Looked(tuple(lines), notices)


def look_at_face(name: str, face: PartFace) -> Looked:
    """What the face of a part holds."""
    box = face.outline.box
    lines = _wrapped(f"{name} (part): {box.width:.3f} x {box.height:.3f} mm, {face.described}", "")
    if face.thickness_mm is not None:
        lines.append(f"thickness: {face.thickness_mm:.3f} mm")
    lines.append(f"holes: {len(face.holes)}" + (f", in mm {FRAME}" if face.holes else ""))
    for hole in face.holes:
        x, y = hole.contour.box.centre
        size = (
            f"{hole.circle.diameter:.3f} mm across (fits within {hole.fit_error_mm:.4f} mm)"
            if hole.circle
            else f"{hole.contour.box.width:.2f} x {hole.contour.box.height:.2f} mm, not round"
        )
        lines.append(f"  at {x:.3f}, {y:.3f} mm: {size}")
    return Looked(tuple(lines), face.notices)


def _evidence(artwork: Artwork) -> list[str]:
    lines = ["its size rests on:"]
    for claim in artwork.evidence:
        lines += _wrapped(f"{claim.width_mm:.3f} x {claim.height_mm:.3f} mm: {claim.reason}")
    return lines


def _wrapped(words: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")


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
        f"  {name}: {drawn.get(name, 0)} item{'s' * (drawn.get(name, 0) != 1)}"
        + (", hidden" if name in hidden else "")
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


def _images(artwork: Artwork, contents: PageContents) -> list[str]:
    if not contents.images:
        return ["images: none"]
    lines = ["images at true size:"]
    for image in contents.images:
        across, up = image_ppi(image, artwork)
        word = "  (coarse)" if is_coarse(image, artwork) else ""
        lines.append(
            f"  {image.width_px} x {image.height_px} px, {image.bits} bit {image.colour_space}: "
            f"{across:.0f} x {up:.0f} px/in{word}"
        )
    return lines


def _circles(artwork: Artwork, unit: str = "mm") -> list[str]:
    """The numbered circles, for known_circles in a job file."""
    from decalprep.intake import numbered_circles

    circles = numbered_circles(artwork)
    lines = [f"circles: {len(circles)}" + (f", in {unit} {FRAME}" if circles else "")]
    m = artwork.artwork_from_page
    for number, circle in enumerate(circles[:MOST_CIRCLES], 1):
        x, y = m.apply(circle.x, circle.y)
        lines.append(f"  {number}: at {x:.3f}, {y:.3f}, {circle.diameter * m.a:.3f} across")
    if len(circles) > MOST_CIRCLES:
        lines.append(f"  and {len(circles) - MOST_CIRCLES} more")
    return lines


def _texts(artwork: Artwork, contents: PageContents) -> list[str]:
    if not contents.texts:
        return []
    scale = artwork.artwork_from_page.stretch[0]
    sizes = [text.size_pt * scale for text in contents.texts if text.visible]
    fonts = sorted({text.font for text in contents.texts if text.font})
    count = text_runs(contents.texts)
    lines = [f"text: {_count(count, 'run')} in {_count(len(fonts), 'font')}"]
    if sizes:
        lines.append(f"  type size from {min(sizes):.2f} to {max(sizes):.2f} mm")
    return lines


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def text_runs(texts: Sequence[ShownText]) -> int:
    """How many texts a person sees: strings of one font that follow each other on a line are one.

    Programs show a word letter by letter, or in pieces where it is kerned.
    """
    count = 0
    last: ShownText | None = None
    for text in texts:
        if last is None or not _follows(last, text):
            count += bool(text.text.strip())
        last = text if last is None or text.text.strip() else last
    return count


def _follows(last: ShownText, text: ShownText) -> bool:
    """Whether a string goes on where the last one ended: on its line, a space away at most."""
    size = max(last.size_pt, text.size_pt)
    one, other = last.box_pt, text.box_pt
    same = text.font == last.font and abs(text.size_pt - last.size_pt) <= 0.01 * size
    if not same or text.visible != last.visible:
        return False
    level = abs(one.y0 - other.y0) + abs(one.y1 - other.y1) <= 0.1 * size
    upright = abs(one.x0 - other.x0) + abs(one.x1 - other.x1) <= 0.1 * size
    letters = len(last.text) <= 1 and len(text.text) <= 1
    across = max(one.x0, other.x0) - min(one.x1, other.x1)
    up = max(one.y0, other.y0) - min(one.y1, other.y1)
    return max(across, up) <= 0.6 * size and (level or upright or letters)
