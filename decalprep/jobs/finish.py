"""What follows the decals: underlays, paint masks, cut files, build sheets, ink and costs."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from decalprep.geometry import Affine, Box
from decalprep.jobs.prepare import Prepared, in_decal
from decalprep.jobs.spec import Job, PanelSpec
from decalprep.model import (
    Decal,
    Drawing,
    Item,
    Layer,
    Notice,
    Placement,
    PrinterRecord,
    Sheet,
    StockKind,
    StrokeMark,
)

if TYPE_CHECKING:
    from PIL import Image

    from decalprep.export.buildsheet_costs import InkCoverage, PanelCost
    from decalprep.export.buildsheet_plans import SheetPlan
    from decalprep.export.buildsheet_words import BuildChoices
    from decalprep.jobs.lay import Laid
    from decalprep.jobs.make import Made
    from decalprep.jobs.tell_sheets import SheetRun
    from decalprep.outline import PaintMask, PlateDifference, Underlay

TICK_LINE_MM = 0.1
PICTURE_DPI = 200.0


@dataclass(frozen=True)
class Finish:
    """One panel's underlay and paint masks, where it has them."""

    underlay: Underlay | None = None
    masks: tuple[PaintMask, ...] = ()
    difference: PlateDifference | None = None
    notices: tuple[Notice, ...] = ()


def finish_panel(panel: PanelSpec, prepared: Prepared, job: Job) -> Finish:
    """What one panel needs beside its decal.

    Raises:
        InputProblem: a backlit panel without legend, or a mask of which nothing is left.
    """
    found = Finish()
    if panel["backlit"]:
        found = _underlay(panel, prepared)
    found = replace(found, notices=(*found.notices, *light_advice(panel, job)))
    if panel["masks"] and prepared.face is not None:
        from decalprep.outline import MaskSettings, plate_masks

        settings = MaskSettings(choke_mm=panel["mask_choke"], rim_mm=panel["mask_rim"])
        masks, difference = plate_masks(
            prepared.face, prepared.back, name=panel.name, settings=settings
        )
        told = [n for mask in masks for n in mask.notices]
        told += difference.notices if difference else ()
        found = replace(found, masks=masks, difference=difference, notices=(*found.notices, *told))
    return found


def _underlay(panel: PanelSpec, prepared: Prepared) -> Finish:
    from decalprep.cleaning import legend_ink
    from decalprep.outline import UnderlaySettings, legend_shapes, underlay

    decal = prepared.decal
    legend = legend_shapes(
        decal.artwork,
        prepared.contents,
        decal.outline,
        decal_from_artwork=decal.decal_from_artwork,
        holes=decal.holes,
    )
    settings = UnderlaySettings(
        trap_mm=panel["trap"],
        spread=panel["openings"] == "spread",
        layer_transmittance=panel["layer_transmittance"],
        target_density=panel["target_density"],
    )
    under = underlay(decal.outline, legend, name=decal.name, settings=settings)
    notices = [*in_decal(legend_ink(decal.artwork).notices, decal.decal_from_artwork)]
    return Finish(under, notices=(*notices, *under.notices))


def light_advice(panel: PanelSpec, job: Job) -> tuple[Notice, ...]:
    """What each kind of sheet that the panel may go on does to light, where that matters."""
    from decalprep.outline import stock_advice

    found = []
    for spec in job.sheets:
        if panel["sheets"] and spec.sheet.name not in panel["sheets"]:
            continue
        told = stock_advice(
            spec.sheet.stock,
            backlit=panel["backlit"],
            block_out=spec.block_out,
            transmittance=spec.transmittance,
            name=panel.name,
        )
        if told.code != "stock-unlit":
            found.append(told)
    return tuple(found)


def underlay_title(title: str, underlays: Sequence[Underlay]) -> str:
    """The title of underlay sheets: it says how many layers to print."""
    most = max(under.layers for under in underlays)
    return f"{title} · underlay, {most} layers of print"


def top_ticks(finishes: Sequence[Finish]) -> tuple[tuple[str, tuple[Item, ...]], ...]:
    """The ticks that a backlit decal shares with its underlay, in the decal's frame."""
    return tuple(
        (
            f.underlay.name,
            tuple(StrokeMark(Layer.REGISTRATION, t, TICK_LINE_MM) for t in f.underlay.ticks),
        )
        for f in finishes
        if f.underlay is not None
    )


