"""Build sheets: one A4 page a panel with picture, facts, order of work, checks and cautions.

The same panels give the same bytes. Set in the Vera typeface that comes with reportlab, embedded.
"""

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from decalprep.errors import InputProblem, UsageProblem
from decalprep.export.buildsheet_plans import (
    HolePlan,
    SheetPlan,
    draw_hole_plan,
    draw_sheet_plan,
    hole_plan,
)
from decalprep.export.buildsheet_type import BODY, HEAD, LISTED, Set, Words, register_fonts, shown
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
    from PIL import Image
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
    """One page: a panel's picture and its words, each list in the order it is printed.

    The picture is a PNG, or what draws it when the page is set.
    """

    name: str
    picture: "bytes | Callable[[], Image.Image]"
    facts: tuple[tuple[str, str], ...] = ()
    steps: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    cautions: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    holes: HolePlan | None = None


def panel_page(
    decal: Decal,
    picture: "bytes | Callable[[], Image.Image]",
    *,
    choices: BuildChoices,
    notices: Sequence[Notice] = (),
) -> BuildSheetPanel:
    """The usual page for one decal: facts, order of work, checks, cautions, and its warnings."""
    told = dict.fromkeys(n.text for n in notices if n.severity is not Severity.NOTE)
    return BuildSheetPanel(
        decal.panel or decal.name,
        picture,
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
    register_fonts()
    out = io.BytesIO()
    canvas = Canvas(
        out,
        pagesize=(pt_from_mm(width_mm), pt_from_mm(height_mm)),
        invariant=1,
        pageCompression=1,
    )
    canvas.setTitle(shown(f"{title}: build sheets"))
    canvas.setAuthor("decalprep")
    count = len(panels) + len(plans)
    words = Words(canvas)
    for number, panel in enumerate(panels, 1):
        _draw_page(words, panel, shown(title), f"{number} of {count}", height_mm)
        canvas.showPage()
    for number, plan in enumerate(plans, len(panels) + 1):
        _draw_plan(words, plan, shown(title), f"{number} of {count}", height_mm)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


# ---------------------------------------------------------------- one page


def _draw_page(
    words: Words, panel: BuildSheetPanel, title: str, number: str, height_mm: float
) -> None:
    canvas = words.canvas
    width_pt = canvas._pagesize[0]
    margin, gap = pt_from_mm(MARGIN_MM), pt_from_mm(GAP_MM)
    top = _heading(canvas, panel, title, pt_from_mm(height_mm) - margin, width_pt)
    foot = _footer(canvas, panel, number, width_pt)
    left_wide = (width_pt - 2 * margin - gap) * LEFT_SHARE
    right_wide = width_pt - 2 * margin - gap - left_wide
    picture = _opened(panel)
    picture_high = min(pt_from_mm(PICTURE_HIGH_MM), left_wide * picture.height / picture.width)
    for size in SIZES_PT:
        left = _left_column(words, panel, size, left_wide)
        right = _right_column(words, panel, size, right_wide)
        left_room = top - foot - picture_high - 8
        wanted = HOLES_LEAST_PT if panel.holes and size > SIZES_PT[-1] else 0.0
        right_room = top - foot - wanted
        if words.height(left) <= left_room and words.height(right) <= right_room:
            break
    else:
        raise UsageProblem(
            f"the build sheet of {panel.name!r} holds more words than fit on one page",
            do="leave out some notes",
        )
    _picture(canvas, picture, (margin, top - picture_high, left_wide, picture_high))
    words.draw(left, margin, top - picture_high - 8)
    words.draw(right, margin + left_wide + gap, top)
    beside = margin + left_wide + gap
    under = top - words.height(right)
    _holes(words, panel, (beside, foot + 4, beside + right_wide, under), size)


def _holes(
    words: Words, panel: BuildSheetPanel, room: tuple[float, float, float, float], size: float
) -> None:
    """The drawing of the holes with their labels, in what is left under the words."""
    x0, y0, x1, y1 = room
    if panel.holes is None or y1 - y0 < HOLES_LEAST_PT * 0.7:
        return
    flow = [words.paragraph("Holes by label (not to scale)", HEAD, size, x1 - x0)]
    before = flow[0].before
    words.draw(flow, x0, y1 - before)
    y1 -= before + words.height(flow)
    draw_hole_plan(words.canvas, panel.holes, (x0, max(y0, y1 - HOLES_MOST_PT), x1, y1))


def _draw_plan(words: Words, plan: SheetPlan, title: str, number: str, height_mm: float) -> None:
    """A page that shows one sheet with its pieces by name."""
    canvas = words.canvas
    width_pt = canvas._pagesize[0]
    margin = pt_from_mm(MARGIN_MM)
    named = BuildSheetPanel(f"Plan of {plan.title}", b"", notes=tuple(p.name for p in plan.pieces))
    top = _heading(canvas, named, title, pt_from_mm(height_mm) - margin, width_pt)
    foot = _footer(canvas, named, number, width_pt)
    told = "Which piece is which, seen from the printed side; not to scale."
    words.draw([words.paragraph(told, BODY, 9.0, width_pt - 2 * margin)], margin, top)
    wide, high = pt_from_mm(PLAN_LIST_MM), top - 18 - foot
    holds = int(high / (PLAN_LEAST_PT * PLAN_LEADING))
    columns = min(PLAN_MOST_COLUMNS, max(1, math.ceil(len(plan.pieces) / holds)))
    legible = replace(plan, pieces=tuple(replace(p, name=shown(p.name)) for p in plan.pieces))
    left = width_pt - margin - columns * wide
    listed = draw_sheet_plan(canvas, legible, (margin, foot, left, top - 18))
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
    name = shown(panel.name)
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


def _lacking(panel: BuildSheetPanel) -> bool:
    words = [panel.name, *panel.steps, *panel.checks, *panel.notes]
    words += [w for pair in (*panel.facts, *panel.cautions) for w in pair]
    return any(shown(w) != w for w in words)


def _left_column(words: Words, panel: BuildSheetPanel, size: float, width: float) -> list[Set]:
    flow = [
        words.paragraph(value, BODY, size, width, head=f"{name}:") for name, value in panel.facts
    ]
    if panel.notes:
        flow.append(words.paragraph("Look at these", HEAD, size, width))
        flow += [words.paragraph(note, BODY, size, width) for note in panel.notes]
    flow.append(words.paragraph("Cautions", HEAD, size, width))
    flow += [words.paragraph(told, BODY, size, width, head=f"{n}.") for n, told in panel.cautions]
    return flow


def _right_column(words: Words, panel: BuildSheetPanel, size: float, width: float) -> list[Set]:
    flow = [words.paragraph("Order of work", HEAD, size, width)]
    for number, step in enumerate(panel.steps, 1):
        flow.append(words.paragraph(step, LISTED, size, width, head=f"{number}."))
    if panel.checks:
        flow.append(words.paragraph("Checks before cutting", HEAD, size, width))
        for k, check in enumerate(panel.checks):
            flow.append(
                words.paragraph(check, LISTED, size, width, head=chr(ord("a") + k % 26) + ".")
            )
    return flow


# ---------------------------------------------------------------- the picture


def _opened(panel: BuildSheetPanel) -> "Image.Image":
    from PIL import Image, UnidentifiedImageError

    if not isinstance(panel.picture, bytes):
        return panel.picture()
    try:
        picture = Image.open(io.BytesIO(panel.picture))
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


def _picture(
    canvas: "Canvas", picture: "Image.Image", box: tuple[float, float, float, float]
) -> None:
    from reportlab.lib.utils import ImageReader

    x, y, width, height = box
    k = min(width / picture.width, height / picture.height)
    w, h = picture.width * k, picture.height * k
    canvas.drawImage(ImageReader(picture), x + (width - w) / 2, y + height - h, w, h)
