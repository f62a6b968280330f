"""An SVG as it arrives to a plain one that every converter reads alike, and what was found in it.

The order matters: style sheets first (all else asks for computed values), then references,
features, layers, fonts, and last the root, which gets its size in plain px.
"""

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lxml import etree

from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg_colours import make_colours_plain
from decalprep.intake.svg_css import inline_styles
from decalprep.intake.svg_disputed import inherited
from decalprep.intake.svg_embedded import embedded_faces
from decalprep.intake.svg_features import check_features, take_ground
from decalprep.intake.svg_fonts import FontShelf
from decalprep.intake.svg_layers import Segment, cut_into_segments, layer_names, switch_layers
from decalprep.intake.svg_links import settle_links
from decalprep.intake.svg_size import RootSize, read_root_size
from decalprep.intake.svg_text import FontsUsed, settle_fonts
from decalprep.intake.svg_units import make_lengths_plain
from decalprep.intake.svg_xml import SVG, local
from decalprep.model import Notice, Severity

FILTER_PX = 3.125
"""96 px/in made 300: the resolution at which tone prints well."""

PATH_TEXT_PX = 50.0
"""Half a px is then 0.003 mm; at 96 px/in letters along a path lay 0.1 mm aside."""


_HARD = frozenset({"pixelated", "crisp-edges", "optimizeSpeed", "-moz-crisp-edges"})


@dataclass(frozen=True)
class Prepared:
    """A drawing ready for conversion, without its root size, and what was found in it.

    ``has_pixels`` where pictures or filters may put raster images on the page; ``smooth`` where
    none of them asks for hard pixels; ``ground`` is the colour under the whole page, if any.
    """

    root: Any
    fonts: FontsUsed
    layers: tuple[str, ...]
    notices: tuple[Notice, ...]
    has_pixels: bool
    smooth: bool = True
    ground: str = ""


def prepare(
    root: Any,
    options: IntakeOptions,
    *,
    name: str,
    folder: Path | None,
) -> Prepared:
    """The drawing made plain (changes ``root``).

    Raises:
        Unfaithful: a feature, font or picture that cannot be reproduced. UsageProblem: a layer
        name that is not there.
    """
    sheets = inline_styles(root)
    ground = take_ground(root, name)
    notices = list(settle_links(root, folder, name=name, limits=options.limits, sheets=sheets))
    notices += check_features(root, sheets, name=name)
    make_colours_plain(root, name)
    make_lengths_plain(root, name)
    layers = layer_names(root)
    switch_layers(root, options.show_layers, options.hide_layers, name=name)
    brought, told = embedded_faces(sheets.fonts, folder, name=name, limits=options.limits)
    notices += told
    fonts = settle_fonts(
        root,
        FontShelf(folder, embedded=brought),
        name=name,
        refuse=not options.allow_missing_fonts,
    )
    _drop(root, ("script", "metadata"))
    has_pixels = any(local(e) in ("image", "filter") for e in root.iter())
    hard = [wants_hard_pixels(e) for e in root.iter() if local(e) == "image"]
    if any(hard) and not all(hard):
        text = "has pictures with hard and with smooth pixels; all are carried over with hard ones"
        notices.append(Notice("svg-feature", text, name, Severity.WARNING))
    told = (*notices, *fonts.notices)
    return Prepared(root, fonts, layers, told, has_pixels, not any(hard), ground)


def wants_hard_pixels(image: Any) -> bool:
    """Whether an enlarged picture is to show its pixels as squares (``image-rendering``)."""
    return inherited(image, "image-rendering") in _HARD


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


def write_plain_root(root: Any, size: RootSize) -> tuple[float, float]:
    """Set the root's width and height in plain px and return them; the aspect stays.

    The px are finer than the drawing's own where a converter works to a share of a px: places
    along a path (to half a px) and filters (drawn as pixels).
    """
    kinds = {local(e) for e in root.iter()}
    finer = FILTER_PX if "filter" in kinds else PATH_TEXT_PX if "textPath" in kinds else 1.0
    width, height = size.width_px * finer, size.height_px * finer
    for key in ("x", "y"):
        root.attrib.pop(key, None)
    root.set("width", plain(width))
    root.set("height", plain(height))
    root.set("overflow", "visible")
    if size.view_box is None:
        root.set("viewBox", f"0 0 {plain(size.width_px)} {plain(size.height_px)}")
    return width, height


def lay_ground(root: Any, size: RootSize, colour: str) -> None:
    """A rectangle of the page's size below all else (changes ``root``, which has its viewBox)."""
    x, y, width, height = size.view_box or (0.0, 0.0, size.width_px, size.height_px)
    words = (root.get("preserveAspectRatio") or "xMidYMid").split()
    if words[0] != "none":
        across, up = size.width_px / width, size.height_px / height
        scale = max(across, up) if "slice" in words else min(across, up)
        share = {"min": 0.0, "mid": 0.5, "max": 1.0}
        more = (size.width_px / scale - width, size.height_px / scale - height)
        x -= more[0] * share.get(words[0][1:4].lower(), 0.5)
        y -= more[1] * share.get(words[0][5:8].lower(), 0.5)
        width, height = width + more[0], height + more[1]
    places = zip(("x", "y", "width", "height"), (x, y, width, height), strict=True)
    attributes = {key: plain(value) for key, value in places}
    root.insert(0, root.makeelement(SVG + "rect", {**attributes, "fill": colour, "stroke": "none"}))


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


def flat_patterns_svg(root: Any) -> bytes | None:
    """The drawing with every pattern's tile in one grey, or None where there is no pattern."""
    if not any(local(e) == "pattern" for e in root.iter()):
        return None
    flat = copy.deepcopy(root)
    for pattern in [e for e in flat.iter() if local(e) == "pattern"]:
        for child in list(pattern):
            pattern.remove(child)
        tile = {"x": "-1e4", "y": "-1e4", "width": "2e4", "height": "2e4", "fill": "#808080"}
        pattern.append(pattern.makeelement(SVG + "rect", tile))
    return bytes(etree.tostring(flat))


def segments_of(root: Any) -> tuple[Segment, ...]:
    """One file a layer; see ``svg_layers.cut_into_segments``."""
    return cut_into_segments(root)


def stretched_svg(
    svg: bytes, root_px: tuple[float, float], pixels: tuple[int, int], *, around: float = 0.0
) -> bytes:
    """The same drawing laid over exactly ``pixels``: rasterisers round a root's size to whole px.

    ``around`` shows that share of the page's sides more on every side.

    Does not change the drawing's own coordinates.
    """
    width, height = root_px
    more = 1.0 + 2.0 * around
    box = (-around * width, -around * height, more * width, more * height)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{pixels[0]}" height="{pixels[1]}" '
        f'viewBox="{" ".join(plain(v) for v in box)}" preserveAspectRatio="none">'
    )
    return head.encode("ascii") + svg + b"</svg>"
