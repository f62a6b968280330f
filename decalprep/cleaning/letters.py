"""How high the letters of an artwork are, and the angle at which they are seen."""

import ctypes
import math
from dataclasses import dataclass

from decalprep.cleaning.rendering import open_drawing
from decalprep.geometry import Box
from decalprep.model import Artwork
from decalprep.pdfstream import PageContents

_ROW_LEAST = 3
_LIKE = 0.08
_LETTER_MM = (0.4, 30.0)
_MOST_SHAPES = 20_000
_LAST_CODE = 0x10FFFF


def visual_angle_arcmin(height_mm: float, distance_mm: float) -> float:
    """Angle in arc minutes that a height in mm fills from a distance in mm: 2 atan(h / 2D).

    >>> round(visual_angle_arcmin(4.072, 700), 1)
    20.0
    """
    return math.degrees(2 * math.atan(height_mm / (2 * distance_mm))) * 60


def height_mm_for_angle(arcmin: float, distance_mm: float) -> float:
    """Height in mm that fills an angle in arc minutes from a distance in mm: 2 D tan(angle / 2).

    >>> round(height_mm_for_angle(16, 700), 3)
    3.258
    """
    return 2 * distance_mm * math.tan(math.radians(arcmin / 60) / 2)


@dataclass(frozen=True)
class Word:
    """Letters that stand together. ``height_mm`` is that of its lowest capital or figure.

    ``outlined`` words are rows of equally high shapes that look like letters; their text is
    not known.
    """

    text: str
    height_mm: float
    box_mm: Box
    outlined: bool = False


@dataclass(frozen=True)
class Letters:
    """Words with capitals or figures, and how many letters stand aslant and were not measured."""

    words: tuple[Word, ...]
    aslant: int = 0


@dataclass(frozen=True)
class _Letter:
    character: str
    box: Box
    height_mm: float | None


def words_of(artwork: Artwork, contents: PageContents) -> Letters:
    """Words of the artwork's text and of its outlined lettering, in mm.

    Does not measure letters turned by other than quarter turns, nor text inside images.
    Invisible text (render modes 3 and 7) is left out.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    letters, aslant = _text_letters(artwork)
    letters = _shown(letters, artwork, contents)
    words: list[Word] = []
    group: list[_Letter] = []
    for letter in [*letters, None]:
        if letter is None or letter.character.isspace() or _apart(group, letter):
            if group:
                words += _word(group)
            group = []
        if letter is not None and not letter.character.isspace():
            group.append(letter)
    return Letters((*words, *_outlined_words(artwork, contents)), aslant)


def _shown(letters: list[_Letter], artwork: Artwork, contents: PageContents) -> list[_Letter]:
    """The letters without those of hidden layers: pdfium's text does not tell layers apart."""
    to_mm = artwork.artwork_from_page
    boxes = {
        visible: [
            Box(*to_mm.apply(t.box_pt.x0, t.box_pt.y0), *to_mm.apply(t.box_pt.x1, t.box_pt.y1))
            for t in contents.texts
            if t.visible is visible
        ]
        for visible in (True, False)
    }
    if not boxes[False]:
        return letters

    def stands_in(letter: _Letter, boxes_mm: list[Box]) -> bool:
        middle = Box(*letter.box.centre, *letter.box.centre)
        size = max(letter.box.height, letter.box.width)
        return any(
            box.contains(middle) and 0.3 * min(box.height, box.width) <= size for box in boxes_mm
        )

    return [
        letter
        for letter in letters
        if letter.character.isspace()
        or not stands_in(letter, boxes[False])
        or stands_in(letter, boxes[True])
    ]


def _apart(group: list[_Letter], letter: _Letter) -> bool:
    if not group:
        return False
    before = group[-1].box
    reach = 1.5 * max(before.height, before.width, letter.box.height)
    return not before.grown(reach).contains(Box(*letter.box.centre, *letter.box.centre))


def _word(group: list[_Letter]) -> list[Word]:
    heights = [letter.height_mm for letter in group if letter.height_mm is not None]
    if not heights:
        return []
    box = group[0].box
    for letter in group[1:]:
        box = box.union(letter.box)
    return [Word("".join(letter.character for letter in group), min(heights), box)]


def _text_letters(artwork: Artwork) -> tuple[list[_Letter], int]:
    import pypdfium2.raw as raw

    letters: list[_Letter] = []
    aslant = 0
    to_mm = artwork.artwork_from_page
    with open_drawing(artwork) as page:
        textpage = page.get_textpage()
        sides = [ctypes.c_double() for _ in range(4)]
        for index in range(raw.FPDFText_CountChars(textpage)):
            code = raw.FPDFText_GetUnicode(textpage, index)
            character = chr(code) if code <= _LAST_CODE else "\ufffd"
            shown = raw.FPDFText_GetTextObject(textpage, index)
            mode = raw.FPDFTextObj_GetTextRenderMode(shown) if shown else 0
            found = raw.FPDFText_GetCharBox(textpage, index, *(ctypes.byref(s) for s in sides))
            if not found or mode in (3, 7):
                continue
            left, right, bottom, top = (side.value for side in sides)
            box = Box(*to_mm.apply(left, bottom), *to_mm.apply(right, top))
            angle = math.degrees(raw.FPDFText_GetCharAngle(textpage, index)) % 180
            height: float | None = None
            if character.isupper() or character.isdigit():
                if min(angle, 180 - angle) < 1:
                    height = box.height
                elif abs(angle - 90) < 1:
                    height = box.width
                else:
                    aslant += 1
            letters.append(_Letter(character, box, height if height else None))
        textpage.close()
    return letters, aslant


def _outlined_words(artwork: Artwork, contents: PageContents) -> list[Word]:
    """Rows of at least three shapes of about equal height and foot, close to one another."""
    if len(contents.shapes) > _MOST_SHAPES:
        return []
    to_mm = artwork.artwork_from_page
    boxes: list[Box] = []
    for shape in contents.shapes:
        if shape.visible and shape.fill and shape.paths:
            own = [path.mapped(to_mm).box for path in shape.paths]
            boxes += [b for b in own if not any(o != b and o.contains(b) for o in own)]
    low, high = _LETTER_MM
    boxes = [b for b in boxes if low <= b.height <= high and b.width <= 1.6 * b.height]
    boxes.sort(key=lambda b: (round(b.y0, 1), b.x0))
    words: list[Word] = []
    row: list[Box] = []
    for box in [*boxes, None]:
        if box is not None and row and _same_row(row[-1], box):
            row.append(box)
            continue
        if len(row) >= _ROW_LEAST:
            whole = row[0]
            for other in row[1:]:
                whole = whole.union(other)
            words.append(Word("", min(b.height for b in row), whole, outlined=True))
        row = [box] if box is not None else []
    return words


def _same_row(one: Box, other: Box) -> bool:
    slack = _LIKE * one.height
    return (
        abs(one.y0 - other.y0) <= slack
        and abs(one.height - other.height) <= slack
        and -slack <= other.x0 - one.x1 <= 1.2 * one.height
    )
