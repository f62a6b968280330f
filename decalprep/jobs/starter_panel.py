"""One panel of a job file to start from: what its artwork says, filled in where that is clear."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from decalprep.errors import DecalprepError, NoSize
from decalprep.model import Artwork, EvidenceRank

PANEL = """
[[panel]]
name = "{name}"
artwork = "{file}"
"""
NO_SIZE = '# width = "120 mm"          # NEEDED: the file does not say how large it is\n'
OUTLINE_LINE = (
    '# outline_layer = "cut"       # the layer (or outline_spot: the spot colour) of the outline\n'
)
HOLE_LINE = (
    '# hole_layer = "holes"        # the layer (or hole_spot: the spot colour) of the holes\n'
)
OPTIONS = """\
# bleed = "1 mm"              # how far ink runs past the outline
# turns = "quarter turns"     # or "half turn", "upright", "any angle"
# turn_step = 45              # any angle: only in steps of so many degrees
"""
AIDS = ("construction", "guides", "guide", "guide lines", "guidelines", "grid", "notes", "sketch")
"""Names of layers that are commonly no part of the legend (common practice, no source)."""


@dataclass(frozen=True)
class _Guides:
    """What of a drawing guides the knife: key and name of the outline, of the holes, how many."""

    outline: tuple[str, str] | None = None
    holes: tuple[str, str] | None = None
    count: int = 0

    def note(self, name: str) -> list[str]:
        """What was filled in, if anything was."""
        told = []
        if self.outline:
            told.append(f"the cut outline is on {_place(self.outline)}")
        if self.holes:
            told.append(f"{self.count} hole{'s' * (self.count != 1)} on {_place(self.holes)}")
        return [f"{name}: {' and '.join(told)}; filled in (not printed)"] if told else []


def panel_text(name: str, file: Path, relative: str) -> tuple[str, list[str]]:
    """The table of one panel for the artwork in ``file``, and what to tell of it."""
    from decalprep.intake import read_artwork
    from decalprep.intake.options import IntakeOptions

    head = PANEL.format(name=name, file=quoted(relative))
    artwork: Artwork | None = None
    try:
        artwork = read_artwork(file, IntakeOptions(allow_missing_fonts=True))
    except NoSize:
        pass
    except DecalprepError as problem:
        words = f"# cannot be read yet: {quoted(problem.found)}\n"
        return head + words + _options(_Guides(), ()), [str(problem)]
    size, notes = _size_lines(artwork, file.name)
    guides = _guides(artwork) if artwork else _Guides()
    layers = artwork.layers if artwork else ()
    notes += guides.note(file.name) + _aids_note(layers, file.name)
    return head + size + _options(guides, layers), notes


def quoted(text: str) -> str:
    """Words as they may stand between double quotes of a TOML text, on one line."""
    plain = text.replace("\\", "/").replace('"', "'")
    return "".join(c if c.isprintable() else " " for c in plain)


def _size_lines(artwork: Artwork | None, name: str) -> tuple[str, list[str]]:
    """What the file says of its size; the key to fill in where it says nothing."""
    claim = artwork.evidence[0] if artwork and artwork.evidence else None
    if artwork is None or (claim and claim.rank is EvidenceRank.ASSUMED):
        return NO_SIZE, [f"{name}: does not say how large it is; fill in its true width"]
    why = quoted(claim.reason) if claim else "the file"
    text = f"# {artwork.width_mm:.2f} x {artwork.height_mm:.2f} mm: {why}\n"
    text += f'# width = "{artwork.width_mm:.2f} mm"   # say it here if that is not true\n'
    return text, []


def _options(guides: _Guides, layers: tuple[str, ...]) -> str:
    listed = f"# its layers: {', '.join(quoted(w) for w in layers)}\n" if layers else ""
    hide = f'["{quoted(_aids(layers)[0])}"]' if _aids(layers) else '["guides"]'
    return "".join(
        (
            listed,
            "copies = 1\n",
            f"{f'# hide_layers = {hide}':<29} # layers that must not be printed\n",
            _key_line(guides.outline, OUTLINE_LINE),
            _key_line(guides.holes, HOLE_LINE),
            OPTIONS,
        )
    )


def _key_line(found: tuple[str, str] | None, otherwise: str) -> str:
    if found is None:
        return otherwise
    key, name = found
    written = f'{key} = "{name}"'
    return f"{written:<29} # found in the file; guides the knife, is not printed\n"


def _place(found: tuple[str, str]) -> str:
    key, name = found
    return f"{'layer' if key.endswith('layer') else 'spot colour'} '{name}'"


def _aids(layers: tuple[str, ...]) -> list[str]:
    return [layer for layer in layers if layer.strip().casefold() in AIDS]


def _aids_note(layers: tuple[str, ...], name: str) -> list[str]:
    found = _aids(layers)
    if not found:
        return []
    shown = ", ".join(repr(layer) for layer in found)
    return [f"{name}: layer {shown} will be printed; name it under hide_layers if it must not be"]


def _guides(artwork: Artwork) -> _Guides:
    """The layers or spot colours whose names say that they hold the outline and the holes.

    Names that a job file cannot hold in plain quotes are left out.
    """
    from decalprep.outline import OutlineSettings, find_holes, find_outline
    from decalprep.pdfstream import read_page

    try:
        contents = read_page(artwork.page_pdf)
        settings = OutlineSettings()
        found = find_outline(artwork, contents, None, settings)
        holes = find_holes(artwork, contents, None, found, settings)
    except DecalprepError:
        return _Guides()  # told when the sheets are made
    return _Guides(
        _named("outline", found.layer, found.spot),
        _named("hole", holes.layer, holes.spot) if holes.holes else None,
        len(holes.holes),
    )


def _named(what: str, layer: str, spot: str) -> tuple[str, str] | None:
    name = layer or spot
    plain = name and quoted(name) == name
    return (f"{what}_{'layer' if layer else 'spot'}", name) if plain else None
