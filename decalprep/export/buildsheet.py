"""Build sheets: one A4 page a panel with picture, facts, order of work, checks and cautions.

The same panels give the same bytes. Set in the Vera typeface that comes with reportlab, embedded.
"""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from decalprep.errors import InputProblem, UsageProblem
from decalprep.export.buildsheet_plans import (
    HolePlan,
    SheetPlan,
    draw_hole_plan,
    draw_sheet_plan,
    hole_plan,
)
from decalprep.export.buildsheet_words import (
    DISPLAY_ONLY,
    BuildChoices,
    cautions_for,
    checks_for,
    facts_of,
    order_of_work,
)
from decalprep.model import Decal, Notice, Severity
from decalprep.units import page_size_mm, pt_from_mm

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

MARGIN_MM = 15.0
GAP_MM = 6.0
LEFT_SHARE = 0.42
PICTURE_HIGH_MM = 88.0
HOLES_LEAST_PT, HOLES_MOST_PT = 130.0, 230.0
PLAN_LIST_MM, PLAN_LEAST_PT, PLAN_LEADING, PLAN_MOST_COLUMNS = 48.0, 5.0, 1.3, 3
SIZES_PT = (9.0, 8.5, 8.0, 7.5, 7.0, 6.5)
"""Type sizes tried, largest first, until the page holds everything."""


@dataclass(frozen=True)
class BuildSheetPanel:
    """One page: a panel's picture (PNG) and its words, each list in the order it is printed."""

    name: str
    picture_png: bytes
    facts: tuple[tuple[str, str], ...] = ()
    steps: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    cautions: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    holes: HolePlan | None = None


def panel_page(
    decal: Decal,
    picture_png: bytes,
    *,
    choices: BuildChoices,
    notices: Sequence[Notice] = (),
) -> BuildSheetPanel:
    """The usual page for one decal: facts, order of work, checks, cautions, and its warnings."""
    told = dict.fromkeys(n.text for n in notices if n.severity is not Severity.NOTE)
    return BuildSheetPanel(
        decal.panel or decal.name,
        picture_png,
        facts_of(decal, choices),
        order_of_work(decal, choices),
        checks_for(decal),
        cautions_for(choices),
        tuple(told),
        hole_plan(decal),
    )


def build_sheets_pdf(
    panels: Sequence[BuildSheetPanel],
    title: str,
    *,
    page_size: str = "A4",
    plans: Sequence[SheetPlan] = (),
) -> bytes:
    """The build sheets as PDF bytes, one page a panel, then a plan of each sheet.

    Letters that the typeface lacks are printed as "?" and the page says so.

    Raises:
        UsageProblem: no panels, or more words than one page holds at 6.5 pt.
        InputProblem: a picture cannot be read.
    """
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    rl_config.useA85 = 0  # streams as they are: a fifth smaller, and quicker by half
    if not panels:
        raise UsageProblem("a build sheet needs at least one panel")
    width_mm, height_mm = page_size_mm(page_size)
    _register_fonts()
    out = io.BytesIO()
    canvas = Canvas(
        out,
        pagesize=(pt_from_mm(width_mm), pt_from_mm(height_mm)),
        invariant=1,
        pageCompression=1,
    )
    canvas.setTitle(_shown(f"{title}: build sheets"))
    canvas.setAuthor("decalprep")
    count = len(panels) + len(plans)
    for number, panel in enumerate(panels, 1):
        _draw_page(canvas, panel, _shown(title), f"{number} of {count}", height_mm)
        canvas.showPage()
    for number, plan in enumerate(plans, len(panels) + 1):
        _draw_plan(canvas, plan, _shown(title), f"{number} of {count}", height_mm)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


# ---------------------------------------------------------------- letters


def _register_fonts() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    known = pdfmetrics.getRegisteredFontNames()
    for name, file in (("Sheet", "Vera.ttf"), ("SheetBold", "VeraBd.ttf")):
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, file))


def _shown(text: str) -> str:
    """The text with letters that the typeface lacks as question marks."""
    from reportlab.pdfbase import pdfmetrics

    glyphs: dict[int, int] = pdfmetrics.getFont("Sheet").face.charToGlyph
    return "".join(c if ord(c) in glyphs or c.isspace() else "?" for c in text)


def _lacking(panel: BuildSheetPanel) -> bool:
    words = [panel.name, *panel.steps, *panel.checks, *panel.notes]
    words += [w for pair in (*panel.facts, *panel.cautions) for w in pair]
    return any(_shown(w) != w for w in words)


def _paragraph(text: str, style: Any, *, bold_head: str = "") -> Any:
    from xml.sax.saxutils import escape

    from reportlab.platypus import Paragraph

    head = f"<font name='SheetBold'>{escape(_shown(bold_head))}</font> " if bold_head else ""
    return Paragraph(head + escape(_shown(text)), style)


# ---------------------------------------------------------------- one page


