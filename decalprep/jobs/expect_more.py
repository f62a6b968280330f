"""What the underlay and paint mask files should show, worked out from shapes and placements."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from decalprep.geometry import Affine, Box, Path
from decalprep.jobs.expect import FINE_MM, FLAT_MM, bar_ends, corner_ticks, match_ticks
from decalprep.jobs.lay import sheet_from_decal
from decalprep.jobs.prepare import Prepared
from decalprep.marks import mark_places
from decalprep.model import Decal, Layer, Placement, Sheet
from decalprep.proof import (
    ExpectedDecal,
    ExpectedHole,
    ExpectedJob,
    ExpectedLine,
    ExpectedShape,
    ExpectedSheet,
)

if TYPE_CHECKING:
    from decalprep.outline import PaintMask, Underlay


def expected_underlays(
    underlays: Sequence[Underlay],
    decals: Sequence[Decal],
    placements: Sequence[Placement],
    sheets: Sequence[Sheet],
    corrections: Sequence[Affine],
    *,
    tiles: Sequence[Prepared] = (),
) -> ExpectedJob:
    """Every underlay where its decal lies: one page for each sheet that has any, in order.

    Those of ``tiles`` bear the same match ticks as they.
    """
    tile_of = {one.decal.name: one for one in tiles if one.ticks}
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
        lying = [(tile_of[p.decal], p) for p in mine if p.decal in tile_of]
        ticks = [line for one, p in lying for line in match_ticks(one, p, corrections[k])]
        own = [Layer.UNDERLAY, *([Layer.TILE_MARK] if ticks else [])]
        shown.append(_sheet(sheet, corrections[k], own, shapes, ticks))
    return ExpectedJob(tuple(shown), tuple(rows))


def expected_masks(
    masks: Sequence[tuple[PaintMask, Affine]], sheet: Sheet, correction: Affine
) -> ExpectedJob:
    """One page a mask: each of its pieces by the outer edge and the openings."""
    shown: list[ExpectedSheet] = []
    rows: list[ExpectedDecal] = []
    for page, (mask, sheet_from_mask) in enumerate(masks):
        m = correction @ sheet_from_mask
        holes = False
        for number, (outer, *inner) in enumerate(_rings(mask.paths), 1):
            holes = holes or bool(inner)
            box = Box.around(outer.points(FINE_MM))
            rows.append(
                ExpectedDecal(
                    name=f"{mask.name}, {mask.side}",
                    copy=number,
                    page=page,
                    outline_mm=tuple(m.apply_all(outer.points(FLAT_MM))),
                    size_mm=(box.width, box.height),
                    page_from_decal=m,
                    holes=tuple(
                        ExpectedHole(f"opening {k}", tuple(m.apply_all(path.points(FLAT_MM))))
                        for k, path in enumerate(inner, 1)
                    ),
                )
            )
        further = [Layer.HOLE_GUIDE] if holes else []
        shown.append(
            _sheet(sheet, correction, [Layer.MASK, *further], _shapes(mask.paths, m, Layer.MASK))
        )
    return ExpectedJob(tuple(shown), tuple(rows))


def _rings(paths: Sequence[Path]) -> list[list[Path]]:
    """Even-odd paths as pieces: each path with ink inside it, then the bare paths next in.

    An island in an opening, as in a letter O, is a piece of its own.
    """
    rings = [path.polygon(FLAT_MM) for path in paths]
    points = [ring.representative_point() for ring in rings]
    around = [
        {j for j, b in enumerate(rings) if j != k and b.area > a.area and b.contains(points[k])}
        for k, a in enumerate(rings)
    ]
    return [
        [paths[k], *(paths[j] for j, those in enumerate(around) if those == {*around[k], k})]
        for k in range(len(paths))
        if len(around[k]) % 2 == 0
    ]


def _shapes(
    paths: Sequence[Path], m: Affine, layer: Layer, p: Placement | None = None
) -> list[ExpectedShape]:
    """Even-odd paths, of one placed decal or of the sheet itself, as shapes in page mm."""
    return [
        ExpectedShape(
            f"{layer.value} {number}",
            layer.value,
            tuple(tuple(m.apply_all(path.points(FLAT_MM))) for path in rings),
            p.decal if p else "",
            p.copy if p else 1,
        )
        for number, rings in enumerate(_rings(paths), 1)
    ]


def _sheet(
    sheet: Sheet,
    correction: Affine,
    own: Sequence[Layer],
    shapes: Sequence[ExpectedShape],
    ticks: Sequence[ExpectedLine] = (),
) -> ExpectedSheet:
    places = mark_places(sheet)
    layers = [*own, Layer.CUT_OUTLINE]
    layers += [Layer.REGISTRATION] if places.corners else []
    layers += [Layer.CHECK_BAR] if places.bars else []
    return ExpectedSheet(
        sheet.width_mm,
        sheet.height_mm,
        tuple(item.value for item in layers),
        lines=(*ticks, *corner_ticks(places.corners, correction)),
        bars=tuple(bar_ends(places.bars, correction)),
        shapes=tuple(shapes),
        page_from_true=correction,
    )
