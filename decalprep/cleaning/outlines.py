"""Finding equal outlines among very many, in columns of numbers rather than objects.

Boxes here go round all points of a subpath, control points too, in true mm.
"""

import math
from array import array
from collections.abc import Callable

import numpy as np
from shapely.geometry import LineString

from decalprep.geometry import Affine, Box, Path
from decalprep.pdfstream import Frame, path_steps, paths_in

MATCH_MM = 0.03
FLAT_MM = 0.002
_BOX_SLACK_MM = 4 * MATCH_MM
_NEAREST = 8
_MOST_GROUNDS = 2000
_LETTERS = b"mlcvyh"
_FAR_MM = 1e9

BoxNumbers = tuple[float, float, float, float]
Counts = Callable[[int, int, bool, bool, Box, int], bool]


class BoxColumns:
    """Boxes with the order in which they were painted."""

    def __init__(self) -> None:
        self._numbers = array("d")
        self._orders = array("q")
        self._boxes = np.zeros((0, 4))
        self._order = np.zeros(0, dtype=np.int64)

    def add(self, box: BoxNumbers, order: int) -> None:
        """One more box."""
        self._numbers.extend(box)
        self._orders.append(order)

    def keep_largest(self) -> None:
        """Be ready to answer, from the 2,000 largest boxes."""
        boxes = np.array(self._numbers).reshape(-1, 4)
        order = np.array(self._orders, dtype=np.int64)
        areas = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
        chosen = np.argsort(-areas, kind="stable")[:_MOST_GROUNDS]
        self._boxes, self._order = boxes[chosen], order[chosen]

    def holds(self, box: Box, *, before: int) -> bool:
        """Whether a box painted before holds this one."""
        b = self._boxes
        inside = (
            (b[:, 0] <= box.x0 + MATCH_MM)
            & (b[:, 1] <= box.y0 + MATCH_MM)
            & (b[:, 2] >= box.x1 - MATCH_MM)
            & (b[:, 3] >= box.y1 - MATCH_MM)
            & (self._order < before)
        )
        return bool(inside.any())


class _Columns:
    """One row a subpath: box, how many numbers it was written with, and where it stands."""

    def __init__(self) -> None:
        self.boxes = array("d")
        self.rows = array("q")

    def add(self, box: BoxNumbers, row: tuple[int, ...]) -> None:
        self.boxes.extend(box)
        self.rows.extend(row)

    def tables(self) -> tuple[np.ndarray, np.ndarray]:
        boxes = np.array(self.boxes).reshape(-1, 4)
        return boxes, np.array(self.rows, dtype=np.int64).reshape(-1, 9)


# columns of a row
_COUNT, _DATA, _START, _END, _SUB, _MAP, _COLOUR, _VISIBLE, _OWN = range(9)


