"""Path construction operators to geometry."""

import re

from decalprep.geometry import Affine, Cubic, Line, Path, Point, Segment

_FINE = {b"m": 2, b"l": 2, b"c": 6, b"v": 4, b"y": 4, b"re": 4, b"h": 0}


def paths_in(
    data: bytes, spans: list[tuple[int, int]], page_from_user: Affine, *, closing: bool
) -> tuple[Path, ...]:
    """The subpaths in page points; ``closing`` closes open ones, as filling does.

    Subpaths of a single point are left out; operators with too few numbers too.
    """
    builder = _Builder(page_from_user)
    for start, end in spans:
        for name, values in path_steps(data, start, end):
            builder.take(name, values)
    builder.finish(closed=False)
    if closing:
        return tuple(p if p.closed else _closed(p) for p in builder.paths)
    return tuple(builder.paths)


def path_steps(data: bytes, start: int, end: int) -> list[tuple[bytes, list[float]]]:
    """(operator, its numbers) of a PATH span; ill-formed operators are dropped."""
    steps: list[tuple[bytes, list[float]]] = []
    values: list[float] = []
    for word in data[start:end].replace(b"\x00", b" ").split():
        count = _FINE.get(word)
        if count is None:
            try:
                values.append(float(word))
            except ValueError:
                return _steps_by_span(data, start, end)
        else:
            if len(values) >= count:
                steps.append((word, values[len(values) - count :]))
            values = []
    return steps


def _steps_by_span(data: bytes, start: int, end: int) -> list[tuple[bytes, list[float]]]:
    """The same where words run together, as in ``0 0m10-5l``."""
    steps: list[tuple[bytes, list[float]]] = []
    pattern = re.compile(rb"([^a-z]*)(re|[mlcvyh])")
    for found in pattern.finditer(data, start, end):
        values = [float(n) for n in re.findall(rb"[+\-]?(?:\d+\.?\d*|\.\d+)", found[1])]
        count = _FINE[found[2]]
        if len(values) >= count:
            steps.append((found[2], values[len(values) - count :]))
    return steps


def _closed(path: Path) -> Path:
    start, end = path.segments[0].start, path.segments[-1].end
    if start == end:
        return Path(path.segments, True)
    return Path((*path.segments, Line(end, start)), True)


class _Builder:
    def __init__(self, page_from_user: Affine) -> None:
        self.map = page_from_user
        self.paths: list[Path] = []
        self.pieces: list[Segment] = []
        self.first: Point = (0.0, 0.0)
        self.now: Point = (0.0, 0.0)
        self.started = False

    def take(self, name: bytes, v: list[float]) -> None:
        if name == b"l":
            self.add_line(self.map.apply(v[0], v[1]))
        elif name == b"m":
            self.move(self.map.apply(v[0], v[1]))
        elif name == b"re":
            self.rectangle(*v)
        elif name == b"h":
            self.close()
        else:
            at = [self.map.apply(v[i], v[i + 1]) for i in range(0, len(v), 2)]
            if name == b"v":
                at = [self.now, *at]
            elif name == b"y":
                at = [*at, at[-1]]
            if self.started:
                self.pieces.append(Cubic(self.now, at[0], at[1], at[2]))
                self.now = at[2]

    def move(self, point: Point) -> None:
        self.finish(closed=False)
        self.first = self.now = point
        self.started = True

    def add_line(self, point: Point) -> None:
        if self.started:
            self.pieces.append(Line(self.now, point))
            self.now = point

    def rectangle(self, x: float, y: float, width: float, height: float) -> None:
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        points = self.map.apply_all(corners)
        self.move(points[0])
        for point in points[1:]:
            self.add_line(point)
        self.close()

    def close(self) -> None:
        if self.pieces and self.now != self.first:
            self.pieces.append(Line(self.now, self.first))
        self.finish(closed=True)
        self.now = self.first

    def finish(self, *, closed: bool) -> None:
        if self.pieces:
            self.paths.append(Path(tuple(self.pieces), closed))
        self.pieces = []
