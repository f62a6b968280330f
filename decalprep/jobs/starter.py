"""A commented job file to start from, written from the files that a person has."""

import re
from dataclasses import dataclass
from pathlib import Path

from decalprep.errors import DecalprepError, NoSize, UsageProblem

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

PANEL = """
[[panel]]
name = "{name}"
artwork = "{file}"
"""

OPTIONS = """\
copies = 1
# hide_layers = ["guides"]    # layers that must not be printed
# outline_layer = "cut"       # the layer (or outline_spot: the spot colour) of the cut outline
# hole_layer = "holes"        # the layer (or hole_spot: the spot colour) of the holes
# bleed = "1 mm"              # how far ink runs past the outline
# turns = "quarter turns"     # or "half turn", "upright", "any angle"
"""


@dataclass(frozen=True)
class Started:
    """The text of a new job file, and what could not be read."""

    text: str
    notes: tuple[str, ...]


def start_job(files: list[Path], job_file: Path, *, page: str = "A4") -> Started:
    """A job file for the artworks and parts given, which must lie in its folder.

    A part (STL, 3MF, OBJ) goes with the artwork whose name starts as its own does.

    Raises:
        UsageProblem: no artwork among the files, or a file outside the job file's folder.
        InputProblem: a file that is not there.
    """
    folder = job_file.parent.resolve()
    for file in files:
        if not file.is_file():
            raise UsageProblem(f"{file}: no such file", do="check the path")
        if not file.resolve().is_relative_to(folder):
            words = f"{file} is not in the folder of {job_file.name}"
            raise UsageProblem(words, do="copy it there, or put the job file beside it with --to")
    parts = [f for f in files if f.suffix.lower() in PARTS]
    artworks = [f for f in files if f not in parts]
    if not artworks:
        raise UsageProblem("no artwork among the files", do="name an SVG, PDF, picture or DXF")
    title = _quoted(folder.name or "Decals")
    text = HEAD.format(name=job_file.name, title=title, size=page)
    notes: list[str] = []
    names: set[str] = set()
    for file in artworks:
        text += _panel(file, folder, names, notes)
        for part in parts:
            if part.stem.lower().startswith(file.stem.lower()):
                relative = part.resolve().relative_to(folder).as_posix()
                key = "back_part" if "back" in part.stem.lower() else "part"
                text += f'{key} = "{_quoted(relative)}"\n'
    return Started(text, tuple(notes))


def _quoted(text: str) -> str:
    return text.replace("\\", "/").replace('"', "'")


def _panel(file: Path, folder: Path, names: set[str], notes: list[str]) -> str:
    from decalprep.intake import read_artwork
    from decalprep.intake.options import IntakeOptions

    stem = re.sub(r'[<>:"/\\|?*]', "-", file.stem).strip(". ") or "panel"
    name, k = stem, 1
    while name.casefold() in names:
        k += 1
        name = f"{stem} {k}"
    names.add(name.casefold())
    text = PANEL.format(name=name, file=_quoted(file.resolve().relative_to(folder).as_posix()))
    try:
        artwork = read_artwork(file, IntakeOptions(allow_missing_fonts=True))
    except NoSize:
        text += '# width = "120 mm"          # NEEDED: the file does not say how large it is\n'
        notes.append(f"{file.name}: says no size; fill in its true width")
    except DecalprepError as problem:
        text += f"# cannot be read yet: {_quoted(problem.found)}\n"
        notes.append(str(problem))
    else:
        why = artwork.evidence[0].reason if artwork.evidence else "the file"
        text += f"# {artwork.width_mm:.2f} x {artwork.height_mm:.2f} mm, from {why}\n"
        text += f'# width = "{artwork.width_mm:.2f} mm"   # say it here if that is not true\n'
        if artwork.layers:
            text += f"# its layers: {', '.join(_quoted(w) for w in artwork.layers)}\n"
    return text + OPTIONS
