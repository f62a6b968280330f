"""Raster files (PNG, JPEG, TIFF, WebP, BMP) to Artwork. The door of this kind: ``read_raster``.

The page has the picture's true size; its pixels are laid in unchanged, turned by the page's matrix
where the EXIF orientation says so. Transparent pixels stay bare paper.
"""

import contextlib
import io
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from decalprep.cleaning.coarse import LINE_ART_PPI, TONE_PPI
from decalprep.errors import DecalprepError, InputProblem, NoSize, TooMuch, UsageProblem
from decalprep.heard import load_whole
from decalprep.intake.evidence import SettledSize, settle_size
from decalprep.intake.options import IntakeOptions, Limits
from decalprep.intake.raster_density import claims, densities, density_notices
from decalprep.intake.raster_page import (
    Pixels,
    decoded,
    decoded_deep,
    jpeg_as_is,
    page_of,
    png_as_is,
    usable_profile,
)
from decalprep.intake.raster_resample import grid_px, resampled
from decalprep.intake.svg_page import PageSize
from decalprep.model import Artwork, Notice, Severity
from decalprep.units import MM_PER_IN, pt_from_mm

FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "BMP")


def read_raster(path: Path, options: IntakeOptions) -> Artwork:
    """The artwork of a raster file at its true size in mm.

    Does not resample unless ``options.resample_dpi`` asks for it, nor guess a density that the
    file does not state.

    Raises:
        InputProblem: not a picture, or damaged. NoSize: no density and no size given.
        TooMuch: more pixels than the limits. Unfaithful: a kind of pixel a page cannot carry.
        UsageProblem: no such page in a TIFF of several.
    """
    name = path.name
    data = _file_bytes(path, options.limits)
    with _opened(data, name, options.limits) as image:
        notices = _choose_frame(image, options, name)
        orientation, found = _orientation(image), densities(data, image)
        pixels, told = _pixels(data, image, name)
        swapped = orientation >= 5
        shown = (pixels.height, pixels.width) if swapped else (pixels.width, pixels.height)
        if pixels.upright:
            shown = (pixels.width, pixels.height)
        settled = _settled(claims(found, shown, swapped=swapped), options, shown, name)
        told += _resolution_notice(pixels, shown, settled, name)
        if options.resample_dpi is not None:
            dpi, before = options.resample_dpi, shown
            shown = grid_px((settled.width_mm, settled.height_mm), dpi)
            stored = shown[::-1] if swapped and not pixels.upright else shown
            pixels = _on_grid(image, pixels, stored, options, name)
            told.append(_resampled_notice(before, shown, dpi, name))
    size = PageSize(pt_from_mm(settled.width_mm), pt_from_mm(settled.height_mm))
    notices += [*settled.notices, *density_notices(found, name), *told]
    return Artwork(
        name=path.stem,
        source=name,
        kind="raster",
        page_pdf=page_of(pixels, size, orientation=1 if pixels.upright else orientation),
        page_width_pt=size.width_pt,
        page_height_pt=size.height_pt,
        width_mm=settled.width_mm,
        height_mm=settled.height_mm,
        evidence=settled.evidence,
        notices=tuple(notices),
        pixels=shown,
    )


def _file_bytes(path: Path, limits: Limits) -> bytes:
    try:
        if path.stat().st_size > limits.max_bytes:
            raise TooMuch(
                f"is larger than {limits.max_bytes / 1e6:.0f} MB",
                where=path.name,
                do="make it smaller",
            )
        return path.read_bytes()
    except OSError as problem:
        raise InputProblem(
            f"cannot be read ({problem.strerror or problem})", where=path.name, do="check the path"
        ) from problem


@contextlib.contextmanager
def _opened(data: bytes, name: str, limits: Limits) -> Iterator[Any]:
    """The file opened by Pillow; whatever a decoder raises is told in one line.

    Pillow's own ceiling is a global; it is raised to ours only while the file is open.
    """
    from PIL import Image, UnidentifiedImageError

    before = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = limits.max_pixels
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                _check_pixels(image, name, limits)
                yield image
    except DecalprepError:
        raise
    except Image.DecompressionBombError as problem:
        raise TooMuch(
            f"has more than {limits.max_pixels:,} pixels", where=name, do="make it smaller"
        ) from problem
    except MemoryError as problem:
        raise TooMuch("does not fit in memory", where=name, do="make it smaller") from problem
    except UnidentifiedImageError as problem:
        raise InputProblem(
            "is not a PNG, JPEG, TIFF, WebP or BMP picture, or is damaged",
            where=name,
            do="save it again as PNG",
        ) from problem
    except Exception as problem:
        # Pillow's decoders raise OSError, ValueError, SyntaxError, struct.error and more.
        raise InputProblem(
            f"is damaged ({problem})", where=name, do="save it again as PNG"
        ) from problem
    finally:
        Image.MAX_IMAGE_PIXELS = before


