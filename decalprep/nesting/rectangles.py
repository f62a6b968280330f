"""A start on bounding boxes, exact in size: maximal rectangles, best short side fit.

Cells cost up to one grid step a piece; rectangular decals that fill a sheet to the last tenth of a
millimetre would be missed. So one of the first answers is made on exact bounding boxes; with it
the engine never uses more sheets than this rule does. Method: J. Jylanki, A Thousand Ways to Pack
the Bin, 2010 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from decalprep.geometry import Box
from decalprep.nesting.layout import NestPart
from decalprep.nesting.poses import Posed, posed_spot
from decalprep.nesting.regions import Kind
from decalprep.nesting.search import Search
from decalprep.nesting.shapes import Turned
from decalprep.nesting.state import Nest, OpenSheet, Piece, left_of

SAME_MM = 1e-7


def _split(free: list[Box], used: Box) -> list[Box]:
    """The maximal free rectangles left when ``used`` is taken."""
    parts: list[Box] = []
    for f in free:
        if (
            used.x0 >= f.x1 - SAME_MM
            or used.x1 <= f.x0 + SAME_MM
            or used.y0 >= f.y1 - SAME_MM
            or used.y1 <= f.y0 + SAME_MM
        ):
            parts.append(f)
            continue
        parts += [
            box
            for box in (
                Box(f.x0, f.y0, used.x0, f.y1),
                Box(used.x1, f.y0, f.x1, f.y1),
                Box(f.x0, f.y0, f.x1, used.y0),
                Box(f.x0, used.y1, f.x1, f.y1),
            )
            if box.width > SAME_MM and box.height > SAME_MM
        ]
    parts = list(dict.fromkeys(parts))
    return [f for f in parts if not any(g is not f and g.contains(f) for g in parts)]


@dataclass
class _Bin:
    """A sheet with the maximal free rectangles of each region."""

    sheet: OpenSheet
    free: list[list[Box]] = field(default_factory=list)


@dataclass
class RectangleStart:
    """Nests by bounding boxes; ``parts`` by name give the outlines."""

    search: Search
    parts: Mapping[str, NestPart]

    def run(self, locked: Sequence[OpenSheet]) -> None:
        """Offer one nest for each of four orders."""

        def sides(piece: Piece) -> tuple[float, float]:
            turned = piece.shape.turned[0]
            return turned.width, turned.height

        for order in (
            lambda s: s[0] * s[1],
            max,
            min,
            sum,
        ):
            keyed = [(-order(sides(p)), p.key, p.copy, p) for p in self.search.pieces]
            pieces = [p for *_, p in sorted(keyed, key=lambda k: k[:3])]
            self.search.offer(self._nest(pieces, locked))

    def _nest(self, pieces: Sequence[Piece], locked: Sequence[OpenSheet]) -> Nest:
        bins = [self._bin(sheet.copy()) for sheet in locked]
        pool: list[Piece] = []
        for piece in pieces:
            self.search.poll()
            if any(self._drop(piece, bin_) for bin_ in bins):
                continue
            fresh = self._fresh(piece, [bin_.sheet for bin_ in bins])
            if fresh is None:
                pool.append(piece)
            else:
                bins.append(fresh)
        return Nest([bin_.sheet for bin_ in bins], pool)

    def _fresh(self, piece: Piece, sheets: list[OpenSheet]) -> _Bin | None:
        left = left_of(self.search.kinds, sheets)
        for kind in self.search.kinds:
            if left[kind] != 0:
                bin_ = self._bin(OpenSheet(kind))
                if self._drop(piece, bin_):
                    return bin_
        return None

    def _bin(self, sheet: OpenSheet) -> _Bin:
        return _Bin(sheet, [] if sheet.closed else [list(f) for f in self._bare(sheet.kind)])

    def _bare(self, kind: Kind) -> list[list[Box]]:
        half = self.search.settings.gap_mm / 2
        found = []
        for region in kind.regions:
            free = [region.box.grown(half)]
            for kept in region.kept:
                free = _split(free, kept)
            found.append(free)
        return found

    def _drop(self, piece: Piece, bin_: _Bin) -> bool:
        step = self.search.settings.grid_mm
        for index, free in enumerate(bin_.free):
            best: tuple[float, Turned, Box] | None = None
            for turned in piece.shape.turned:
                if turned.turn_deg % 90:
                    continue
                w, h = turned.width * step, turned.height * step
                for f in free:
                    short = min(f.width - w, f.height - h)
                    if short >= -SAME_MM and (best is None or short < best[0]):
                        best = (short, turned, Box(f.x0, f.y0, f.x0 + w, f.y0 + h))
            if best is not None and self._put(piece, bin_.sheet, index, best[1], best[2]):
                bin_.free[index] = _split(free, best[2])
                return True
        return False

    def _put(self, piece: Piece, sheet: OpenSheet, index: int, turned: Turned, used: Box) -> bool:
        """Lay the piece exactly there; False where it would reach into a rounded corner."""
        half = self.search.settings.gap_mm / 2
        pose = Posed(
            piece.key,
            turned.turn_deg,
            used.x0 + half - turned.left_mm,
            used.y0 + half - turned.bottom_mm,
        )
        region = sheet.kind.regions[index]
        polygon = self.parts[piece.key].polygon
        spot, _ = posed_spot(polygon, pose, region, self.search.settings)
        if sheet.boards[index].is_bare(spot):
            sheet.put(piece, index, spot)
            return True
        return False