def _draw_page(
    canvas: "Canvas", panel: BuildSheetPanel, title: str, number: str, height_mm: float
) -> None:
    width_pt = canvas._pagesize[0]
    margin, gap = pt_from_mm(MARGIN_MM), pt_from_mm(GAP_MM)
    top = _heading(canvas, panel, title, pt_from_mm(height_mm) - margin, width_pt)
    foot = _footer(canvas, panel, number, width_pt)
    left_wide = (width_pt - 2 * margin - gap) * LEFT_SHARE
    right_wide = width_pt - 2 * margin - gap - left_wide
    for size in SIZES_PT:
        left = _left_column(panel, size)
        right = _right_column(panel, size)
        picture_high = min(pt_from_mm(PICTURE_HIGH_MM), _picture_high(panel, left_wide))
        left_room = top - foot - picture_high - 8
        wanted = HOLES_LEAST_PT if panel.holes and size > SIZES_PT[-1] else 0.0
        right_room = top - foot - wanted
        if _height(left, left_wide) <= left_room and _height(right, right_wide) <= right_room:
            break
    else:
        raise UsageProblem(
            f"the build sheet of {panel.name!r} holds more words than fit on one page",
            do="leave out some notes",
        )
    _picture(canvas, panel, (margin, top - picture_high, left_wide, picture_high))
    _flow(canvas, left, margin, top - picture_high - 8, left_wide)
    _flow(canvas, right, margin + left_wide + gap, top, right_wide)
    beside = margin + left_wide + gap
    under = top - _height(right, right_wide)
    _holes(canvas, panel, (beside, foot + 4, beside + right_wide, under), size)


def _holes(
    canvas: "Canvas", panel: BuildSheetPanel, room: tuple[float, float, float, float], size: float
) -> None:
    """The drawing of the holes with their labels, in what is left under the words."""
    x0, y0, x1, y1 = room
    if panel.holes is None or y1 - y0 < HOLES_LEAST_PT * 0.7:
        return
    _, _, head = _styles(size)
    flow = [_paragraph("Holes by label (not to scale)", head)]
    _flow(canvas, flow, x0, y1 - head.spaceBefore, x1 - x0)
    y1 -= head.spaceBefore + _height(flow, x1 - x0)
    draw_hole_plan(canvas, panel.holes, (x0, max(y0, y1 - HOLES_MOST_PT), x1, y1))


def _draw_plan(
    canvas: "Canvas", plan: SheetPlan, title: str, number: str, height_mm: float
) -> None:
    """A page that shows one sheet with its pieces by name."""
    width_pt = canvas._pagesize[0]
    margin = pt_from_mm(MARGIN_MM)
    named = BuildSheetPanel(f"Plan of {plan.title}", b"", notes=tuple(p.name for p in plan.pieces))
    top = _heading(canvas, named, title, pt_from_mm(height_mm) - margin, width_pt)
    foot = _footer(canvas, named, number, width_pt)
    words = "Which piece is which, seen from the printed side; not to scale."
    body, _, _ = _styles(9.0)
    _flow(canvas, [_paragraph(words, body)], margin, top, width_pt - 2 * margin)
    wide, high = pt_from_mm(PLAN_LIST_MM), top - 18 - foot
    holds = int(high / (PLAN_LEAST_PT * PLAN_LEADING))
    columns = min(PLAN_MOST_COLUMNS, max(1, math.ceil(len(plan.pieces) / holds)))
    shown = replace(plan, pieces=tuple(replace(p, name=_shown(p.name)) for p in plan.pieces))
    left = width_pt - margin - columns * wide
    listed = draw_sheet_plan(canvas, shown, (margin, foot, left, top - 18))
    lines = [f"{piece.number} = {piece.name}" for piece in listed]
    if len(lines) > columns * holds:
        more = len(lines) - columns * holds + 1
        lines = [*lines[: columns * holds - 1], f"and {more} more: report.html lists all"]
    rows = math.ceil(len(lines) / columns)
    size = min(8.0, high / max(rows, 1) / PLAN_LEADING)
    canvas.setFont("Sheet", size)
    for k, line in enumerate(lines):
        column, row = divmod(k, rows)
        x, y = left + 10 + column * wide, top - 18 - (row + 1) * size * PLAN_LEADING
        canvas.drawString(x, y, _shortened(line, size, wide - 14))


