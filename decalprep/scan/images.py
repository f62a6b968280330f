"""Scan files to grey pictures: PNG, JPEG, TIFF by Pillow, PDF by its embedded page pictures."""

import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops, ImageSequence, UnidentifiedImageError

from decalprep.errors import InputProblem, TooMuch, did_you_mean
from decalprep.heard import load_whole
from decalprep.units import PT_PER_IN

Grey = npt.NDArray[np.uint8]

LARGEST_PIXELS = 250_000_000
"""An A3 page at 1200 dpi has 280 million; A4 at 1200 has 139 million."""
LARGEST_BYTES = 1_000_000_000
_LEAST_SIDE_PX = 300
_BAND_PX = 512
_FORMATS = ("PNG", "JPEG", "TIFF")
# EXIF 2.32 (CIPA DC-008): the EXIF tags' own directory, model, focal length, digital zoom.
_EXIF, _MODEL, _FOCAL, _ZOOM = 0x8769, 0x0110, 0x920A, 0xA404


@dataclass(frozen=True)
class ScanImage:
    """One scanned picture: grey levels (rows from the top), and the dpi its file claims (x, y).

    ``darkest`` and ``lightest`` are the darkest and lightest colour channel of each pixel where the
    scan has colours: thin coloured lines that grey would weaken stand out in the one on paper, in
    the other on dark ink. ``camera`` names the camera, lens and zoom of a photograph as far as the
    file says.
    """

    name: str
    grey: Grey
    claimed_dpi: tuple[float, float] | None = None
    darkest: Grey | None = None
    lightest: Grey | None = None
    camera: str = ""

    @property
    def views(self) -> tuple[Grey, ...]:
        """The pictures to look for lines in."""
        found = [v for v in (self.darkest, self.lightest) if v is not None]
        return tuple(found) if len(found) == 2 else (*found, self.grey)

    @property
    def mirrored(self) -> "ScanImage":
        """The picture, left and right exchanged."""

        def turned(view: Grey | None) -> Grey | None:
            return None if view is None else np.ascontiguousarray(view[:, ::-1])

        grey = np.ascontiguousarray(self.grey[:, ::-1])
        return replace(
            self, grey=grey, darkest=turned(self.darkest), lightest=turned(self.lightest)
        )


def read_scan(path: Path, *, colours: bool = True) -> tuple[ScanImage, ...]:
    """The pictures in a scan file, one a page, as 8-bit grey, without ``colours`` nothing else.

    Does not turn pictures by their EXIF tag: the printed markers tell how the page lies, and what
    a lens does stays with the picture's own middle.

    Raises:
        InputProblem: it cannot be read, or is no picture.
        TooMuch: more pixels than any scan of a page needs.
    """
    try:
        if path.exists() and not path.is_file():
            raise InputProblem("is no plain file", where=str(path), do="name the scan itself")
        if path.stat().st_size > LARGEST_BYTES:
            raise TooMuch(
                f"is larger than {LARGEST_BYTES / 1e6:.0f} MB",
                where=str(path),
                do="scan at 300 dpi",
            )
        with path.open("rb") as stream:
            is_pdf = stream.read(1024).lstrip().startswith(b"%PDF-")
            stream.seek(0)
            if is_pdf:
                pages = _from_pdf(stream.read(), path, colours=colours)
            else:
                pages = _from_picture(stream, path, colours=colours)
    except FileNotFoundError:
        names = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
        near = did_you_mean(path.name, names) or "check the path"
        raise InputProblem("there is no such file", where=str(path), do=near) from None
    except OSError as problem:
        raise InputProblem(f"cannot be read ({problem.strerror})", where=str(path)) from problem
    for page in pages:
        if min(page.grey.shape) < _LEAST_SIDE_PX:
            raise InputProblem(
                f"is only {page.grey.shape[1]} x {page.grey.shape[0]} pixels",
                where=page.name,
                do="scan the whole page at 150 to 1200 dpi",
            )
    return pages


def _from_picture(stream: BinaryIO, path: Path, *, colours: bool) -> tuple[ScanImage, ...]:
    found = []
    with warnings.catch_warnings():
        # The size limit is ours, told in our words; damaged tags matter only if pixels do not read.
        warnings.simplefilter("ignore")
        try:
            with Image.open(stream, formats=_FORMATS) as picture:
                several = getattr(picture, "n_frames", 1) > 1 and picture.format == "TIFF"
                frames = ImageSequence.Iterator(picture) if several else [picture]
                for number, frame in enumerate(frames, start=1):
                    name = f"{path}, page {number}" if several else str(path)
                    found.append(_grey_frame(frame, name, colours=colours))
        except TooMuch:
            raise
        except Image.DecompressionBombError:
            raise TooMuch("has too many pixels", where=str(path), do="scan at 300 dpi") from None
        except UnidentifiedImageError:
            raise InputProblem(
                "is no PNG, JPEG, TIFF or PDF", where=str(path), do="save the scan as one of these"
            ) from None
        except (OSError, ValueError, SyntaxError, EOFError, MemoryError) as problem:
            raise InputProblem(f"is damaged ({problem})", where=str(path)) from problem
    return tuple(found)


