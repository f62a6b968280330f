"""What the finished file should show, worked out from decals and placements: never from drawings.

The proof measures the file against these numbers.
"""

from __future__ import annotations

from collections.abc import Sequence

from decalprep.geometry import Affine, Box, Path
from decalprep.jobs.lay import sheet_from_decal
from decalprep.jobs.prepare import Prepared
from decalprep.jobs.spec import Job
from decalprep.marks.places import TICK_MM, BarPlace, Corner
from decalprep.model import Hole, HoleKind, Layer, Placement, Sheet
from decalprep.proof import (
    ExpectedArtwork,
    ExpectedBar,
    ExpectedDecal,
    ExpectedHole,
    ExpectedJob,
    ExpectedLine,
    ExpectedSheet,
)

FLAT_MM = 0.001
FINE_MM = 0.0002


def expected_job(
    prepared: Sequence[Prepared],
    placements: Sequence[Placement],
    sheets: Sequence[Sheet],
    corrections: Sequence[Affine],
    job: Job,
) -> ExpectedJob:
    """Every sheet and every copy of every decal, in page mm (the corrections applied)."""
    by_name = {p.decal.name: p for p in prepared}
    decals = tuple(_decal(by_name[p.decal], p, corrections[p.sheet_index], job) for p in placements)
    shown = tuple(
        _sheet(
            sheet,
            corrections[k],
            [(by_name[p.decal], p) for p in placements if p.sheet_index == k],
        )
        for k, sheet in enumerate(sheets)
    )
    return ExpectedJob(shown, decals, bare_fonts=_bare_fonts(prepared))


def _bare_fonts(prepared: Sequence[Prepared]) -> tuple[str, ...]:
    """Fonts that artworks do not carry along, as intake named them."""
    names: set[str] = set()
    for one in prepared:
        for notice in one.taken.notices:
            if notice.code == "fonts-not-embedded":
                head = notice.text.split(";")[0].partition(":")[2]
                names |= {name.strip() for name in head.split(",")}
    return tuple(sorted(names))


def _sheet(
    sheet: Sheet, correction: Affine, lying: Sequence[tuple[Prepared, Placement]]
) -> ExpectedSheet:
    from decalprep.marks import mark_places

    decals = [prepared.decal for prepared, _ in lying]

    layers = [Layer.ARTWORK, Layer.CUT_OUTLINE]
    kinds = {hole.kind for decal in decals for hole in decal.holes}
    if kinds - {HoleKind.SCREW}:
        layers.append(Layer.HOLE_GUIDE)
    if HoleKind.SCREW in kinds:
        layers.append(Layer.SCREW_CROSS)
    ticks = tuple(line for one, p in lying for line in match_ticks(one, p, correction))
    if ticks:
        layers.append(Layer.TILE_MARK)
    places = mark_places(sheet)
    if places.corners:
        layers.append(Layer.REGISTRATION)
    if places.bars:
        layers.append(Layer.CHECK_BAR)
    return ExpectedSheet(
        sheet.width_mm,
        sheet.height_mm,
        tuple(dict.fromkeys(layer.value for layer in layers)),
        lines=(*ticks, *corner_ticks(places.corners, correction)),
        bars=tuple(bar_ends(places.bars, correction)),
        page_from_true=correction,
    )


def bar_ends(bars: Sequence[BarPlace], correction: Affine) -> list[ExpectedBar]:
    """The check bars by their end lines, in page mm."""
    found = []
    for number, bar in enumerate(bars, 1):
        turn = 90.0 if bar.upward else 0.0
        page_from_bar = correction @ Affine.translation(bar.x_mm, bar.y_mm) @ Affine.rotation(turn)
        first, last = (page_from_bar.apply_all([(x, 0.4), (x, 1.2)]) for x in (0.0, bar.length_mm))
        name = f"check bar {number}, {'up' if bar.upward else 'across'}"
        found.append(ExpectedBar(name, (first[0], first[1]), (last[0], last[1]), bar.length_mm))
    return found


def corner_ticks(corners: Sequence[Corner], correction: Affine) -> list[ExpectedLine]:
    """The registration ticks in the corners, in page mm."""
    found = []
    for k, corner in enumerate(corners, 1):
        x, y = corner.x_mm, corner.y_mm
        a, b = (x + corner.right * TICK_MM, y), (x, y + corner.up * TICK_MM)
        points = correction.apply_all([a, (x, y), b])
        found.append(ExpectedLine(f"corner tick {k}", Layer.REGISTRATION.value, tuple(points)))
    return found


def match_ticks(prepared: Prepared, placement: Placement, correction: Affine) -> list[ExpectedLine]:
    """The match ticks of a tile, in page mm."""
    page_from_decal = correction @ sheet_from_decal(prepared.decal, placement)
    return [
        ExpectedLine(
            f"match tick {k} of {prepared.decal.name}",
            Layer.TILE_MARK.value,
            tuple(page_from_decal.apply_all(tick.points())),
        )
        for k, tick in enumerate(prepared.ticks, 1)
    ]


def _decal(prepared: Prepared, placement: Placement, correction: Affine, job: Job) -> ExpectedDecal:
    decal = prepared.decal
    page_from_decal = correction @ sheet_from_decal(decal, placement)
    box = Box.around(decal.outline.points(FINE_MM))
    artwork = prepared.taken
    return ExpectedDecal(
        name=decal.name,
        copy=placement.copy,
        page=placement.sheet_index,
        outline_mm=tuple(page_from_decal.apply_all(decal.outline.points(FLAT_MM))),
        size_mm=(box.width, box.height),
        page_from_decal=page_from_decal,
        artwork=ExpectedArtwork(
            artwork.page_pdf,
            artwork.width_mm,
            artwork.height_mm,
            hairline_mm=job["hairline"],
            white_below=job["near_white"],
        ),
        page_from_artwork=page_from_decal @ decal.decal_from_artwork,
        holes=(
            *(_hole(hole, page_from_decal) for hole in decal.holes),
            *(_bare(k, path, page_from_decal) for k, path in enumerate(prepared.bare, 1)),
        ),
        bleed_mm=decal.bleed_mm,
    )


def _bare(number: int, path: Path, page_from_decal: Affine) -> ExpectedHole:
    """Part of a tile that shows no artwork."""
    points = tuple(page_from_decal.apply_all(path.points(FLAT_MM)))
    return ExpectedHole(f"bare part {number}", points, "nothing")


def _hole(hole: Hole, page_from_decal: Affine) -> ExpectedHole:
    drawn_as = "cross" if hole.kind is HoleKind.SCREW else "contour"
    return ExpectedHole(
        hole.label,
        tuple(page_from_decal.apply_all(hole.contour.points(FLAT_MM))),
        drawn_as,
        hole.circle.diameter if hole.circle else None,
    )
