"""Decals and jobs for tests of laying out, without files being read or drawn."""

from collections.abc import Sequence
from pathlib import Path

from shapely.affinity import rotate, translate
from shapely.geometry import Polygon, box

from decalprep.geometry import Box, path_from_ring, rectangle_path
from decalprep.jobs.groups import Effort
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.lay import Laid, lay_out, nest_part
from decalprep.jobs.spec import Job
from decalprep.model import Artwork, Decal, Turns

ART = Artwork("plate", "plate.pdf", "pdf", b"", 10.0, 10.0, 10.0, 10.0)


def quiet(words: str) -> None:
    """Progress that nobody sees."""


def job(folder: Path, text: str) -> Job:
    """A job read from text; every artwork it names is there."""
    path = folder / "job.toml"
    path.write_text(text)
    for line in text.splitlines():
        if line.startswith("artwork"):
            (folder / line.split('"')[1]).write_bytes(b"x")
    return read_job(path)


def panel(name: str, more: str = "") -> str:
    """The text of one panel."""
    return f'[[panel]]\nname = "{name}"\nartwork = "{name}.pdf"\n{more}\n'


def decal(name: str, width: float, height: float, copies: int = 1, **more) -> Decal:  # type: ignore[no-untyped-def]
    """A rectangle with its lower left corner at the origin, without bleed."""
    outline = rectangle_path(Box(0, 0, width, height))
    turns = more.pop("turns", Turns.QUARTER)
    return Decal(name, name, ART, outline, "test", copies=copies, turns=turns, **more)


def shaped(name: str, ring: Sequence[tuple[float, float]], copies: int = 1) -> Decal:
    """A decal of any outline."""
    return Decal(name, name, ART, path_from_ring(ring), "test", copies=copies)


def lay(found: Job, decals: Sequence[Decal], kept=None, seconds=None) -> Laid:  # type: ignore[no-untyped-def]
    """The job's layout."""
    return lay_out(decals, found, kept, Effort(quiet, seconds))


def places(laid: Laid) -> dict[tuple[str, int], tuple[int, float, float, float]]:
    """Where each copy lies: sheet index, x, y, turn."""
    return {(p.decal, p.copy): (p.sheet_index, p.x_mm, p.y_mm, p.turn_deg) for p in laid.placements}


def areas(laid: Laid, decals: Sequence[Decal]) -> list[tuple[int, Polygon, str]]:
    """(sheet index, area on the sheet, name) of each piece, worked out here."""
    polygons = {d.name: nest_part(d).polygon for d in decals}
    found = []
    for p in laid.placements:
        turned = rotate(polygons[p.decal], p.turn_deg, origin=(0, 0))
        found.append((p.sheet_index, translate(turned, p.x_mm, p.y_mm), p.decal))
    return found


def apart(laid: Laid, decals: Sequence[Decal], gap: float = 3.0) -> None:
    """Every piece lies within its sheet, off what is gone, and off every other."""
    lying = areas(laid, decals)
    for k, (sheet, area, name) in enumerate(lying):
        p = laid.sheets[sheet].printable
        assert box(p.x0, p.y0, p.x1, p.y1).buffer(0.001).contains(area), name
        for gone in laid.before[sheet].gone:
            assert area.distance(box(gone.x0, gone.y0, gone.x1, gone.y1)) >= gap - 0.001
        for other_sheet, other, other_name in lying[:k]:
            if other_sheet == sheet:
                assert area.distance(other) >= gap - 0.001, (name, other_name)
