"""Job files: TOML in, a Job out, or every fault at once with its line."""

import difflib
import re
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

from decalprep.errors import DecalprepError, JobProblem
from decalprep.geometry import Box
from decalprep.jobs.kinds import Fault
from decalprep.jobs.schema import GRID, HOLE, JOB, PANEL, SHEET, Key
from decalprep.jobs.spec import Job, PanelSpec, SheetSpec, Values
from decalprep.jobs.toml_faults import toml_fault
from decalprep.model import DieCutGrid, Margins, Severity, Sheet, StockKind

MOST_BYTES = 1_000_000
MOST_PANELS = 1000
_DEEPEST = 8
BLOCKS_BELOW = 0.001
"""Stock of this transmittance (density 3) may be called block-out stock."""

Where = tuple[str, ...]
_HEADER = re.compile(r"\s*(\[{1,2})\s*([A-Za-z0-9_.\s-]+?)\s*\]{1,2}\s*(#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_-]+)\s*=")


def line_map(text: str) -> dict[Where, int]:
    """Line numbers, from 1, of tables and keys: ("panel", "2", "width") is the second panel's.

    Does not follow inline tables or dotted keys; those get their table's line.

    >>> line_map("[[panel]]\\nname = 'a'\\n[[panel]]\\nname = 'b'\\n")[("panel", "1", "name")]
    4
    """
    lines: dict[Where, int] = {}
    counts: Counter[Where] = Counter()
    here: Where = ()
    for number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.match(line)
        if header:
            here = ()
            parts = [p.strip() for p in header[2].split(".")]
            for depth, part in enumerate(parts[:_DEEPEST]):
                here = (*here, part)
                last = depth == len(parts) - 1
                if last and header[1] == "[[":
                    counts[here] += 1
                if counts[here]:
                    here = (*here, str(counts[here] - 1))
            lines.setdefault(here, number)
        elif key := _KEY.match(line):
            lines.setdefault((*here, key[1]), number)
    return lines


class _Reader:
    """Reads tables by the schema and gathers faults."""

    def __init__(self, source: Path, text: str) -> None:
        self.source = source
        self.lines = line_map(text)
        self.faults: list[tuple[int, str]] = []

    def line(self, where: Where) -> int:
        while where and where not in self.lines and (*where, "0") not in self.lines:
            where = where[:-1]
        return self.lines.get(where, self.lines.get((*where, "0"), 1))

    def fault(self, where: Where, words: str) -> None:
        line = self.line(where)
        self.faults.append((line, f"{self.source.name}:{line}: {words}"))

    def table(
        self, given: Any, keys: tuple[Key, ...], where: Where, below: tuple[str, ...]
    ) -> Values:
        shown = "[" + ".".join(w for w in where if not w.isdigit()) + "]"
        if not isinstance(given, dict):
            self.fault(where, f"{shown} must be a table")
            given = {}
        values: dict[str, Any] = {}
        known = {key.name for key in keys}
        for key in given:
            if key not in known and key not in below:
                near = difflib.get_close_matches(key, sorted(known | set(below)), n=1)
                hint = f'; did you mean "{near[0]}"?' if near else f"; {shown} has no such key"
                self.fault((*where, key), f'unknown key "{key}"{hint}')
        for key in keys:
            values[key.name] = key.default
            if key.name in given:
                try:
                    values[key.name] = key.kind(given[key.name])
                except Fault as fault:
                    self.fault((*where, key.name), f'"{key.name}" {fault}')
            elif key.required:
                self.fault(where, f'{shown} lacks "{key.name}", as in {key.name} = {key.example}')
        return Values(shown, self.line(where), values, frozenset(given) & known)

    def tables(self, given: Any, word: str) -> list[Any]:
        if given is None:
            return []
        if isinstance(given, dict):
            self.fault((word,), f"write [[{word}]] with two brackets, once for each {word}")
            return []
        if not isinstance(given, list):
            self.fault((word,), f'"{word}" must be tables [[{word}]]')
            return []
        return given