def _check_pixels(image: Any, name: str, limits: Limits) -> None:
    if image.width * image.height > limits.max_pixels:
        raise TooMuch(
            f"has {image.width} x {image.height} pixels, more than {limits.max_pixels:,}",
            where=name,
            do="make it smaller",
        )


def _choose_frame(image: Any, options: IntakeOptions, name: str) -> list[Notice]:
    frames = getattr(image, "n_frames", 1)
    if options.page > frames or options.page < 1:
        raise UsageProblem(
            f"has no page {options.page} (it has {frames})", where=name, do="choose another page"
        )
    if image.format == "MPO" or frames == 1:
        return []
    image.seek(options.page - 1)
    text = f"holds {frames} pictures; number {options.page} was taken"
    return [Notice("several-pictures", text, name, Severity.WARNING)]


def _orientation(image: Any) -> int:
    try:
        value = int(image.getexif().get(274, 1))
    except Exception:
        # Damaged EXIF raises many types; the picture then lies as it is stored.
        return 1
    return value if 1 <= value <= 8 else 1


def _settled(
    stated: tuple[Any, ...], options: IntakeOptions, shown: tuple[int, int], name: str
) -> SettledSize:
    words = (options.width_mm, options.height_mm, options.known_distance)
    if not stated and all(word is None for word in words):
        raise NoSize(
            f"has {shown[0]} x {shown[1]} pixels but does not say how many go to an inch",
            where=name,
            do='say its true size, as in width = "80 mm"',
        )
    page = (float(shown[0]), float(shown[1]))
    return settle_size(stated, options, page_size=page, name=name)


def _pixels(data: bytes, image: Any, name: str) -> tuple[Pixels, list[Notice]]:
    """The image for the page, after a full decode to be sure that the file is whole."""
    if image.format == "TIFF":
        load_whole(image)
    else:
        image.load()
    deep = _is_deep(data, image)
    made: Pixels | None = None
    if image.format in ("JPEG", "MPO"):
        made = jpeg_as_is(data, image)
    elif image.format == "PNG" and not getattr(image, "is_animated", False):
        made = png_as_is(data, image)
    notices: list[Notice] = []
    if made is None and deep:
        made = decoded_deep(data, image)
        if made is not None:
            made.profile = image.info.get("icc_profile")
        else:
            text = "has 16 bits a channel; 8 are carried over"
            notices.append(Notice("depth-reduced", text, name, Severity.NOTE))
    if made is None:
        made = decoded(image, name=name)
    # Pillow turns a TIFF upright while it decodes, and nothing else.
    made.upright = image.format == "TIFF"
    channels = 3 if made.palette is not None else made.channels
    if made.profile is not None and not usable_profile(made.profile, channels):
        text = "its colour profile does not fit its pixels and was left out"
        notices.append(Notice("profile-dropped", text, name))
        made.profile = None
    if made.channels == 4 and made.profile is None:
        text = "has CMYK colours without a profile; each printer shows them in its own way"
        notices.append(Notice("cmyk-without-profile", text, name))
    return made, notices


def _on_grid(
    image: Any, pixels: Pixels, size_px: tuple[int, int], options: IntakeOptions, name: str
) -> Pixels:
    """The picture with other pixels, and with the profile only where that was kept."""
    made = resampled(image, size_px, name=name, limits=options.limits)
    made.upright = pixels.upright
    made.profile = made.profile if pixels.profile is not None else None
    return made


def _resampled_notice(
    before: tuple[int, int], after: tuple[int, int], dpi: float, name: str
) -> Notice:
    text = (
        f"its {before[0]} x {before[1]} pixels were made {after[0]} x {after[1]}, the grid of "
        f"{dpi:g} dots an inch, as you asked"
    )
    return Notice("resampled", text, name, Severity.NOTE)


def _is_deep(data: bytes, image: Any) -> bool:
    """Whether the file has 16 bits a channel in colour or with alpha, which Pillow cuts to 8."""
    if image.format == "PNG":
        return len(data) > 25 and data[24] == 16 and data[25] in (2, 4, 6)
    if image.format == "TIFF":
        bits = image.tag_v2.get(258, (8,))
        deepest = max(bits) if isinstance(bits, tuple) else bits
        return bool(deepest == 16) and image.mode != "I;16"
    return False


def _resolution_notice(
    pixels: Pixels, shown: tuple[int, int], settled: SettledSize, name: str
) -> list[Notice]:
    ppi = min(shown[0] * MM_PER_IN / settled.width_mm, shown[1] * MM_PER_IN / settled.height_mm)
    line_art = pixels.bits == 1
    least = LINE_ART_PPI if line_art else TONE_PPI
    if ppi >= least * (1 - 1e-3):
        return []
    kind = "black-and-white line art" if line_art else "a picture"
    text = (
        f"has {ppi:.0f} pixels an inch at true size, under {least:.0f} for {kind}: edges will "
        "look stepped or soft"
    )
    return [Notice("low-resolution", text, name, numbers=(("ppi", ppi),))]
