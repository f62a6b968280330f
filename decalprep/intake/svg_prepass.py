"""An SVG as it arrives to a plain one that every converter reads alike, and what was found in it.

The order matters: style sheets first (all else asks for computed values), then references,
features, layers, fonts, and last the root, which gets its size in plain px.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lxml import etree

from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg_css import inline_styles
from decalprep.intake.svg_features import check_features
from decalprep.intake.svg_fonts import FontShelf
from decalprep.intake.svg_layers import Segment, cut_into_segments, layer_names, switch_layers
from decalprep.intake.svg_links import settle_links
from decalprep.intake.svg_size import RootSize, read_root_size
from decalprep.intake.svg_text import FontsUsed, settle_fonts
from decalprep.intake.svg_units import make_lengths_plain
from decalprep.intake.svg_xml import local
from decalprep.model import Notice


@dataclass(frozen=True)
class Prepared:
    """A drawing ready for conversion, without its root size, and what was found in it."""

    root: Any
    fonts: FontsUsed
    layers: tuple[str, ...]
    notices: tuple[Notice, ...]
    has_text: bool


def prepare(
    root: Any,
    options: IntakeOptions,
    *,
    name: str,
    folder: Path | None,
    refuse_missing_fonts: bool = False,
) -> Prepared:
    """The drawing made plain (changes ``root``).

    Raises:
        Unfaithful: a feature, font or picture that cannot be reproduced. UsageProblem: a layer
        name that is not there.
    """
    sheets = inline_styles(root)
    notices = list(settle_links(root, folder, name=name, limits=options.limits, sheets=sheets))
    notices += check_features(root, sheets, name=name)
    make_lengths_plain(root, name)
    layers = layer_names(root)
    switch_layers(root, options.show_layers, options.hide_layers, name=name)
    fonts = settle_fonts(
        root,
        FontShelf(folder),
        name=name,
        refuse=refuse_missing_fonts,
        accepted=options.allow_missing_fonts,
    )
    _drop(root, ("script", "metadata"))
    has_text = any(local(e) == "text" for e in root.iter())
    return Prepared(root, fonts, layers, (*notices, *fonts.notices), has_text)


def _drop(root: Any, kinds: Sequence[str]) -> None:
    for element in [e for e in root.iter() if local(e) in kinds]:
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)


def root_size(root: Any, name: str, drawn_px: tuple[float, float] | None = None) -> RootSize | None:
    """The size of an SVG root element; None where it states none and ``drawn_px`` is not given."""
    return read_root_size(
        root.get("width"),
        root.get("height"),
        view_box=root.get("viewBox"),
        aspect=root.get("preserveAspectRatio"),
        name=name,
        drawn_px=drawn_px,
    )


def write_plain_root(root: Any, size: RootSize) -> None:
    """Set the root's width and height in plain px; nothing else decides the size then."""
    for key in ("x", "y"):
        root.attrib.pop(key, None)
    root.set("width", plain(size.width_px))
    root.set("height", plain(size.height_px))
    if size.view_box is None:
        root.attrib.pop("viewBox", None)


def plain(number: float) -> str:
    """A number without exponent, to 10 decimals.

    >>> plain(302.3622047244094), plain(80.0)
    ('302.3622047244', '80')
    """
    text = f"{number:.10f}".rstrip("0").rstrip(".")
    return text or "0"


def whole_svg(root: Any) -> bytes:
    """The prepared drawing as one file."""
    return bytes(etree.tostring(root))


def segments_of(root: Any) -> tuple[Segment, ...]:
    """One file a layer; see ``svg_layers.cut_into_segments``."""
    return cut_into_segments(root)


def stretched_svg(svg: bytes, size: RootSize, pixels: tuple[int, int]) -> bytes:
    """The same drawing laid over exactly ``pixels``: rasterisers round a root's size to whole px.

    Does not change the drawing's own coordinates.
    """
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{pixels[0]}" height="{pixels[1]}" '
        f'viewBox="0 0 {plain(size.width_px)} {plain(size.height_px)}" '
        'preserveAspectRatio="none">'
    )
    return head.encode("ascii") + svg + b"</svg>"
