"""Passes of the improver that ask the strip packer whether one piece more fits a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from shapely.affinity import translate
from shapely.geometry import Polygon

from decalprep.geometry import Box
from decalprep.nesting.layout import NestPart, NestSettings
from decalprep.nesting.placing import Habit
from decalprep.nesting.poses import Posed, posed_spot
from decalprep.nesting.raster import largest_rectangle
from decalprep.nesting.regions import Kind
from decalprep.nesting.search import Search
from decalprep.nesting.shapes import turn
from decalprep.nesting.state import Nest, OpenSheet, Piece
from decalprep.nesting.strip import StripItem, StripPacker

LEAST_ROOM = 0.75
"""A sheet is tried only where one free rectangle is this share of it."""


def _free_box(sheet: OpenSheet, settings: NestSettings) -> Box | None:
    """The largest free rectangle of a bare sheet in mm, half a gap beyond the printable area."""
    if len(sheet.kind.regions) != 1:
        return None
    region = sheet.kind.regions[0]
    column, row, across, up = largest_rectangle(sheet.boards[0].free_mask())
    if across * up < LEAST_ROOM * region.field.rows * region.field.columns:
        return None
    step, half = settings.grid_mm, settings.gap_mm / 2
    x0, y0 = region.box.x0 - half + column * step, region.box.y0 - half + row * step
    return Box(
        x0,
        y0,
        min(x0 + across * step, region.box.x1 + half),
        min(y0 + up * step, region.box.y1 + half),
    )


@dataclass(frozen=True)
class Swap:
    """A piece of the pool onto a sheet, and what goes from it to the pool instead, if anything."""

    sheet: OpenSheet
    piece: Piece
    out: Piece | None


@dataclass
class StripTries:
    """What the passes need: the search, the packer, and the parts by name."""

    search: Search
    pack: StripPacker
    parts: Mapping[str, NestPart]
    rooms: dict[Kind, Box | None] = field(default_factory=dict)

    def run(self, tries: int) -> None:
        """Try to empty the pool of the nearest miss, one piece at a time, the likeliest first."""
        if self.search.closest is None:
            return
        sheets, pool = list(self.search.closest.sheets), list(self.search.closest.pool)
        asked: set[Swap] = set()
        for number in range(tries):
            swap = self._likeliest(sheets, pool, asked)
            if swap is None or self.search.proved:
                break
            self.search.poll()
            asked.add(swap)
            twin, left = self._with(swap, pool, number)
            if twin is not None and sum(p.area for p in left) < sum(p.area for p in pool):
                sheets[sheets.index(swap.sheet)], pool = twin, left
            self.search.tick()
        if not pool:
            self.search.offer(Nest(sheets))

    def _likeliest(
        self, sheets: Sequence[OpenSheet], pool: Sequence[Piece], asked: set[Swap]
    ) -> Swap | None:
        """The swap not yet asked for that fills its sheet least and empties the pool most."""
        best: tuple[float, Swap] | None = None
        for sheet in sheets:
            if sheet.locked or not self._free(sheet.kind):
                continue
            for piece in pool:
                for out in (None, *(p for p in sheet.where if p.area < piece.area)):
                    gain = piece.area - (out.area if out else 0)
                    filled = (sheet.taken + gain) / sheet.kind.free_cells
                    cost = filled - gain / sheet.kind.free_cells
                    swap = Swap(sheet, piece, out)
                    if swap not in asked and (best is None or cost < best[0]):
                        best = cost, swap
        return best[1] if best else None

    def _free(self, kind: Kind) -> Box | None:
        if kind not in self.rooms:
            self.rooms[kind] = _free_box(OpenSheet(kind), self.search.settings)
        return self.rooms[kind]

    def _with(
        self, swap: Swap, pool: list[Piece], seed: int
    ) -> tuple[OpenSheet | None, list[Piece]]:
        """The sheet laid anew with one piece more, and the pool that is left."""
        settings, sheet, room = self.search.settings, swap.sheet, self._free(swap.sheet.kind)
        inside = self._in_cut_outs(sheet) - {swap.out}
        chosen = [*(p for p in sheet.where if p not in inside and p is not swap.out), swap.piece]
        if room is None or sum(self.parts[p.key].polygon.area for p in chosen) > room.area:
            return None, pool
        items = [
            StripItem(str(k), part.polygon, part.turns, part.turn_step_deg)
            for k, part in enumerate(self.parts[p.key] for p in chosen)
        ]
        found = self.pack(room.height, items, settings.gap_mm, seed, room.width)
        if found is None or found[0] > room.width or len(found[1]) != len(items):
            return None, pool
        twin = self._laid(sheet, chosen, found[1], room)
        if twin is None:
            return None, pool
        rest = [*inside, *(p for p in pool if p is not swap.piece)]
        rest += [swap.out] if swap.out else []
        rest.sort(key=lambda p: (-p.area, p.key, p.copy))
        return twin, [p for p in rest if not twin.add(p, Habit.TOUCH)]

    def _laid(
        self, sheet: OpenSheet, chosen: list[Piece], poses: list[Posed], room: Box
    ) -> OpenSheet | None:
        """The packer's answer on a fresh sheet, or None where it does not keep the exact gap."""
        settings, twin = self.search.settings, sheet.emptied()
        outlines: list[Polygon] = []
        for pose in poses:
            piece = chosen[int(pose.name)]
            moved = Posed(pose.name, pose.turn_deg, pose.x_mm + room.x0, pose.y_mm + room.y0)
            polygon = self.parts[piece.key].polygon
            spot, outline = posed_spot(polygon, moved, sheet.kind.regions[0], settings)
            edge = Box(*outline.bounds).grown(settings.gap_mm / 2)
            if not room.contains(edge, 1e-4):
                return None
            if any(outline.distance(other) < settings.gap_mm - 1e-4 for other in outlines):
                return None
            if any(outline.intersects(other) for other in outlines):
                return None
            outlines.append(outline)
            twin.put(piece, 0, spot)
        return twin

    def _in_cut_outs(self, sheet: OpenSheet) -> set[Piece]:
        """Pieces that lie within the outer edge of another piece of their sheet."""
        outer: dict[Piece, Polygon] = {}
        for piece, (_, spot) in sheet.where.items():
            shape = turn(self.parts[piece.key].polygon, spot.turned.turn_deg)
            step = self.search.settings.grid_mm
            x, y = spot.x * step - spot.turned.left_mm, spot.y * step - spot.turned.bottom_mm
            outer[piece] = Polygon(translate(shape, x, y).exterior)
        return {
            a
            for a, inner in outer.items()
            if any(b is not a and whole.contains(inner) for b, whole in outer.items())
        }
