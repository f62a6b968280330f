"""A commented job file to start from, written from the files that a person has."""

import re
from dataclasses import dataclass
from pathlib import Path

from decalprep.errors import UsageProblem
from decalprep.intake.files import meant_file
from decalprep.jobs.starter_panel import panel_text, quoted

PARTS = {".stl", ".3mf", ".obj"}

HEAD = """\
# A job for decalprep. 'decalprep job-help' explains every key;
# 'decalprep make {name}' makes the sheets.

[job]
title = "{title}"
gap = "3 mm"                  # least distance between decals
hairline = "0.1 mm"           # strokes at or under this width are stripped
viewing_distance = "700 mm"   # for the legibility checks

[[sheet]]
size = "{size}"                   # A3, A4, A5, Letter, Legal, Tabloid or "210 x 297 mm"
stock = "plain paper"         # or "full-sheet label stock", "die-cut label stock", "film"
# printer = "office laser"    # a printer record, once you have calibrated
# margin = "6.35 mm"          # what your printer cannot reach
"""


@dataclass(frozen=True)
class Started:
    """The text of a new job file, and what to tell of it: what was filled in, what is missing."""

    text: str
    notes: tuple[str, ...]


def start_job(files: list[Path], job_file: Path, *, page: str = "A4") -> Started:
    """A job file for the artworks and parts given, which must lie in its folder.

    A part (STL, 3MF, OBJ, or a DXF beside an artwork of another kind) goes with the artwork whose
    name its own starts with.

    Raises:
        UsageProblem: no artwork among the files, or a file outside the job file's folder.
    """
    folder = job_file.parent.resolve()
    for file in files:
        _check_place(file, folder, job_file.name)
    files = list({file.resolve(): file for file in files}.values())
    artworks, parts = _sorted_out(files)
    if not artworks:
        raise UsageProblem("no artwork among the files", do="name an SVG, PDF, picture or DXF")
    title = quoted(folder.name or "Decals")
    text = HEAD.format(name=job_file.name, title=title, size=page)
    notes: list[str] = []
    names: set[str] = set()
    owners = {part: _owner(part, artworks) for part in parts}
    for file in artworks:
        relative = file.resolve().relative_to(folder).as_posix()
        table, told = panel_text(_free_name(file, names), file, relative)
        lines, more = _part_lines(file, [p for p in parts if owners[p] == file], folder)
        text += table + lines
        notes += [*told, *more]
    notes += [
        f'{part.name}: goes with no artwork by its name; write part = "..." under its panel'
        for part in parts
        if owners[part] is None
    ]
    return Started(text, tuple(notes))


def _check_place(file: Path, folder: Path, job_name: str) -> None:
    if not file.is_file():
        found = "is a folder, not a file" if file.is_dir() else "no such file"
        near = "" if file.is_dir() else meant_file(file)
        raise UsageProblem(f"{file}: {found}", do=near or "name the artworks themselves")
    if not file.resolve().is_relative_to(folder):
        words = f"{file} is not in the folder of {job_name}"
        raise UsageProblem(words, do="copy it there, or put the job file beside it with --to")


def _sorted_out(files: list[Path]) -> tuple[list[Path], list[Path]]:
    """(artworks, parts): a DXF is a part where another file is the artwork that it goes with."""
    parts = [f for f in files if f.suffix.lower() in PARTS]
    others = [f for f in files if f not in parts]
    pictures = [f for f in others if f.suffix.lower() != ".dxf"]
    parts += [f for f in others if f not in pictures and _owner(f, pictures)]
    return [f for f in others if f not in parts], parts


def _owner(part: Path, artworks: list[Path]) -> Path | None:
    """The artwork with the longest name that the part's own starts with."""
    mine = [a for a in artworks if part.stem.lower().startswith(a.stem.lower())]
    return max(mine, key=lambda a: len(a.stem), default=None)


def _free_name(file: Path, names: set[str]) -> str:
    stem = re.sub(r'[<>:"/\\|?*]', "-", quoted(file.stem)).strip(". ") or "panel"
    name, k = stem, 1
    while name.casefold() in names:
        k += 1
        name = f"{stem} {k}"
    names.add(name.casefold())
    return name


def _part_lines(file: Path, parts: list[Path], folder: Path) -> tuple[str, list[str]]:
    """The keys for an artwork's plates, and what is told of them."""
    text, notes = "", []
    used: set[str] = set()
    for part in parts:
        key = "back_part" if "back" in part.stem.lower() else "part"
        if key in used:
            notes.append(f"{part.name}: {file.name} has a {key} already; left out")
            continue
        used.add(key)
        text += f'{key} = "{quoted(part.resolve().relative_to(folder).as_posix())}"\n'
        plate = "back plate" if key == "back_part" else "face plate"
        notes.append(f"{part.name}: taken for the {plate} of {file.stem}")
    return text, notes