class Outlines:
    """Outlines of fills, and of strokes whose fill is wanted."""

    def __init__(self, artwork_from_page: Affine) -> None:
        self.artwork_from_page = artwork_from_page
        self._fills = _Columns()
        self._wanted = _Columns()
        self._datas: list[bytes] = []
        self._maps: list[Affine] = []
        self._map_of: dict[Affine, int] = {}
        self._last_map: tuple[Affine, int] = (Affine(0, 0, 0, 0), -1)
        self._empty: set[int] = set()
        self._broken_up: dict[tuple[int, int, int], list[tuple[int, int]]] = {}

    def add_fill(self, frame: Frame, colour: int, visible: bool, order: int) -> BoxNumbers | None:
        """Note a fill; its whole box in mm, None where it has no area."""
        return self._add(self._fills, frame, colour, visible, order)

    def add_wanted(
        self, frame: Frame, ordinal: int, colour: int, visible: bool, closing: bool
    ) -> None:
        """Note a stroke whose fill is wanted."""
        own = ordinal * 2 + closing
        if self._add(self._wanted, frame, colour, visible, own) is None:
            self._empty.add(ordinal)

    def box_of(self, frame: Frame) -> BoxNumbers | None:
        """Box in mm of all the points of the path, None where it has no area."""
        return self._add(_Columns(), frame, 0, True, 0)

    def _add(
        self, columns: _Columns, frame: Frame, colour: int, visible: bool, own: int
    ) -> BoxNumbers | None:
        number, to_mm = self._map(frame.state.ctm)
        if not self._datas or self._datas[-1] is not frame.data:
            self._datas.append(frame.data)
        start, end = frame.path[0][0], frame.path[-1][1]
        if len(frame.path) > 1:  # other operators stand within the path
            self._broken_up[len(self._datas) - 1, start, end] = list(frame.path)
        whole: BoxNumbers | None = None
        for sub, points in enumerate(_subpaths(frame.data, frame.path)):
            if columns is not self._wanted and is_flat(points, to_mm):
                continue
            box = _mapped_box(points, to_mm)
            row = (len(points), len(self._datas) - 1, start, end, sub, number, colour, visible, own)
            columns.add(box, row)
            whole = box if whole is None else _union(whole, box)
        return whole

    def _map(self, ctm: Affine) -> tuple[int, Affine]:
        last, number = self._last_map
        if last is not ctm:
            number = self._map_of.setdefault(ctm, len(self._maps))
            if number == len(self._maps):
                self._maps.append(self.artwork_from_page @ ctm)
            self._last_map = (ctm, number)
        return number, self._maps[number]

    # -- answering ---------------------------------------------------------------------------

    def unmatched(self, counts: Counts) -> set[int]:
        """Ordinals of the wanted strokes of which some subpath matches no fill that counts."""
        lone = set(self._empty)
        boxes, wanted = self._wanted.tables()
        fill_boxes, fills = self._fills.tables()
        if not len(wanted):
            return lone
        if not len(fills):
            return lone | {int(own) // 2 for own in wanted[:, _OWN]}
        distances, nearest = _near_boxes(boxes, fill_boxes)
        same_count = fills[np.minimum(nearest, len(fills) - 1), _COUNT] == wanted[:, [_COUNT]]
        near = distances <= np.where(same_count, MATCH_MM, _BOX_SLACK_MM)
        lone.update(int(own) // 2 for own in wanted[~near.any(axis=1), _OWN])
        matched = np.zeros(len(wanted), dtype=bool)
        for i, k in np.argwhere(near):
            if not matched[i]:
                fill = int(nearest[i, k])
                matched[i] = self._matches(wanted[i], fills[fill], fill_boxes[fill], counts)
        lone.update(int(own) // 2 for own in wanted[~matched, _OWN])
        return lone

    def _matches(self, row: np.ndarray, fill: np.ndarray, box: np.ndarray, counts: Counts) -> bool:
        x0, y0, x1, y1 = (float(v) for v in box)
        if not counts(
            int(fill[_COLOUR]),
            int(row[_COLOUR]),
            bool(row[_VISIBLE]),
            bool(fill[_VISIBLE]),
            Box(x0, y0, x1, y1),
            int(fill[_OWN]),
        ):
            return False
        if row[_COUNT] == fill[_COUNT]:
            points, others = self._points(row), self._points(fill)
            if np.abs(points - others).max() <= MATCH_MM:
                return True
            if np.abs(np.sort(points, axis=0) - np.sort(others, axis=0)).max() > MATCH_MM:
                return False
        one = self._ring(row, closing=bool(row[_OWN] % 2))
        other = self._ring(fill, closing=True)
        if one is None or other is None:
            return False
        return bool(one.hausdorff_distance(other) <= MATCH_MM)

    def _points(self, row: np.ndarray) -> np.ndarray:
        numbers = _subpaths(self._datas[int(row[_DATA])], self._spans(row))[int(row[_SUB])]
        points = np.reshape(numbers, (-1, 2))
        m = self._maps[int(row[_MAP])]
        mapped: np.ndarray = points @ np.array([[m.a, m.b], [m.c, m.d]]) + np.array([m.e, m.f])
        return mapped

    def _spans(self, row: np.ndarray) -> list[tuple[int, int]]:
        start, end = int(row[_START]), int(row[_END])
        return self._broken_up.get((int(row[_DATA]), start, end), [(start, end)])

    def _ring(self, row: np.ndarray, *, closing: bool) -> LineString | None:
        data = self._datas[int(row[_DATA])]
        paths = paths_in(data, self._spans(row), self._maps[int(row[_MAP])], closing=closing)
        sub = int(row[_SUB])
        return _line(paths[sub]) if sub < len(paths) else None


def _near_boxes(boxes: np.ndarray, fill_boxes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For each box the nearest fill boxes, by the largest difference of a side."""
    from scipy.spatial import cKDTree

    tree = cKDTree(np.nan_to_num(fill_boxes, nan=_FAR_MM, posinf=_FAR_MM, neginf=-_FAR_MM))
    sought = np.nan_to_num(boxes, nan=-_FAR_MM, posinf=_FAR_MM, neginf=-_FAR_MM)
    distances, nearest = tree.query(
        sought, k=_NEAREST, p=np.inf, distance_upper_bound=_BOX_SLACK_MM
    )
    return distances, nearest


def may_be_flat(data: bytes, spans: list[tuple[int, int]]) -> bool:
    """Cheap test: so few or such pieces that the path may enclose no area."""
    pieces = 0
    for start, end in spans:
        pieces += data.count(b"l", start, end)
        pieces += 3 * (data.count(b"c", start, end) + data.count(b"v", start, end))
        pieces += 3 * data.count(b"y", start, end)
        if data.count(b"e", start, end):
            for name, values in path_steps(data, start, end):
                pieces += 4 * (name == b"re" and values[2] != 0 and values[3] != 0)
    return pieces < 3


def is_flat(points: list[float], to_mm: Affine) -> bool:
    """Whether up to four points lie on a line within FLAT_MM: filling them paints nothing."""
    if len(points) > 8:
        return False
    mapped = to_mm.apply_all(zip(points[::2], points[1::2], strict=True))
    x0, y0 = mapped[0]
    far = max(mapped, key=lambda p: math.dist(p, (x0, y0)))
    dx, dy = far[0] - x0, far[1] - y0
    length = (dx * dx + dy * dy) ** 0.5
    if length <= FLAT_MM:
        return True
    return all(abs(dx * (y - y0) - dy * (x - x0)) <= FLAT_MM * length for x, y in mapped)


def _subpaths(data: bytes, spans: list[tuple[int, int]]) -> list[list[float]]:
    """Numbers of each subpath (x, y, x, y, ...), control points too, one point ones left out."""
    if len(spans) == 1:
        start, end = spans[0]
        piece = data[start:end]
        if b"e" not in piece and piece.count(b"m") == 1:
            try:
                numbers = list(map(float, piece.translate(None, _LETTERS).split()))
            except ValueError:
                numbers = []
            if len(numbers) > 2 and len(numbers) % 2 == 0:
                return [numbers]
    subpaths: list[list[float]] = []
    for start, end in spans:
        for name, values in path_steps(data, start, end):
            if name == b"re":
                x, y, w, h = values
                subpaths += [[x, y, x + w, y, x + w, y + h, x, y + h], []]
            elif name == b"m":
                subpaths.append(list(values))
            elif subpaths and values:
                subpaths[-1] += values
    return [points for points in subpaths if len(points) > 2]


def _mapped_box(points: list[float], to_mm: Affine) -> BoxNumbers:
    xs, ys = points[::2], points[1::2]
    if to_mm.b == 0 and to_mm.c == 0:
        x0, x1 = to_mm.a * min(xs) + to_mm.e, to_mm.a * max(xs) + to_mm.e
        y0, y1 = to_mm.d * min(ys) + to_mm.f, to_mm.d * max(ys) + to_mm.f
        return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)
    mapped = to_mm.apply_all(zip(xs, ys, strict=True))
    mx, my = [p[0] for p in mapped], [p[1] for p in mapped]
    return min(mx), min(my), max(mx), max(my)


def _union(one: BoxNumbers, other: BoxNumbers) -> BoxNumbers:
    return (
        min(one[0], other[0]),
        min(one[1], other[1]),
        max(one[2], other[2]),
        max(one[3], other[3]),
    )


def _line(path: Path) -> LineString | None:
    points = path.points(MATCH_MM / 10)
    if path.closed and points:
        points = [*points, points[0]]
    if len(points) < 2 or not np.isfinite(points).all():
        return None
    return LineString(points)