def _shortened(text: str, size: float, room: float) -> str:
    """The text, its end left out where it is wider than the room (points)."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    if stringWidth(text, "Sheet", size) <= room:
        return text
    while len(text) > 1 and stringWidth(f"{text}...", "Sheet", size) > room:
        text = text[:-1]
    return f"{text}..."


def _heading(
    canvas: "Canvas", panel: BuildSheetPanel, title: str, top: float, width_pt: float
) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    margin = pt_from_mm(MARGIN_MM)
    room = width_pt - 2 * margin
    name = _shown(panel.name)
    size = min(18.0, 18.0 * room * 0.62 / max(stringWidth(name, "SheetBold", 18), 1))
    canvas.setFont("SheetBold", size)
    canvas.drawString(margin, top - 16, name)
    small = min(9.0, 9.0 * room * 0.34 / max(stringWidth(title, "Sheet", 9), 1))
    canvas.setFont("Sheet", small)
    canvas.drawRightString(width_pt - margin, top - 16, title)
    canvas.setLineWidth(0.75)
    canvas.line(margin, top - 23, width_pt - margin, top - 23)
    return top - 32


def _footer(canvas: "Canvas", panel: BuildSheetPanel, number: str, width_pt: float) -> float:
    margin = pt_from_mm(MARGIN_MM)
    canvas.setLineWidth(0.4)
    canvas.line(margin, margin + 14, width_pt - margin, margin + 14)
    canvas.setFont("Sheet", 6.5)
    words = DISPLAY_ONLY
    if _lacking(panel):
        words = '"?" stands for letters that this typeface lacks. ' + words
    canvas.drawString(margin, margin + 4, words)
    canvas.drawRightString(width_pt - margin, margin + 4, number)
    return margin + 22


def _styles(size: float) -> tuple[Any, Any, Any]:
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle(
        "body", fontName="Sheet", fontSize=size, leading=size * 1.32, spaceAfter=size * 0.35
    )
    listed = ParagraphStyle(
        "listed", parent=body, leftIndent=size * 2.3, bulletIndent=0, bulletFontName="Sheet",
        bulletFontSize=size,
    )  # fmt: skip
    head = ParagraphStyle(
        "head", fontName="SheetBold", fontSize=size + 1.5, leading=(size + 1.5) * 1.3,
        spaceBefore=size * 0.7, spaceAfter=size * 0.4,
    )  # fmt: skip
    return body, listed, head


def _left_column(panel: BuildSheetPanel, size: float) -> list[Any]:
    body, _, head = _styles(size)
    flow: list[Any] = []
    for name, value in panel.facts:
        flow.append(_paragraph(value, body, bold_head=f"{name}:"))
    if panel.notes:
        flow.append(_paragraph("Look at these", head))
        flow += [_paragraph(note, body) for note in panel.notes]
    flow.append(_paragraph("Cautions", head))
    flow += [_paragraph(words, body, bold_head=f"{name}.") for name, words in panel.cautions]
    return flow


def _right_column(panel: BuildSheetPanel, size: float) -> list[Any]:
    from xml.sax.saxutils import escape

    from reportlab.platypus import Paragraph

    _, listed, head = _styles(size)
    flow: list[Any] = [_paragraph("Order of work", head)]
    for number, step in enumerate(panel.steps, 1):
        flow.append(Paragraph(escape(_shown(step)), listed, bulletText=f"{number}."))
    if panel.checks:
        flow.append(_paragraph("Checks before cutting", head))
        flow += [
            Paragraph(escape(_shown(c)), listed, bulletText=chr(ord("a") + k % 26) + ".")
            for k, c in enumerate(panel.checks)
        ]
    return flow


def _height(flow: Sequence[Any], width: float) -> float:
    total = 0.0
    for k, item in enumerate(flow):
        before = item.getSpaceBefore() if k else 0.0
        total += before + item.wrap(width, 1e6)[1] + item.getSpaceAfter()
    return total


def _flow(canvas: "Canvas", flow: Sequence[Any], x: float, top: float, width: float) -> None:
    y = top
    for k, item in enumerate(flow):
        y -= item.getSpaceBefore() if k else 0.0
        y -= item.wrap(width, 1e6)[1]
        item.drawOn(canvas, x, y)
        y -= item.getSpaceAfter()


# ---------------------------------------------------------------- the picture


def _opened(panel: BuildSheetPanel) -> Any:
    from PIL import Image, UnidentifiedImageError

    try:
        picture = Image.open(io.BytesIO(panel.picture_png))
        picture.load()
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        raise InputProblem(
            f"the picture of {panel.name!r} cannot be read ({error})", do="give a PNG"
        ) from error
    if "A" in picture.getbands():
        paper = Image.new("RGB", picture.size, "white")
        paper.paste(picture, mask=picture.getchannel("A"))
        return paper
    return picture.convert("RGB")


def _picture_high(panel: BuildSheetPanel, width: float) -> float:
    picture = _opened(panel)
    return float(width * picture.height / picture.width)


def _picture(
    canvas: "Canvas", panel: BuildSheetPanel, box: tuple[float, float, float, float]
) -> None:
    from reportlab.lib.utils import ImageReader

    picture = _opened(panel)
    x, y, width, height = box
    k = min(width / picture.width, height / picture.height)
    w, h = picture.width * k, picture.height * k
    canvas.drawImage(ImageReader(picture), x + (width - w) / 2, y + height - h, w, h)