def _grey_frame(frame: Image.Image, name: str, *, colours: bool) -> ScanImage:
    if frame.width * frame.height > LARGEST_PIXELS:
        raise TooMuch(
            f"has {frame.width * frame.height / 1e6:.0f} million pixels",
            where=name,
            do="scan at 300 dpi: more tells nothing more",
        )
    camera = _camera_of(frame)
    if not colours:
        # A JPEG then decodes its grey alone, at a third of the memory.
        frame.draft("L", frame.size)
    if frame.format == "TIFF":
        load_whole(frame)
    claimed = frame.info.get("dpi")
    dpi = None
    if claimed is not None and float(claimed[0]) > 1 and float(claimed[1]) > 1:
        dpi = (float(claimed[0]), float(claimed[1]))
    if frame.mode in ("I;16", "I;16B", "I;16L", "I", "F"):
        values = np.asarray(frame, dtype=np.float32)
        top = 65535.0 if float(values.max(initial=0)) > 255 else 255.0
        return ScanImage(name, np.clip(values * (255 / top), 0, 255).astype(np.uint8), dpi)
    if frame.mode in ("RGBA", "LA", "PA") or "transparency" in frame.info:
        solid = frame.convert("RGBA")
        paper = Image.new("RGBA", solid.size, "white")
        frame = Image.alpha_composite(paper, solid)
    return replace(_of_picture(name, frame, dpi, colours=colours), camera=camera)


def _camera_of(frame: Image.Image) -> str:
    """Model, focal length and zoom from the EXIF tags, '' where there are none."""
    try:
        tags = frame.getexif()
        own = tags.get_ifd(_EXIF)
        values = [(tags.get(_MODEL), ""), (own.get(_FOCAL), " mm"), (own.get(_ZOOM), " x zoom")]
        return ", ".join(
            (str(v).strip("\0 ") if unit == "" else f"{float(v):.4g}") + unit
            for v, unit in values
            if v not in (None, "")
        )
    except (ValueError, TypeError, KeyError, ZeroDivisionError, SyntaxError, OSError):
        # Damaged tags say nothing; the pixels still count.
        return ""


def _of_picture(
    name: str, picture: Image.Image, dpi: tuple[float, float] | None, *, colours: bool
) -> ScanImage:
    if picture.mode in ("L", "1", "LA") or not colours:
        return ScanImage(name, np.asarray(picture.convert("L"), dtype=np.uint8), dpi)
    shape = (picture.height, picture.width)
    grey, darkest, lightest = (np.empty(shape, np.uint8) for _ in range(3))
    # Band by band: the colours of a whole page at once would take four times its memory.
    for top in range(0, picture.height, _BAND_PX):
        end = min(top + _BAND_PX, picture.height)
        band = picture.crop((0, top, picture.width, end)).convert("RGB")
        grey[top:end] = np.asarray(band.convert("L"))
        red, green, blue = band.split()
        chops = ImageChops
        darkest[top:end] = np.asarray(chops.darker(chops.darker(red, green), blue))
        lightest[top:end] = np.asarray(chops.lighter(chops.lighter(red, green), blue))
    return ScanImage(name, grey, dpi, darkest, lightest)


def _from_pdf(data: bytes, path: Path, *, colours: bool) -> tuple[ScanImage, ...]:
    import pypdfium2 as pdfium  # only where a scan comes as PDF
    import pypdfium2.raw as raw

    try:
        document = pdfium.PdfDocument(data)
    except pdfium.PdfiumError as problem:
        raise InputProblem(f"is damaged ({problem})", where=str(path)) from problem
    found = []
    with document:
        for number, page in enumerate(document, start=1):
            name = f"{path}, page {number}" if len(document) > 1 else str(path)
            objects = list(page.get_objects(filter=(raw.FPDF_PAGEOBJ_IMAGE,), max_depth=3))
            if len(objects) != 1:
                raise InputProblem(
                    f"holds {len(objects)} pictures on one page, a scan has one",
                    where=name,
                    do="give the scan of the printed page, saved as PNG or TIFF",
                )
            wide, high = objects[0].get_px_size()
            if wide * high > LARGEST_PIXELS:
                raise TooMuch(f"has {wide * high / 1e6:.0f} million pixels", where=name)
            # The picture as it was scanned, not as the page shows it: no resampling.
            picture = objects[0].get_bitmap(render=False).to_pil()
            left, bottom, right, top = objects[0].get_bounds()
            sides = (right - left, top - bottom)
            turned = (wide > high) != (sides[0] > sides[1])
            width_pt, height_pt = sides[::-1] if turned else sides
            dpi = (wide * PT_PER_IN / width_pt, high * PT_PER_IN / height_pt)
            found.append(_of_picture(name, picture, dpi, colours=colours))
    return tuple(found)
