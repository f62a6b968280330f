"""What the printed sheets of a job should show, kept beside the result as ``prints.json``.

A print is measured against the sheets as they were made, so the file is written with them. Where
it is missing, the same is worked out anew from the job and its kept layout. True sheet mm, origin
lower left, y up.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from decalprep.errors import InputProblem
from decalprep.jobs.lay import sheet_from_decal
from decalprep.model import Decal, Drawing, Layer, Placement, PrinterRecord, StrokeMark

if TYPE_CHECKING:
    from decalprep.jobs.make import Made, MakeOptions
    from decalprep.jobs.spec import Job
    from decalprep.scan import ExpectedPrint, SheetHole

PRINTS_FILE = "prints.json"
FAR_MM = 1e5
KIND = "decalprep prints"
VERSION = 1
Point = tuple[float, float]


@dataclass(frozen=True)
class PrintedDecal:
    """One copy of a decal: its outline, its round holes by label, how it lies and how it is fitted.

    ``fit`` are scale_x, scale_y and skew of the part record in it, parts of one.
    """

    name: str
    copy: int
    panel: str
    turn_deg: float
    outline: tuple[Point, ...]
    holes: tuple[tuple[str, float, float, float], ...] = ()
    fit: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def title(self) -> str:
        """Name and copy, as the proof writes them."""
        return f"{self.name} #{self.copy}"


@dataclass(frozen=True)
class PrintedSheet:
    """One sheet: its decals and marks, the printer it is corrected for, how well that is known.

    ``mean_scale_u`` is the standard uncertainty of the mean scale of its print (parts of one), None
    without a printer record. ``bars``: length of each check bar in mm, and whether it runs up.
    ``guides`` are hole guides and screw crosses, by which a sheet is known.
    """

    name: str
    width_mm: float
    height_mm: float
    decals: tuple[PrintedDecal, ...]
    marks: tuple[tuple[Point, ...], ...]
    printer: str = ""
    mean_scale_u: float | None = None
    bars: tuple[tuple[float, bool], ...] = ()
    guides: tuple[tuple[Point, ...], ...] = ()

    @property
    def lines(self) -> tuple[tuple[Point, ...], ...]:
        """All lines that the print shows."""
        return (*(d.outline for d in self.decals), *self.marks, *self.guides)

    @property
    def expected(self) -> ExpectedPrint:
        """The same as the scan room wants it."""
        from decalprep.scan import ExpectedPrint, SheetDecal

        decals = tuple(SheetDecal(d.name, d.copy, d.outline) for d in self.decals)
        return ExpectedPrint(self.width_mm, self.height_mm, decals, self.marks)

    def holes_of(self, decal: PrintedDecal) -> tuple[SheetHole, ...]:
        """The round holes of a decal of this sheet."""
        from decalprep.scan import SheetHole

        return tuple(SheetHole(*hole) for hole in decal.holes)


@dataclass(frozen=True)
class Prints:
    """All sheets of a job and how far a printed decal may be off, mm."""

    tolerance_mm: float
    sheets: tuple[PrintedSheet, ...]


def prints_of(
    drawings: Sequence[Drawing],
    decals: Sequence[Decal],
    placements: Sequence[Placement],
    records: Sequence[PrinterRecord | None],
    tolerance_mm: float,
) -> Prints:
    """What the prints of these sheets should show."""
    by_name = {decal.name: decal for decal in decals}
    places = {(p.decal, p.copy): p for p in placements}
    sheets = []
    for drawing, record in zip(drawings, records, strict=True):
        sheets.append(_sheet(drawing, by_name, places, record))
    return Prints(tolerance_mm, tuple(sheets))


def _sheet(
    drawing: Drawing,
    decals: dict[str, Decal],
    places: dict[tuple[str, int], Placement],
    record: PrinterRecord | None,
) -> PrintedSheet:
    from decalprep.calibration import mean_scale_uncertainty
    from decalprep.marks.places import mark_places
    from decalprep.scan import expected_print

    expected = expected_print(drawing)
    known = record is not None and record.weight_sheets > 0
    return PrintedSheet(
        drawing.sheet.name,
        drawing.sheet.width_mm,
        drawing.sheet.height_mm,
        tuple(_decal(decals[d.name], places[d.name, d.copy], d.outline) for d in expected.decals),
        expected.marks,
        record.printer if record is not None else "",
        mean_scale_uncertainty(record) if record is not None and known else None,
        tuple((bar.length_mm, bar.upward) for bar in mark_places(drawing.sheet).bars),
        tuple(_guides(drawing)),
    )


def _guides(drawing: Drawing) -> Iterator[tuple[Point, ...]]:
    for item in drawing.items:
        if isinstance(item, StrokeMark) and item.layer in (Layer.HOLE_GUIDE, Layer.SCREW_CROSS):
            line = item.path.points(0.02)
            yield tuple([*line, line[0]] if item.path.closed else line)


def _decal(decal: Decal, place: Placement, outline: tuple[Point, ...]) -> PrintedDecal:
    m = sheet_from_decal(decal, place)
    holes = []
    for hole in decal.holes:
        if hole.circle is not None:
            x, y = m.apply(hole.circle.x, hole.circle.y)
            holes.append((hole.label, x, y, hole.circle.diameter))
    f = decal.fitted_from_decal
    fit = (f.a - 1, f.d - 1, f.c)
    name = decal.panel or decal.name
    return PrintedDecal(decal.name, place.copy, name, place.turn_deg, outline, tuple(holes), fit)


# ---------------------------------------------------------------- the file


def prints_made(made: Made) -> bytes:
    """The text of the file for one finished run."""
    decals, places = made.pieces.decals, made.laid.placements
    allowed = made.job["print_tolerance"]
    return prints_text(prints_of(made.drawings, decals, places, made.records, allowed))


def prints_text(prints: Prints) -> bytes:
    """The text of the file, places rounded to a ten-thousandth of a millimetre."""
    sheets = []
    for sheet in prints.sheets:
        data: dict[str, Any] = {
            "name": sheet.name,
            "size_mm": [sheet.width_mm, sheet.height_mm],
            "printer": sheet.printer,
            "mean_scale_u": sheet.mean_scale_u,
            "bars": [[length, "up" if upward else "across"] for length, upward in sheet.bars],
            "marks": [_rounded(line) for line in sheet.marks],
            "guides": [_rounded(line) for line in sheet.guides],
            "decals": [
                {
                    "name": d.name,
                    "copy": d.copy,
                    "panel": d.panel,
                    "turn_deg": d.turn_deg,
                    "fit": list(d.fit),
                    "holes": [[h[0], *(round(v, 4) for v in h[1:])] for h in d.holes],
                    "outline": _rounded(d.outline),
                }
                for d in sheet.decals
            ],
        }
        sheets.append(data)
    data = {
        "kind": KIND,
        "version": VERSION,
        "tolerance_mm": prints.tolerance_mm,
        "sheets": sheets,
    }
    return (json.dumps(data, ensure_ascii=False) + "\n").encode()


def _rounded(line: Sequence[Point]) -> list[list[float]]:
    return [[round(x, 4), round(y, 4)] for x, y in line]


def read_prints(path: Path) -> Prints:
    """The prints that a file tells of.

    Raises:
        InputProblem: missing, damaged or of another version.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data.get("kind") != KIND or data.get("version") != VERSION:
            raise ValueError("another kind or version")
        if not _sound(data):
            raise ValueError("a number in it is none")
        return Prints(float(data["tolerance_mm"]), tuple(map(_read_sheet, data["sheets"])))
    except OSError as problem:
        raise InputProblem(f"cannot be read ({problem.strerror})", where=str(path)) from problem
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as problem:
        raise InputProblem(
            f"is damaged ({problem})", where=str(path), do="run 'decalprep make' again"
        ) from problem


