"""Judging a page against an independent drawing of the same SVG, and what lies beyond the page."""

from dataclasses import dataclass
from math import ceil, floor
from pathlib import Path

from decalprep.geometry import Box
from decalprep.intake.compare import (
    Agreement,
    Picture,
    SoftSpot,
    compare_pictures,
    page_picture,
    softened,
)
from decalprep.intake.svg_page import PageSize
from decalprep.model import Notice
from decalprep.pdfstream import PageContents, read_page
from decalprep.pdfstream.drawing import free_of_pictures

BEYOND = 0.25
BEYOND_PX = (320, 320)
BEYOND_SLACK_PX = 2
BEYOND_COVER = 21
"""A quarter of the page is looked at round it; 2 px are 1 % of a side, such as half a stroke."""
BEYOND_CLOSE = 0.005
LONGEST_MITRE = 10.0
"""A page is looked round at all if anything may reach half as far past it, mitres included."""


@dataclass(frozen=True)
class Truth:
    """The independent drawing a page is compared with.

    ``check_page`` is the number of the converter's page that shows the same drawing, where the
    pattern fills of both are flat: rasterisers round a pattern's tile to whole pixels, so that the
    tiles drift apart.
    """

    picture: Picture
    px_per_mm: float
    has_pixels: bool
    check_page: int | None = None


def drawn_as(truth: Truth, page: bytes) -> Picture:
    """A page drawn over the pixels of the independent drawing."""
    pixels = (truth.picture.shape[1], truth.picture.shape[0])
    plain = not truth.has_pixels and free_of_pictures(page)
    return page_picture(page, pixels, beside=truth.picture if plain else None)


def compared(page: bytes, size: PageSize, truth: Truth, drawn: Picture | None = None) -> Agreement:
    """How well a page agrees with the independent drawing; ``drawn`` is the page, if at hand."""
    pixels = (truth.picture.shape[1], truth.picture.shape[0])
    drawn = drawn_as(truth, page) if drawn is None else drawn
    spots = _soft_spots(page, size, pixels) if truth.has_pixels else []
    return compare_pictures(softened(drawn, spots), softened(truth.picture, spots), truth.px_per_mm)


def _soft_spots(page: bytes, size: PageSize, pixels: tuple[int, int]) -> list[SoftSpot]:
    """Where the page shows raster images coarser than the pixels of the comparison."""
    across, down = pixels[0] / size.width_pt, pixels[1] / size.height_pt
    spots = []
    for image in read_page(page).images:
        corners = image.page_from_image.apply_all([(0, 0), (1, 0), (0, 1), (1, 1)])
        box = Box.around(corners)
        largest, _ = image.page_from_image.stretch
        pitch = largest * max(across, down) / max(min(image.width_px, image.height_px), 1)
        if pitch > 0.5:
            left, right = floor(box.x0 * across) - 1, ceil(box.x1 * across) + 1
            top = floor((size.height_pt - box.y1) * down) - 1
            bottom = ceil((size.height_pt - box.y0) * down) + 1
            edges = (max(left, 0), max(top, 0), max(right, 0), max(bottom, 0))
            spots.append(SoftSpot(edges, pitch))
    return spots


def same_drawing(one: bytes, other: Picture, truth: Truth) -> Agreement:
    """How well a page agrees with another page of the same converter, already drawn."""
    return compare_pictures(drawn_as(truth, one), other, truth.px_per_mm)


def stays_inside(contents: PageContents, page: PageSize) -> bool:
    """Whether all that a converted page paints lies on the page, as far as its places tell surely.

    The converter keeps what lies beyond, so False may only mean that it is clipped.
    """
    x, y = BEYOND_CLOSE * page.width_pt, BEYOND_CLOSE * page.height_pt
    inside = Box(-x, -y, page.width_pt + x, page.height_pt + y)
    if contents.features:
        return False
    boxes = [text.box_pt.grown(text.size_pt / 2) for text in contents.texts]
    for image in contents.images:
        boxes.append(Box.around(image.page_from_image.apply_all([(0, 0), (1, 0), (0, 1), (1, 1)])))
    for shape in contents.shapes:
        reach = LONGEST_MITRE * shape.stroke_width_pt[0] / 2 if shape.stroke else 0.0
        boxes += [path.box.grown(reach) for path in shape.paths]
    return all(inside.contains(box) for box in boxes)


def beyond_notice(png: Path, name: str) -> tuple[Notice, ...]:
    """Told where something is drawn outside the page, which the page cuts off."""
    from PIL import Image

    with Image.open(png) as picture:
        ink = (
            picture.convert("RGBA")
            .getchannel("A")
            .point(lambda level: 255 * (level > BEYOND_COVER))
        )
    box = ink.getbbox()
    if box is None:
        return ()
    edge = [round(side * BEYOND / (1 + 2 * BEYOND)) for side in BEYOND_PX]
    reach = {
        "left": edge[0] - box[0],
        "top": edge[1] - box[1],
        "right": box[2] - (BEYOND_PX[0] - edge[0]),
        "bottom": box[3] - (BEYOND_PX[1] - edge[1]),
    }
    sides = [side for side, pixels in reach.items() if pixels > BEYOND_SLACK_PX]
    if not sides:
        return ()
    text = (
        f"is drawn beyond its page at the {', '.join(sides)}; what lies outside is cut off: "
        "correct the page size or viewBox if it belongs to the panel"
    )
    return (Notice("svg-beyond-page", text, name),)
