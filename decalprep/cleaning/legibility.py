"""Can it be read and printed at its true size? Letter height, line width, gaps, contrast.

Sources: letter height h = 2 D tan(angle / 2); labels at least 15, better 20 arc minutes
(NUREG-0700 r3, 11.4.1.5-1), 16 the usual floor (ISO 9241-303, from memory). Contrast: WCAG 2.x
success criterion 1.4.3, 4.5 : 1. Least printed widths, 0.25 pt for ink and 0.5 pt for knocked-out
lines: common practice for desktop printers, no source.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from decalprep.cleaning.coarse import coarse_images
from decalprep.cleaning.contrast import contrast_ratio
from decalprep.cleaning.features import Narrow, colours_in, dark_mask, narrow_places
from decalprep.cleaning.letters import (
    Letters,
    Word,
    height_mm_for_angle,
    visual_angle_arcmin,
    words_of,
)
from decalprep.cleaning.rendering import FinePicture, dpi_within, fine_picture, whole_box
from decalprep.errors import UsageProblem
from decalprep.geometry import Box
from decalprep.model import Artwork, Notice, Severity
from decalprep.pdfstream import PageContents, read_page
from decalprep.units import MM_PER_IN, MM_PER_PT

_PIXELS_A_LINE = 5
_MOST_GROUPS = 5
_MOST_WORDS = 2000


@dataclass(frozen=True)
class LegibilitySettings:
    """What is asked of the artwork; lengths in mm, angles in arc minutes.

    Raises:
        UsageProblem: a value that is not a positive number.
    """

    viewing_distance_mm: float = 700.0
    least_arcmin: float = 16.0
    preferred_arcmin: float = 20.0
    printer_dpi: float = 600.0
    least_line_mm: float = 0.25 * MM_PER_PT
    least_knockout_mm: float = 0.5 * MM_PER_PT
    least_contrast: float = 4.5

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not (math.isfinite(value) and value > 0):
                raise UsageProblem(
                    f"{name.replace('_', ' ')} {value} cannot be used", do="give a number over 0"
                )

    @property
    def dot_mm(self) -> float:
        """One printer dot."""
        return MM_PER_IN / self.printer_dpi


def check_legibility(
    artwork: Artwork, settings: LegibilitySettings | None = None
) -> tuple[Notice, ...]:
    """Warnings about what could not be read or would not print at true size, worst first.

    Does not read lettering inside images, nor letters aslant; narrow places are found between
    dark and light only (L* 50), give or take a pixel of the rendering, whose dpi is told where
    it is too coarse to judge.

    Raises:
        InputProblem: the page cannot be read or drawn.
    """
    wanted = settings or LegibilitySettings()
    contents = read_page(artwork.page_pdf)
    letters = words_of(artwork, contents)
    box = whole_box(artwork)
    dpi = dpi_within(box, _PIXELS_A_LINE * MM_PER_IN / wanted.least_line_mm)
    picture = fine_picture(artwork, box, dpi, pictures=bool(contents.images))
    notices = [
        *_heights(artwork, letters, bool(contents.images), wanted),
        *_strokes(artwork, contents, wanted),
        *_narrow(artwork, picture, wanted),
        *_contrasts(artwork, letters.words, picture, wanted),
        *coarse_images(artwork, contents),
    ]
    rank = {Severity.DANGER: 0, Severity.WARNING: 1, Severity.NOTE: 2}
    return tuple(sorted(notices, key=lambda notice: rank[notice.severity]))


def _heights(
    artwork: Artwork, letters: Letters, has_images: bool, wanted: LegibilitySettings
) -> list[Notice]:
    distance = wanted.viewing_distance_mm
    notices = []
    by_height: dict[float, list[Word]] = {}
    for word in sorted(letters.words, key=lambda word: word.height_mm):
        by_height.setdefault(round(word.height_mm, 1), []).append(word)
    for group in list(by_height.values())[:_MOST_GROUPS]:
        height_mm = group[0].height_mm
        angle = visual_angle_arcmin(height_mm, distance)
        if angle >= wanted.preferred_arcmin:
            break
        too_small = angle < wanted.least_arcmin
        asked = wanted.least_arcmin if too_small else wanted.preferred_arcmin
        least_mm = height_mm_for_angle(asked, distance)
        notices.append(
            Notice(
                "capitals-too-small" if too_small else "capitals-small",
                f"{_named(group)}: capitals {height_mm:.2f} mm high, {angle:.1f} arc minutes at "
                f"{distance:g} mm; {asked:g} need {least_mm:.2f} mm (h = 2 D tan(angle/2))",
                artwork.name,
                Severity.WARNING if too_small else Severity.NOTE,
                group[0].box_mm,
                (("height_mm", height_mm), ("angle_arcmin", angle), ("least_mm", least_mm)),
            )
        )
    if letters.aslant:
        text = f"{letters.aslant} capitals or figures stand aslant and were not measured"
        notices.append(Notice("letters-aslant", text, artwork.name, Severity.NOTE))
    if not letters.words and has_images:
        text = "no lettering was found outside images; its height was not checked"
        notices.append(Notice("letters-in-images", text, artwork.name, Severity.NOTE))
    return notices


def _named(words: Sequence[Word]) -> str:
    """The first few words by their text, and how many there are."""
    texts = list(dict.fromkeys(repr(word.text) for word in words if word.text))
    said = ", ".join(texts[:4]) or "letter-like shapes"
    return f"{said} and others ({len(words)} words)" if len(texts) > 4 else said


def _strokes(artwork: Artwork, contents: PageContents, wanted: LegibilitySettings) -> list[Notice]:
    """Visible lines whose width is under the least, one notice a width."""
    smallest = artwork.artwork_from_page.stretch[1]
    thin: dict[float, list[Box]] = {}
    for shape in contents.shapes:
        if shape.stroke and not shape.fill and shape.visible and shape.paths:
            width = round(shape.stroke_width_pt[1] * smallest, 4)
            if width < wanted.least_line_mm - 1e-6:
                place = shape.paths[0].mapped(artwork.artwork_from_page).box
                thin.setdefault(width, []).append(place)
    notices = []
    for width, places in sorted(thin.items())[:_MOST_GROUPS]:
        dots = width / wanted.dot_mm
        notices.append(
            Notice(
                "line-finer-than-a-dot" if dots < 1 else "line-thin",
                f"{'1 line is' if len(places) == 1 else f'{len(places)} lines are'} "
                f"{width:.3f} mm wide, {dots:.1f} dots at "
                f"{wanted.printer_dpi:g} dpi; {wanted.least_line_mm:.3f} mm print safely",
                artwork.name,
                Severity.WARNING,
                places[0],
                (("width_mm", width), ("dots", dots), ("count", float(len(places)))),
            )
        )
    return notices


def _narrow(artwork: Artwork, picture: FinePicture, wanted: LegibilitySettings) -> list[Notice]:
    """Narrow ink and narrow gaps on the rendering."""
    if picture.dpi < 3 * MM_PER_IN / wanted.least_line_mm:
        text = (
            f"the artwork is so large that it was judged at {picture.dpi:.0f} dpi; "
            "narrow ink was not looked for"
        )
        coarse = [Notice("judged-coarsely", text, artwork.name, Severity.NOTE)]
    else:
        coarse = []
    dark = dark_mask(picture, wanted.least_line_mm, wanted.least_knockout_mm)
    ink = narrow_places(dark, wanted.least_line_mm)
    gaps = narrow_places(dark, wanted.least_knockout_mm, gaps=True)
    return [
        *coarse,
        *_told(artwork, ink, "ink-narrow", "ink is narrower than", wanted.least_line_mm, wanted),
        *_told(
            artwork,
            gaps,
            "gap-narrow",
            "a knocked-out line or gap would fill in: narrower than",
            wanted.least_knockout_mm,
            wanted,
        ),
    ]


def _told(
    artwork: Artwork,
    found: tuple[list[Narrow], int],
    code: str,
    said: str,
    least_mm: float,
    wanted: LegibilitySettings,
) -> Iterable[Notice]:
    places, count = found
    by_width: dict[float, list[Narrow]] = {}
    for place in places:
        by_width.setdefault(round(place.width_mm, 2), []).append(place)
    for group in list(by_width.values())[:_MOST_GROUPS]:
        width_mm = group[0].width_mm
        dots = width_mm / wanted.dot_mm
        finer = "; finer than a dot" if dots < 1 else ""
        yield Notice(
            code,
            f"{said} {least_mm:.3f} mm: about {width_mm:.2f} mm, {dots:.1f} dots at "
            f"{wanted.printer_dpi:g} dpi{finer} ({len(group)} of {count} such places)",
            artwork.name,
            Severity.WARNING,
            group[0].box_mm,
            (("width_mm", width_mm), ("dots", dots), ("count", float(len(group)))),
        )


def _contrasts(
    artwork: Artwork, words: Sequence[Word], picture: FinePicture, wanted: LegibilitySettings
) -> list[Notice]:
    """Words whose colour stands too little out, one notice a pair of colours."""
    low: dict[tuple[object, object], tuple[float, list[Word]]] = {}
    for word in words[:_MOST_WORDS]:
        pair = colours_in(picture, word.box_mm)
        ratio = 1.0 if pair is None else contrast_ratio(*pair)
        if ratio < wanted.least_contrast:
            key = (None, None) if pair is None else (pair[0], pair[1])
            low.setdefault(key, (ratio, []))[1].append(word)
    notices = []
    for ratio, group in sorted(low.values(), key=lambda item: item[0])[:_MOST_GROUPS]:
        said = _named(group)
        notices.append(
            Notice(
                "contrast-low",
                f"{said}: stands out {ratio:.2f} : 1 from their ground; "
                f"{wanted.least_contrast:g} : 1 is asked (WCAG 2.x, 1.4.3)",
                artwork.name,
                Severity.WARNING,
                group[0].box_mm,
                (("contrast", ratio), ("count", float(len(group)))),
            )
        )
    return notices