def read_job(source: Path) -> Job:
    """The job in a TOML file.

    Raises:
        JobProblem: the file is missing, too large, not TOML, or wrong; all faults at once.
    """
    text, data = _read_toml(source)
    reader = _Reader(source, text)
    for word in data:
        if word not in ("job", "sheet", "panel"):
            reader.fault((word,), f'unknown table "{word}"; use [job], [[sheet]] and [[panel]]')
    settings = reader.table(data.get("job", {}), JOB, ("job",), ())
    sheets = _sheets(reader, data)
    panels = _panels(reader, data)
    _check_names(reader, sheets, panels)
    files = _check_files(reader, source.parent, panels)
    if reader.faults:
        raise JobProblem([words for _, words in sorted(reader.faults, key=lambda f: f[0])])
    return Job(source.parent, source, text, settings, sheets, panels, files)


def _read_toml(source: Path) -> tuple[str, dict[str, Any]]:
    """The text of a job file and what TOML makes of it.

    Raises:
        JobProblem: it is missing, too large, no TOML, or something else than a job file.
    """
    try:
        text = _read_text(source)
        return text, tomllib.loads(text)
    except RecursionError:
        raise JobProblem([f"{source.name}: lists or tables lie too deep in each other"]) from None
    except tomllib.TOMLDecodeError as error:
        _refuse_artwork(source)
        raise JobProblem([toml_fault(source.name, text, str(error))]) from None


def _refuse_artwork(source: Path) -> None:
    """Tell what to do with an artwork, a part or a sheets.pdf that is given for a job file.

    Raises:
        JobProblem: the file is one.
    """
    from decalprep.intake.files import MESH_KINDS, kind_of, read_whole
    from decalprep.intake.options import Limits

    try:
        kind = kind_of(read_whole(source, Limits()), source)
    except DecalprepError:
        return
    what = {"svg": "an SVG artwork", "pdf": "a PDF", "dxf": "a DXF drawing"}.get(kind, "a picture")
    words = f"{source}: is {what}, not a job file; 'decalprep new {source}' starts a job from it"
    if kind in MESH_KINDS:
        words = (
            f"{source}: is a part ({kind.upper()}), not a job file; name it with its artwork, as "
            f"in 'decalprep new panel.svg {source}'"
        )
    if kind == "pdf":
        words += f", and 'decalprep unpack {source} FOLDER' writes out the job of a sheets.pdf"
    raise JobProblem([words])


def _read_text(source: Path) -> str:
    try:
        if source.is_dir():
            raise JobProblem([f"{source}: is a folder; name the job file inside it"])
        if source.exists() and not source.is_file():
            raise JobProblem([f"{source}: is no plain file; name a TOML job file"])
        if source.stat().st_size > MOST_BYTES:
            _refuse_artwork(source)
            raise JobProblem([f"{source}: larger than {MOST_BYTES} bytes; not a job file"])
        return source.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        from decalprep.intake.files import meant_file

        do = meant_file(source) or "'decalprep new' writes a job file"
        raise JobProblem([f"{source}: no such file; {do}"]) from None
    except UnicodeDecodeError:
        _refuse_artwork(source)
        words = "not UTF-8 text; save it as UTF-8, or name the job file"
        raise JobProblem([f"{source}: {words}"]) from None
    except OSError as error:
        raise JobProblem([f"{source}: cannot be read: {error.strerror}"]) from None


def _sheets(reader: _Reader, data: dict[str, Any]) -> tuple[SheetSpec, ...]:
    tables = reader.tables(data.get("sheet"), "sheet")
    if not tables:
        return (SheetSpec(Sheet("A4 plain paper", 210.0, 297.0)),)
    found = []
    for k, given in enumerate(tables):
        where: Where = ("sheet", str(k))
        values = reader.table(given, SHEET, where, ("grid",))
        grid = None
        stock = StockKind(values["stock"])
        if isinstance(given, dict) and "grid" in given:
            grid = _grid(reader, given["grid"], (*where, "grid"))
        if (stock is StockKind.DIE_CUT) != (grid is not None):
            words = "die-cut label stock needs a [sheet.grid], and only it"
            reader.fault((*where, "stock"), words)
        found.append(_sheet(reader, values, stock, grid, where))
    return tuple(found)


