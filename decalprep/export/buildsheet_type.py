"""Words of build sheets set in type: each paragraph is broken into lines and drawn once.

Most words are the same on every page. Where a paragraph comes again, all its further places show
one form that holds it, so that a file of many pages is small and soon written.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PLAIN, BOLD = "Sheet", "SheetBold"
BODY, LISTED, HEAD = "body", "listed", "head"
"""Kinds of paragraph: plain words, words behind a number, a heading."""


@dataclass(frozen=True)
class Set:
    """A paragraph set in a width; sizes in points."""

    name: str
    paragraph: Any
    width: float
    height: float
    before: float
    after: float


class Words:
    """The paragraphs of one document."""

    def __init__(self, canvas: "Canvas") -> None:
        self.canvas = canvas
        self._set: dict[tuple[str, str, str, float, float], Set] = {}
        self._styles: dict[float, dict[str, Any]] = {}
        self._drawn: set[str] = set()

    def paragraph(self, text: str, kind: str, size: float, width: float, *, head: str = "") -> Set:
        """A paragraph of a kind; ``head`` is bold before it, or its number where it is listed."""
        key = (text, kind, head, size, width)
        if key not in self._set:
            paragraph = self._made(text, kind, size, head)
            height = paragraph.wrap(width, 1e6)[1]
            before, after = paragraph.getSpaceBefore(), paragraph.getSpaceAfter()
            name = f"words{len(self._set)}"
            self._set[key] = Set(name, paragraph, width, height, before, after)
        return self._set[key]

    def _made(self, text: str, kind: str, size: float, head: str) -> Any:
        from xml.sax.saxutils import escape

        from reportlab.platypus import Paragraph

        if size not in self._styles:
            self._styles[size] = _styles(size)
        style = self._styles[size][kind]
        if kind == LISTED:
            return Paragraph(escape(shown(text)), style, bulletText=head)
        bold = f"<font name='{BOLD}'>{escape(shown(head))}</font> " if head else ""
        return Paragraph(bold + escape(shown(text)), style)

    def height(self, flow: Sequence[Set]) -> float:
        """Height in points of paragraphs below each other."""
        total = sum(one.height + one.after for one in flow)
        return total + sum(one.before for one in flow[1:])

    def draw(self, flow: Sequence[Set], x: float, top: float) -> None:
        """Draw paragraphs below each other, the first right under ``top``."""
        y = top
        for k, one in enumerate(flow):
            y -= one.before if k else 0.0
            y -= one.height
            self._place(one, x, y)
            y -= one.after

    def _place(self, one: Set, x: float, y: float) -> None:
        canvas = self.canvas
        if one.name not in self._drawn:
            self._drawn.add(one.name)
            one.paragraph.drawOn(canvas, x, y)
            return
        if not canvas.hasForm(one.name):
            slack = one.height  # descenders reach below the paragraph
            canvas.beginForm(one.name, -slack, -slack, one.width + slack, one.height + slack)
            one.paragraph.drawOn(canvas, 0, 0)
            canvas.endForm()
        canvas.saveState()
        canvas.translate(x, y)
        canvas.doForm(one.name)
        canvas.restoreState()


def register_fonts() -> None:
    """Make the typeface known to reportlab."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    known = pdfmetrics.getRegisteredFontNames()
    for name, file in ((PLAIN, "Vera.ttf"), (BOLD, "VeraBd.ttf")):
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, file))


@lru_cache(maxsize=2000)
def shown(text: str) -> str:
    """The text with letters that the typeface lacks as question marks."""
    from reportlab.pdfbase import pdfmetrics

    glyphs: dict[int, int] = pdfmetrics.getFont(PLAIN).face.charToGlyph
    return "".join(c if ord(c) in glyphs or c.isspace() else "?" for c in text)


def _styles(size: float) -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle(
        BODY, fontName=PLAIN, fontSize=size, leading=size * 1.32, spaceAfter=size * 0.35
    )
    listed = ParagraphStyle(
        LISTED, parent=body, leftIndent=size * 2.3, bulletIndent=0, bulletFontName=PLAIN,
        bulletFontSize=size,
    )  # fmt: skip
    head = ParagraphStyle(
        HEAD, fontName=BOLD, fontSize=size + 1.5, leading=(size + 1.5) * 1.3,
        spaceBefore=size * 0.7, spaceAfter=size * 0.4,
    )  # fmt: skip
    return {BODY: body, LISTED: listed, HEAD: head}