def _sound(value: Any) -> bool:
    """Whether all numbers in JSON data are numbers of a page."""
    if isinstance(value, dict):
        return all(_sound(v) for v in value.values())
    if isinstance(value, list):
        return all(_sound(v) for v in value)
    return not isinstance(value, int | float) or abs(value) < FAR_MM


def _read_sheet(data: dict[str, Any]) -> PrintedSheet:
    u = data["mean_scale_u"]
    width, height = (float(v) for v in data["size_mm"])
    return PrintedSheet(
        str(data["name"]),
        width,
        height,
        tuple(
            PrintedDecal(
                str(d["name"]),
                int(d["copy"]),
                str(d["panel"]),
                float(d["turn_deg"]),
                _line(d["outline"]),
                tuple((str(h[0]), float(h[1]), float(h[2]), float(h[3])) for h in d["holes"]),
                (float(d["fit"][0]), float(d["fit"][1]), float(d["fit"][2])),
            )
            for d in data["decals"]
        ),
        tuple(_line(line) for line in data["marks"]),
        str(data["printer"]),
        None if u is None else float(u),
        tuple((float(length), way == "up") for length, way in data["bars"]),
        tuple(_line(line) for line in data["guides"]),
    )


def _line(points: Any) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in points)


def result_folder(job_file: Path, named: Path | None) -> Path:
    """The folder that 'make' wrote for a job: the one named, else the job file's name with -out.

    Raises:
        InputProblem: the one named is not such a folder.
    """
    if named is None:
        return job_file.with_name(job_file.stem + "-out")
    if not (named / PRINTS_FILE).is_file():
        raise InputProblem(
            f"is no folder that 'make' wrote: there is no {PRINTS_FILE} in it",
            where=str(named),
            do="see which folder the run named when it ended",
        )
    return named


def prints_for(
    job: Job, folder: Path, options: MakeOptions, say: Callable[[str], None]
) -> tuple[Prints, bool]:
    """The prints of a job, and whether they are those kept in its result folder.

    Raises:
        DecalprepError: there is no kept file and the job cannot be worked out.
    """
    path = folder / PRINTS_FILE
    if path.exists():
        return read_prints(path), True
    return rebuilt(job, options, say), False


def rebuilt(job: Job, options: MakeOptions, say: Callable[[str], None]) -> Prints:
    """The prints worked out anew from the job and its kept layout; nothing is written."""
    from decalprep.jobs.finish import finish_panel
    from decalprep.jobs.groups import Effort
    from decalprep.jobs.lay import lay_out, read_placements
    from decalprep.jobs.make import compose, part_records, printer_records, with_margins
    from decalprep.jobs.prepare import prepare_panel
    from decalprep.jobs.tiling import pieces_of

    records, _ = printer_records(job, options)
    job = with_margins(job, records)
    parts = part_records(job, options)
    prepared = tuple(
        prepare_panel(p, job, part, say) for p, part in zip(job.panels, parts, strict=True)
    )
    finishes = [finish_panel(p, one, job) for p, one in zip(job.panels, prepared, strict=True)]
    pieces = pieces_of(prepared, job, finishes)
    laid = lay_out(pieces.decals, job, read_placements(job)[0], Effort(say))
    drawings, by_sheet = compose(job, pieces, laid, records, finishes)
    return prints_of(drawings, pieces.decals, laid.placements, by_sheet, job["print_tolerance"])
