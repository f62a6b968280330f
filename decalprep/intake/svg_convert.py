"""A prepared SVG to a page: the first route whose page agrees with an independent drawing.

Routes in order: typst (vector), svglib (vector), the rasteriser itself (pixels at the stated
density). Each runs in a child process with caps. The rasteriser and typst share their SVG parser,
so their agreement does not prove what both read wrongly; ``svg_features`` and ``svg_text`` stand
beside it for that.
"""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from decalprep.errors import InputProblem, TooMuch, Unfaithful
from decalprep.intake.compare import (
    AGREE_LEVEL,
    Agreement,
    Picture,
    picture_on_white,
    px_per_mm_for,
)
from decalprep.intake.options import IntakeOptions
from decalprep.intake.pdfweight import refuse_heavy
from decalprep.intake.raster_page import pixel_page
from decalprep.intake.svg_fonts import copy_under
from decalprep.intake.svg_judge import (
    BEYOND,
    BEYOND_PX,
    Truth,
    beyond_notice,
    compared,
    drawn_as,
    same_drawing,
    stays_inside,
)
from decalprep.intake.svg_layers import Segment
from decalprep.intake.svg_page import PageSize, clean_page, stacked_page
from decalprep.intake.svg_prepass import (
    Prepared,
    flat_patterns_svg,
    segments_of,
    stretched_svg,
    whole_svg,
)
from decalprep.intake.svg_workshop import Workshop
from decalprep.model import Notice, Severity
from decalprep.pdfstream import read_page
from decalprep.units import MM_PER_IN

MAX_PIXELS = 120_000_000
"""The pixel route holds four bytes a pixel several times over; more would meet the memory cap."""

SMALL_BYTES = 100_000
"""Of a drawing up to this size it is known soon whether anything lies beyond the page."""

PIXELS_A_SECOND = 2_000_000
"""The slowest that pixels are waited for: an A4 page at 600 dpi may take 17 s."""


@dataclass(frozen=True)
class Target:
    """What is to be made: the prepared root's px, the page in points, the true size in mm."""

    root_px: tuple[float, float]
    page: PageSize
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Converted:
    """The page, the route it came by, how well it agrees, and what to tell."""

    page_pdf: bytes
    route: str
    agreement: Agreement
    notices: tuple[Notice, ...]


def drawn_extent(prepared: Prepared, options: IntakeOptions, name: str) -> tuple[float, float]:
    """How far the drawing reaches from (0, 0), in whole px: for a file that states no size.

    Raises:
        InputProblem: nothing is drawn.
    """
    with tempfile.TemporaryDirectory(prefix="decalprep-") as folder:
        shop = Workshop(Path(folder), name, options)
        _write_fonts(prepared, shop)
        (shop.folder / "extent.svg").write_bytes(whole_svg(prepared.root))
        job = {"picture": "extent.svg", "picture_png": "extent.png"}
        told = shop.run(["picture"], job)["picture"]
        if told:
            raise _not_drawn(shop, told)
        from PIL import Image

        with Image.open(shop.folder / "extent.png") as picture:
            return float(picture.width), float(picture.height)