# ---------------------------------------------------------------- drawings of their own


def mask_sheet(sheet: Sheet) -> Sheet:
    """The plain sheet that a paint mask is printed on, as large as the job's first."""
    return replace(sheet, stock=StockKind.PLAIN, grid=None, gone=(), gone_labels=())


def placed_masks(finishes: Sequence[Finish], sheet: Sheet) -> tuple[tuple[PaintMask, Affine], ...]:
    """Every mask and where it lies: in the middle of its sheet."""
    x, y = sheet.printable.centre
    found = []
    for finish in finishes:
        for mask in finish.masks:
            box = Box.around([c for path in mask.paths for c in path.box.corners])
            u, v = box.centre
            found.append((mask, Affine.translation(x - u, y - v)))
    return tuple(found)


def mask_drawings(
    finishes: Sequence[Finish], sheet: Sheet, record: PrinterRecord | None
) -> tuple[Drawing, ...]:
    """One sheet a paint mask, at true size, the plates' difference hatched over the front ones."""
    from decalprep.compose import ShapeSheet, mask_drawing

    difference = {mask.name: f.difference for f in finishes for mask in f.masks}
    return tuple(
        mask_drawing(
            mask,
            ShapeSheet(sheet, sheet_from_shapes=place, record=record),
            difference=_seen_from(mask, difference[mask.name]),
        )
        for mask, place in placed_masks(finishes, sheet)
    )


def _seen_from(mask: PaintMask, difference: PlateDifference | None) -> PlateDifference | None:
    """The difference in the frame of the mask's own plate."""
    if difference is None or "back plate" not in mask.name:
        return difference
    m = difference.face_from_back.inverse()
    return replace(difference, hatch=tuple(p.mapped(m) for p in difference.hatch))


def cut_files(
    drawings: Sequence[Drawing], decals: Sequence[Decal], masks: Sequence[Finish]
) -> dict[str, bytes]:
    """SVG and DXF for each sheet, each piece and each mask, true size, by file name."""
    from decalprep.export.cutfiles import (
        CutFunction,
        CutLine,
        cut_dxf,
        cut_svg,
        piece_plan,
        plan_of,
        sheet_plan,
    )

    plans = {f"sheet-{k}": sheet_plan(d) for k, d in enumerate(drawings, 1)}
    stock = drawings[0].sheet.stock if drawings else StockKind.PLAIN
    plans |= {f"piece {_safe(d.name)}": piece_plan(d, stock) for d in decals}
    for finish in masks:
        for mask in finish.masks:
            lines = [CutLine(CutFunction.MASK, path, mask.name) for path in mask.paths]
            plans[f"mask {_safe(mask.name)} {mask.side}"] = plan_of(mask.name, lines)
    files = {}
    for name, plan in plans.items():
        files[f"cut/{name}.svg"] = cut_svg(plan)
        files[f"cut/{name}.dxf"] = cut_dxf(plan)
    return files


def _safe(name: str) -> str:
    return re.sub(r"[^\w .-]", "-", name)


# ---------------------------------------------------------------- build sheets, ink and costs


def panel_picture(decal: Decal) -> Image.Image:
    """A picture of one decal as it is printed, with its cut lines."""
    from decalprep.compose import ComposeSettings
    from decalprep.compose.pieces import Piece
    from decalprep.export import write_pdf
    from decalprep.export.preview import preview

    box = decal.outline.mapped(decal.fitted_from_decal).box.grown(decal.bleed_mm + 2)
    piece = Piece(decal, Placement(decal.name, 1, 0, -box.x0, -box.y0), ComposeSettings())
    sheet = Sheet(decal.name, box.width, box.height)
    return preview(write_pdf([Drawing(sheet, tuple(piece.items()))]), 0, PICTURE_DPI)