def _grid(reader: _Reader, given: Any, where: Where) -> DieCutGrid:
    g = reader.table(given, GRID, where, ())
    return DieCutGrid(
        rows=g["rows"],
        columns=g["columns"],
        label_width_mm=g["label_width"],
        label_height_mm=g["label_height"],
        first_left_mm=g["left"],
        first_top_mm=g["top"],
        pitch_x_mm=g["pitch_x"],
        pitch_y_mm=g["pitch_y"],
        corner_radius_mm=g["corner_radius"],
    )


def _sheet(
    reader: _Reader, values: Values, stock: StockKind, grid: DieCutGrid | None, where: Where
) -> SheetSpec:
    width_mm, height_mm = values["size"]
    margin_mm = values["margin"]
    if values["block_out"] and (values["transmittance"] or 0.0) > BLOCKS_BELOW:
        words = '"block_out" says that no light passes, "transmittance" that some does: give one'
        reader.fault((*where, "transmittance"), words)
    margins = Margins() if margin_mm is None else Margins(*(margin_mm,) * 4)
    if min(width_mm, height_mm) <= 2 * margins.left_mm:
        reader.fault((*where, "margin"), '"margin" leaves nothing of the sheet')
    gone_labels = set(values["gone_labels"]) | set(range(1, values["start_at"]))
    if grid is None and gone_labels:
        reader.fault(where, '"gone_labels" and "start_at" are for die-cut label stock')
    elif grid and any(label > grid.rows * grid.columns for label in gone_labels):
        words = f"there are only {grid.rows * grid.columns} labels on a sheet"
        reader.fault((*where, "start_at" if values["start_at"] > 1 else "gone_labels"), words)
    sheet = Sheet(
        name=values["name"] or f"sheet {int(where[1]) + 1}",
        width_mm=width_mm,
        height_mm=height_mm,
        margins=margins,
        stock=stock,
        grid=grid,
        gone=tuple(Box(x, y, x + w, y + h) for x, y, w, h in values["gone"]),
        gone_labels=tuple(sorted(gone_labels)),
        available=values["available"],
        price=values["price"],
    )
    _check_grid(reader, sheet, where)
    if values["leftovers"] and (values["gone"] or gone_labels):
        words = '"leftovers" takes what is gone from the remembered sheet: give one or the other'
        reader.fault((*where, "leftovers"), words)
    return SheetSpec(
        sheet,
        values["printer"],
        margin_mm is not None,
        values["printing"],
        transmittance=values["transmittance"],
        block_out=values["block_out"],
        use_leftovers=values["leftovers"],
    )


def _check_grid(reader: _Reader, sheet: Sheet, where: Where) -> None:
    if sheet.grid is None or not sheet.grid.rows or not sheet.grid.columns:
        return
    from decalprep.nesting import check_grid

    for notice in check_grid(sheet):
        if notice.severity is Severity.DANGER:
            reader.fault((*where, "grid"), notice.text)


def _panels(reader: _Reader, data: dict[str, Any]) -> tuple[PanelSpec, ...]:
    tables = reader.tables(data.get("panel"), "panel")
    if not tables and not reader.faults:
        reader.fault((), "there is no [[panel]]; a job needs one at least")
    if len(tables) > MOST_PANELS:
        reader.fault(("panel",), f"more than {MOST_PANELS} panels; split the job")
        tables = tables[:1]
    found = []
    for k, given in enumerate(tables):
        where: Where = ("panel", str(k))
        values = reader.table(given, PANEL, where, ("hole",))
        below = given.get("hole") if isinstance(given, dict) else None
        holes = tuple(
            reader.table(hole, HOLE, (*where, "hole", str(n)), ())
            for n, hole in enumerate(reader.tables(below, "hole"))
        )
        _check_panel(reader, values, where)
        found.append(PanelSpec(values["name"], values, holes))
    return tuple(found)