def convert(prepared: Prepared, target: Target, *, options: IntakeOptions, name: str) -> Converted:
    """The page of a prepared drawing whose root already has its plain size.

    Raises:
        Unfaithful: no route agrees. TooMuch: too slow or too large. InputProblem: draws nothing.
    """
    with tempfile.TemporaryDirectory(prefix="decalprep-") as folder:
        shop = Workshop(Path(folder), name, options)
        _write_fonts(prepared, shop)
        whole = whole_svg(prepared.root)
        segments = segments_of(prepared.root)
        scale = px_per_mm_for(target.width_mm, target.height_mm)
        pixels = (
            max(round(target.width_mm * scale), 1),
            max(round(target.height_mm * scale), 1),
        )
        flat = flat_patterns_svg(prepared.root)
        pages = _write_files(shop, whole, segments, flat)
        picture_svg = stretched_svg(flat or whole, target.root_px, pixels)
        (shop.folder / "picture.svg").write_bytes(picture_svg)
        beyond_svg = stretched_svg(whole, target.root_px, BEYOND_PX, around=BEYOND)
        (shop.folder / "beyond.svg").write_bytes(beyond_svg)
        job = {
            "picture": "picture.svg",
            "picture_png": "picture.png",
            "pages": pages,
            "width_pt": target.page.width_pt,
            "height_pt": target.page.height_pt,
        }
        # mostly the page tells that nothing lies beyond it; what may take long is not begun later
        soon = len(whole) > SMALL_BYTES or b"filter" in whole
        told = shop.run(["picture", "typst", *(["beyond"] if soon else [])], job)
        if told["picture"]:
            raise _not_drawn(shop, told["picture"])
        picture = _independent_picture(shop, segments)
        check_page = len(pages) - 1 if flat else None
        truth = Truth(picture, scale, prepared.has_pixels, check_page)
        made = None
        if told["typst"]:
            shop.why.append(f"typst: {told['typst']}")
        else:
            made = _from_typst(shop, target, segments, truth)
        made = made or _by_later_routes(shop, target, job=job, truth=truth)
        if not soon:
            if made.route == "typst" and stays_inside(read_page(made.page_pdf), target.page):
                return made
            told = shop.run(["beyond"], job)
        beyond = () if told["beyond"] else beyond_notice(shop.folder / "beyond.png", name)
        return replace(made, notices=(*beyond, *made.notices))


def _write_fonts(prepared: Prepared, shop: Workshop) -> None:
    fonts = shop.folder / "fonts"
    fonts.mkdir()
    for face, family in prepared.fonts.families.items():
        try:
            copy_under(face, family, fonts)
        except Exception as problem:
            # Font tables fail in many ways; whichever it is, this face cannot be used.
            raise Unfaithful(
                f"font {face.described} cannot be used ({type(problem).__name__})",
                where=shop.name,
                do="choose another font or convert the text to paths",
            ) from problem


def _write_files(
    shop: Workshop, whole: bytes, segments: Sequence[Segment], flat: bytes | None
) -> list[str]:
    """The files of the converter's pages: the whole, each segment, the one with flat patterns."""
    files = {"whole.svg": whole}
    files |= {f"layer{i}.svg": segment.svg for i, segment in enumerate(segments)}
    if flat is not None:
        files["flat.svg"] = flat
    for name, svg in files.items():
        (shop.folder / name).write_bytes(svg)
    return list(files)


def _not_drawn(shop: Workshop, told: str) -> InputProblem:
    if "longer than" in told or "memory" in told or "died" in told:
        do = "simplify it; filters are often why"
        if "longer than" in told:
            do += "; if it is simple, try again when the computer is less busy"
        return TooMuch(f"cannot be drawn: {told}", where=shop.name, do=do)
    return InputProblem(f"cannot be drawn: {told}", where=shop.name, do="save it again as SVG")


def _independent_picture(shop: Workshop, segments: Sequence[Segment]) -> Picture:
    picture, is_bare = picture_on_white((shop.folder / "picture.png").read_bytes())
    if is_bare and not any(segment.hidden for segment in segments):
        raise InputProblem(
            "draws nothing on its page", where=shop.name, do="check its size, viewBox and layers"
        )
    return picture


def _from_typst(
    shop: Workshop, target: Target, segments: Sequence[Segment], truth: Truth
) -> Converted | None:
    pdf = (shop.folder / "typst.pdf").read_bytes()
    notices: list[Notice] = []
    page = clean_page(pdf, target.page)
    refuse_heavy(page, shop.options.limits, shop.name)
    judged = page
    if truth.check_page is not None:
        judged = clean_page(pdf, target.page, page=truth.check_page)
        text = "its pattern fills were drawn as one tone in the comparison; look at them yourself"
        notices.append(Notice("svg-pattern", text, shop.name))
    drawn = drawn_as(truth, page)
    same = drawn if judged is page else None
    agreement = compared(judged, target.page, truth, same)
    if not agreement.within():
        shop.why.append(_disagreed("typst", agreement))
        return None
    if segments:
        stacked = stacked_page(pdf, target.page, segments, first=1)
        apart = same_drawing(stacked, drawn, truth)
        if apart.within():
            return _told(shop, stacked, "typst", agreement, notices)
        text = (
            "its layers could not be kept apart: laid over each other they differ from the whole "
            f"by {apart.worst_level:.0f} of 255 near {_place(apart)}"
        )
        notices.append(Notice("svg-layers-joined", text, shop.name))
    return _told(shop, page, "typst", agreement, notices)


