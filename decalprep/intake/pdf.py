"""PDF files to Artwork: one chosen page, normalised, with what was left behind told.

A page's size is exact in its own unit, 1/72 in (ISO 32000-1, 8.3.2.3) times UserUnit; that is the
file's physical evidence. The page boxes say where the picture lies, never how large a point is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf

from decalprep.errors import InputProblem, TooMuch, UsageProblem
from decalprep.intake.evidence import settle_size
from decalprep.intake.files import read_whole
from decalprep.intake.options import IntakeOptions
from decalprep.intake.pdflayers import carry_layers
from decalprep.intake.pdfpage import (
    PageFrame,
    content_bytes,
    page_frame,
    saved,
    single_page,
    strip_private,
)
from decalprep.intake.pdftold import document_notices, font_notices, frame_notices, page_notices
from decalprep.intake.pdfweight import refuse_heavy_page
from decalprep.model import Artwork, EvidenceRank, Notice, Severity, SizeEvidence
from decalprep.units import mm_from_pt

_GUESSED_SIZE = "MediaBox is undefined"
"""The library then takes a page of its own for it; a size is never guessed here."""


def read_pdf(path: Path, options: IntakeOptions) -> Artwork:
    """The chosen page of a PDF as an Artwork at its true size in mm.

    Does not take annotations, form fields, scripts, links or attachments; says which there were.

    Raises:
        InputProblem: damaged beyond repair, a password is needed, an empty page.
        UsageProblem: no such page or layer.
        TooMuch: beyond a limit.
    """
    data = read_whole(path, options.limits)
    return artwork_from_pdf(data, options, name=path.stem, source=str(path))


def artwork_from_pdf(data: bytes, options: IntakeOptions, *, name: str, source: str) -> Artwork:
    """As ``read_pdf``, from bytes; ``source`` is named in messages."""
    with _opened(data, source) as document:
        try:
            return _artwork(document, options, name, source)
        except (pikepdf.PdfError, RecursionError, RuntimeError, ValueError, TypeError) as error:
            raise InputProblem(
                f"the PDF is damaged ({_first_line(error)})", where=source, do="export it again"
            ) from None


def _opened(data: bytes, source: str) -> pikepdf.Pdf:
    try:
        return pikepdf.open(BytesIO(data), suppress_warnings=True)
    except pikepdf.PasswordError:
        raise InputProblem(
            "the PDF needs a password", where=source, do="save a copy without one"
        ) from None
    except (pikepdf.PdfError, RecursionError, RuntimeError, ValueError) as error:
        raise InputProblem(
            f"the PDF is damaged and cannot be repaired ({_first_line(error)})",
            where=source,
            do="export it again",
        ) from None


_PLACE = re.compile(r"(stream )?<_io\.BytesIO object at 0x[0-9a-f]+>,? ?|unknown file name:? ?")


def _first_line(error: BaseException | str) -> str:
    line = (str(error).splitlines() or ["no reason given"])[0]
    return _PLACE.sub("", line).strip(" :")[:140]


def _artwork(document: pikepdf.Pdf, options: IntakeOptions, name: str, source: str) -> Artwork:
    page, count = _chosen_page(document, options, source)
    repairs = [str(warning) for warning in document.get_warnings()]
    if any(_GUESSED_SIZE in warning for warning in repairs):
        raise InputProblem("its page states no size (MediaBox)", where=source, do="export it again")
    frame = page_frame(page, source)
    content = content_bytes(page, options.limits, source)
    if not content.strip():
        raise _empty_page(page, options.page, source)
    notices = [*document_notices(document, source), *page_notices(page, source)]
    notices += frame_notices(frame, source)
    if count > 1:
        text = f"page {options.page} of {count} is taken"
        notices.append(Notice("page-chosen", text, source, Severity.NOTE))
    target = single_page(document, page, frame, content)
    strip_private(target, source)
    refuse_heavy_page(target, options.limits, source)
    layers, told = carry_layers(document, target, options, source)
    notices += told
    notices += font_notices(target, source, allow=options.allow_missing_fonts)
    notices += _repair_notice([*repairs, *map(str, document.get_warnings())], source)
    carried = _Carried(saved(target, document.pdf_version), layers, tuple(notices))
    return _sized(frame, options, carried, name=name, source=source)


def _empty_page(page: Any, number: int, source: str) -> InputProblem:
    if "/Annots" in page:
        return InputProblem(
            f"page {number} holds nothing but annotations or form fields",
            where=source,
            do="print it to a new PDF first",
        )
    return InputProblem(
        f"page {number} has nothing drawn on it", where=source, do="choose another page"
    )


def _chosen_page(document: pikepdf.Pdf, options: IntakeOptions, source: str) -> tuple[Any, int]:
    count = len(document.pages)
    if count == 0:
        raise InputProblem("the PDF has no pages", where=source, do="export it again")
    if count > options.limits.max_pages:
        raise TooMuch(f"the PDF has {count} pages", where=source, do="save the one page you need")
    if not 1 <= options.page <= count:
        have = "only page 1" if count == 1 else f"pages 1 to {count}"
        raise UsageProblem(f"there is no page {options.page}", where=source, do=f"it has {have}")
    return document.pages[options.page - 1].obj, count


@dataclass(frozen=True)
class _Carried:
    """The page as a document of its own, its layers, and what was told on the way."""

    page_pdf: bytes
    layers: tuple[str, ...]
    notices: tuple[Notice, ...]


def _sized(
    frame: PageFrame, options: IntakeOptions, carried: _Carried, *, name: str, source: str
) -> Artwork:
    width_pt, height_pt = frame.size_pt
    unit = "" if frame.user_unit == 1 else f" with UserUnit {frame.user_unit:g}"
    claim = SizeEvidence(
        EvidenceRank.FILE_UNITS,
        mm_from_pt(width_pt),
        mm_from_pt(height_pt),
        f"its PDF page in 1/72 in{unit}",
    )
    size = settle_size([claim], options, page_size=(width_pt, height_pt), name=source)
    return Artwork(
        name=name,
        source=source,
        kind="pdf",
        page_pdf=carried.page_pdf,
        page_width_pt=width_pt,
        page_height_pt=height_pt,
        width_mm=size.width_mm,
        height_mm=size.height_mm,
        evidence=size.evidence,
        notices=(*carried.notices, *size.notices),
        layers=carried.layers,
    )


_HARMLESS = "Resources is missing"


def _repair_notice(repairs: list[str], source: str) -> list[Notice]:
    warnings = [_first_line(w) for w in repairs]
    warnings = [w for w in warnings if _HARMLESS not in w]
    if not warnings:
        return []
    kinds = list(dict.fromkeys(warnings))
    more = f" and {len(kinds) - 2} more" if len(kinds) > 2 else ""
    text = f"the PDF was damaged and was repaired ({'; '.join(kinds[:2])}{more}); look at the proof"
    return [Notice("pdf-repaired", text, source)]