def _check_panel(reader: _Reader, values: Values, where: Where) -> None:
    if values["scale"] is not None and (values["width"] or values["height"]):
        reader.fault((*where, "scale"), 'give "scale" or "width"/"height", not both')
    known = bool(values["known_points"]) + bool(values["known_circles"])
    if known != (values["known_distance"] is not None):
        words = 'needs just one of "known_points" and "known_circles" beside "known_distance"'
        reader.fault((*where, "known_distance"), words)
    elif known and (values["width"] or values["height"] or values["scale"]):
        words = 'give "known_distance" or "width"/"height"/"scale", not both'
        reader.fault((*where, "known_distance"), words)
    if values["show_layers"] and values["hide_layers"]:
        reader.fault((*where, "hide_layers"), 'give "show_layers" or "hide_layers", not both')
    if values["outline_layer"] and values["outline_spot"]:
        reader.fault((*where, "outline_spot"), 'give "outline_layer" or "outline_spot", not both')
    if "overlap" in values.given and not values["tile"]:
        reader.fault((*where, "overlap"), '"overlap" is for tiles; add tile = true')
    if values["seam_sway"] and not values["tile"]:
        reader.fault((*where, "seam_sway"), '"seam_sway" is for tiles; add tile = true')
    if not 0.0 <= values["seam_sway"] <= 50.0:
        reader.fault((*where, "seam_sway"), '"seam_sway" must be from 0 to 50 mm')
    if not 3.0 <= values["overlap"] <= 50.0:
        reader.fault((*where, "overlap"), '"overlap" must be from 3 to 50 mm')
    if values["turn_step"] and values["turns"] != "any angle":
        reader.fault((*where, "turn_step"), '"turn_step" goes with turns = "any angle"')
    if values["back_part"] and not values["part"]:
        reader.fault((*where, "back_part"), '"back_part" needs "part", the face plate, too')
    if values["masks"] and not values["part"]:
        reader.fault((*where, "masks"), '"masks" needs "part", the face plate they are taken from')
    if values["part_record"] and values["part_record"].startswith("."):
        reader.fault((*where, "part_record"), '"part_record" must not start with a dot')


def _check_names(
    reader: _Reader, sheets: tuple[SheetSpec, ...], panels: tuple[PanelSpec, ...]
) -> None:
    for word, names in (
        ("sheet", [s.sheet.name for s in sheets]),
        ("panel", [p.name for p in panels]),
    ):
        first: dict[str, int] = {}
        for k, own in enumerate(names):
            earlier = first.setdefault(own.casefold(), k) if own else k
            if earlier != k:
                line = reader.line((word, str(earlier), "name"))
                words = f'two {word}s are called "{own}" (the other in line {line}); rename one'
                reader.fault((word, str(k), "name"), words)
    known = {s.sheet.name for s in sheets}
    for k, panel in enumerate(panels):
        for sheet_name in panel["sheets"]:
            if sheet_name not in known:
                words = (
                    f'no [[sheet]] is called "{sheet_name}"; there are: {", ".join(sorted(known))}'
                )
                reader.fault(("panel", str(k), "sheets"), words)


def _no_file(path: Path, relative: str, folder: Path) -> str:
    """Why a file of the job cannot be it, and names like it in its folder."""
    from decalprep.intake.files import meant_file

    if path.is_dir():
        return f"{relative} is a folder, not a file (looked in {folder})"
    near = meant_file(path)
    return f"{relative} is not there (looked in {folder})" + (f"; {near}" if near else "")


def _check_files(reader: _Reader, folder: Path, panels: tuple[PanelSpec, ...]) -> tuple[Path, ...]:
    files = []
    for k, panel in enumerate(panels):
        for key in ("artwork", "part", "back_part"):
            relative = panel[key]
            if not relative:
                continue
            path = folder / relative
            if not path.is_file():
                reader.fault(("panel", str(k), key), f'"{key}": {_no_file(path, relative, folder)}')
            elif not path.resolve().is_relative_to(folder.resolve()):
                reader.fault(
                    ("panel", str(k), key),
                    f'"{key}": {relative} links to a place outside the job file\'s folder',
                )
            files.append(path)
    return tuple(dict.fromkeys(files))


def with_printer(job: Job, printer: str) -> Job:
    """The same job for another printer record on every sheet."""
    sheets = tuple(replace(s, printer=printer) for s in job.sheets)
    return replace(job, sheets=sheets, other_printer=True)