def build_choices(
    prepared: Sequence[Prepared],
    finishes: Sequence[Finish],
    laid: Laid,
    job: Job,
    runs: Sequence[SheetRun] = (),
) -> tuple[BuildChoices, ...]:
    """How each panel is made, as far as words about it depend on that."""
    from decalprep.export.buildsheet_words import BuildChoices

    printing = {s.sheet.name: s.printing for s in job.sheets}
    where = {p.decal: laid.sheets[p.sheet_index] for p in laid.placements}
    return tuple(
        BuildChoices(
            stock=where[one.printed[0]].stock,
            printer=printing[where[one.printed[0]].name],
            backlit=finish.underlay is not None,
            underlay_layers=finish.underlay.layers if finish.underlay else 0,
            painted=bool(finish.masks),
            difference=finish.difference,
            sheets=_lies_on(one, laid, runs),
        )
        for one, finish in zip(prepared, finishes, strict=True)
    )


def _lies_on(one: Prepared, laid: Laid, runs: Sequence[SheetRun]) -> tuple[str, ...]:
    """The sheets that one panel's pieces lie on, by kind, with the correction of each."""
    mine = {p.sheet_index + 1 for p in laid.placements if p.decal in one.printed}
    own = (replace(r, numbers=tuple(n for n in r.numbers if n in mine)) for r in runs)
    return tuple(f"{r.title}, {r.correction or 'no printer correction'}" for r in own if r.numbers)


def build_sheets(made: Made, drawing: Mapping[str, Callable[[], Image.Image]]) -> bytes:
    """The build sheets: one page a panel, then the plan of every sheet.

    ``drawing`` holds what draws pictures of panels; those that it lacks are drawn apart.
    """
    from decalprep.export.buildsheet import build_sheets_pdf, panel_page
    from decalprep.jobs.tell_sheets import sheet_runs

    prepared, finishes, laid, job = made.prepared, made.finishes, made.laid, made.job
    pages = []
    chosen = build_choices(prepared, finishes, laid, job, sheet_runs(made))
    for one, finish, choices in zip(prepared, finishes, chosen, strict=True):
        notices = (*one.notices, *finish.notices)
        picture = drawing.get(one.decal.name) or partial(panel_picture, one.decal)
        pages.append(panel_page(one.decal, picture, choices=choices, notices=notices))
    return build_sheets_pdf(pages, job["title"], plans=sheet_plans(made))


def sheet_plans(made: Made) -> tuple[SheetPlan, ...]:
    """The plan of every sheet, its pieces numbered as the labels on the sheet are."""
    from decalprep.compose import ComposeSettings
    from decalprep.compose.sheets import pieces_on_sheets
    from decalprep.export.buildsheet_plans import PlanPiece, SheetPlan
    from decalprep.jobs.tell_sheets import kind_names

    laid, decals, kinds = made.laid, made.pieces.decals, kind_names(made.job)
    count = len(laid.sheets)
    there = pieces_on_sheets(decals, laid.placements, laid.sheets, ComposeSettings())
    plans = []
    for k, (sheet, pieces) in enumerate(zip(laid.sheets, there, strict=True), 1):
        found = tuple(
            PlanPiece(n, p.name, tuple(p.decal.outline.mapped(p.sheet_from_decal).points(0.05)))
            for n, p in enumerate(pieces, 1)
        )
        kind = kinds.get(sheet.name, sheet.name)
        title = f"sheet {k} of {count}" + (f" ({kind})" if kind else "")
        plans.append(SheetPlan(title, sheet.width_mm, sheet.height_mm, found))
    return tuple(plans)


def ink_of(picture: Image.Image, sheet: Sheet) -> InkCoverage:
    """Ink of a sheet, from its picture."""
    import numpy as np

    from decalprep.export.buildsheet_costs import ink_coverage

    size = sheet.width_mm, sheet.height_mm
    return ink_coverage(np.asarray(picture), width_mm=size[0], height_mm=size[1])


def costs_of(laid: Laid, decals: Sequence[Decal]) -> tuple[PanelCost, ...]:
    """What stock each panel takes."""
    from decalprep.export.buildsheet_costs import stock_costs

    return stock_costs(
        laid.placements,
        laid.sheets,
        panel_of={d.name: d.panel for d in decals},
        area_mm2={d.name: d.outline.polygon(0.01).area for d in decals},
    )