def _place(agreement: Agreement) -> str:
    return f"{agreement.at_mm[0]:.0f} mm from the left, {agreement.at_mm[1]:.0f} mm from the top"


def _disagreed(route: str, agreement: Agreement) -> str:
    level = f"{agreement.worst_level:.0f} of 255 (limit {AGREE_LEVEL:.0f})"
    return f"{route} differs from an independent drawing by {level} near {_place(agreement)}"


def _by_later_routes(
    shop: Workshop,
    target: Target,
    *,
    job: dict[str, Any],
    truth: Truth,
) -> Converted:
    if truth.check_page is not None:
        raise Unfaithful(
            "no route draws it faithfully: " + "; ".join(shop.why),
            where=shop.name,
            do="convert effects, patterns and text to plain paths, or export it as PDF",
        )
    told = shop.run(["svglib"], job)["svglib"]
    if told:
        shop.why.append(f"svglib: {told}")
    else:
        page = clean_page((shop.folder / "svglib.pdf").read_bytes(), target.page)
        agreement = compared(page, target.page, truth)
        if agreement.within():
            return _told(shop, page, "svglib", agreement, [])
        shop.why.append(_disagreed("svglib", agreement))
    page = _as_pixels(shop, target)
    agreement = compared(page, target.page, truth)
    if agreement.within():
        return _told(shop, page, "pixels", agreement, [])
    shop.why.append(_disagreed("pixels", agreement))
    raise Unfaithful(
        "no route draws it faithfully: " + "; ".join(shop.why),
        where=shop.name,
        do="convert effects and text to plain paths, or export it as PDF",
    )


def _as_pixels(shop: Workshop, target: Target) -> bytes:
    dpi = shop.options.dpi
    pixels = (
        max(round(target.width_mm * dpi / MM_PER_IN), 1),
        max(round(target.height_mm * dpi / MM_PER_IN), 1),
    )
    if pixels[0] * pixels[1] > min(MAX_PIXELS, shop.options.limits.max_pixels):
        raise TooMuch(
            f"can only be drawn as pixels, and {pixels[0]} x {pixels[1]} are too many "
            f"({'; '.join(shop.why)})",
            where=shop.name,
            do="lower the dpi, or export it as PDF",
        )
    whole = (shop.folder / "whole.svg").read_bytes()
    (shop.folder / "pixels.svg").write_bytes(stretched_svg(whole, target.root_px, pixels))
    # A large picture takes long to write; that it can be drawn at all was seen before.
    by_size = pixels[0] * pixels[1] / PIXELS_A_SECOND
    seconds = min(max(shop.seconds, by_size), shop.options.limits.max_seconds)
    told = shop.run(["picture"], {"picture": "pixels.svg", "picture_png": "pixels.png"}, seconds)
    if told["picture"]:
        raise _not_drawn(shop, told["picture"])
    return pixel_page((shop.folder / "pixels.png").read_bytes(), target.page)


def _told(
    shop: Workshop, page: bytes, route: str, agreement: Agreement, notices: list[Notice]
) -> Converted:
    """The page with what its route means for the maker."""
    level = agreement.worst_level
    text = (
        f"drawn by {route}; the worst 1 mm tile differs by {level:.1f} of 255 from an independent "
        f"drawing (limit {AGREE_LEVEL:.0f})"
    )
    severity = Severity.NOTE
    if route == "svglib":
        text += f"; the first route fell out: {'; '.join(shop.why)}"
        severity = Severity.WARNING
    elif route == "pixels":
        text += (
            f"; carried over as pixels at {shop.options.dpi:g} dpi, so strokes cannot be stripped "
            f"and edges are no longer exact: {'; '.join(shop.why)}"
        )
        severity = Severity.DANGER
    numbers = (("worst_level", level), ("px_per_mm", agreement.px_per_mm))
    route_notice = Notice("svg-route", text, shop.name, severity, None, numbers)
    return Converted(page, route, agreement, (*notices, route_notice))
