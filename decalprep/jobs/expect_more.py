"""What the underlay and paint mask files should show, worked out from shapes and placements."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from decalprep.geometry import Affine, Box, Path
from decalprep.jobs.expect import FINE_MM, FLAT_MM, bar_ends, corner_ticks
from decalprep.jobs.lay import sheet_from_decal
from decalprep.marks import mark_places
from decalprep.model import Decal, Layer, Placement, Sheet
from decalprep.proof import ExpectedDecal, ExpectedJob, ExpectedLine, ExpectedShape, ExpectedSheet

if TYPE_CHECKING:
    from decalprep.outline import PaintMask, Underlay


def expected_underlays(
    underlays: Sequence[Underlay],
    decals: Sequence[Decal],
    placements: Sequence[Placement],
    sheets: Sequence[Sheet],
    corrections: Sequence[Affine],
) -> ExpectedJob:
    """Every underlay where its decal lies: one page for each sheet that has any, in order."""
    by_name = {under.name: under for under in underlays}
    decal_of = {decal.name: decal for decal in decals}
    shown: list[ExpectedSheet] = []
    rows: list[ExpectedDecal] = []
    for k, sheet in enumerate(sheets):
        mine = [p for p in placements if p.sheet_index == k and p.decal in by_name]
        if not mine:
            continue
        page = len(shown)
        shapes = []
        for p in mine:
            decal = decal_of[p.decal]
            m = corrections[k] @ sheet_from_decal(decal, p)
            shapes += _shapes(by_name[p.decal].paths, m, Layer.UNDERLAY, p)
            box = Box.around(decal.outline.points(FINE_MM))
            rows.append(
                ExpectedDecal(
                    name=p.decal,
                    copy=p.copy,
                    page=page,
                    outline_mm=tuple(m.apply_all(decal.outline.points(FLAT_MM))),
                    size_mm=(box.width, box.height),
                    page_from_decal=m,
                )
            )
        shown.append(_sheet(sheet, corrections[k], Layer.UNDERLAY, shapes, ()))
    return ExpectedJob(tuple(shown), tuple(rows))


def expected_masks(
    masks: Sequence[tuple[PaintMask, Affine]], sheet: Sheet, correction: Affine
) -> ExpectedJob:
    """One page a mask: the edges of its grey area, which are drawn as cut lines."""
    shown = []
    for mask, sheet_from_mask in masks:
        m = correction @ sheet_from_mask
        lines = [
            ExpectedLine(
                f"{mask.name}, {mask.side}, edge {k}",
                Layer.CUT_OUTLINE.value,
                tuple(m.apply_all(path.points(FLAT_MM))),
                closed=True,
            )
            for k, path in enumerate(mask.paths, 1)
        ]
        shown.append(_sheet(sheet, correction, Layer.MASK, (), lines))
    return ExpectedJob(tuple(shown), ())


def _shapes(paths: Sequence[Path], m: Affine, layer: Layer, p: Placement) -> list[ExpectedShape]:
    """The even-odd paths as shapes: each ring with ink inside it, and the bare rings next in."""
    rings = [path.polygon(FLAT_MM) for path in paths]
    points = [ring.representative_point() for ring in rings]
    around = [
        {
            j
            for j, ring in enumerate(rings)
            if j != k and ring.area > rings[k].area and ring.contains(point)
        }
        for k, point in enumerate(points)
    ]
    outer = [k for k in range(len(rings)) if len(around[k]) % 2 == 0]
    found = []
    for number, k in enumerate(outer, 1):
        inner = [
            j for j, those in enumerate(around) if k in those and len(those) == len(around[k]) + 1
        ]
        outlines = tuple(tuple(m.apply_all(paths[j].points(FLAT_MM))) for j in (k, *inner))
        found.append(
            ExpectedShape(
                f"{layer.value} {number}",
                layer.value,
                outlines,
                p.decal,
                p.copy,
            )
        )
    return found


def _sheet(
    sheet: Sheet,
    correction: Affine,
    layer: Layer,
    shapes: Sequence[ExpectedShape],
    lines: Sequence[ExpectedLine],
) -> ExpectedSheet:
    places = mark_places(sheet)
    layers = [layer, Layer.CUT_OUTLINE]
    layers += [Layer.REGISTRATION] if places.corners else []
    layers += [Layer.CHECK_BAR] if places.bars else []
    return ExpectedSheet(
        sheet.width_mm,
        sheet.height_mm,
        tuple(item.value for item in layers),
        lines=(*lines, *corner_ticks(places.corners, correction)),
        bars=tuple(bar_ends(places.bars, correction)),
        shapes=tuple(shapes),
        page_from_true=correction,
    )
