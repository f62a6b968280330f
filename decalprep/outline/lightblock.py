"""Light-block underlay: an opaque field under a backlit decal, with the legend left open.

Choked, the openings are smaller than the legend by the trap: a top sheet up to that much out of
place still covers every opening, so no light passes beside the legend. The price is a dark rim of
the trap's width inside each letter; strokes thinner than twice the trap go dark and are told.
Spread, the openings are larger by the trap: every letter stays wholly lit, but round it the top
print alone must hold the light back, which suits a dense top print and thin lettering. Optical
density D = -log10 T. Stacked layers add only approximately.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapely import affinity
from shapely.geometry.base import BaseGeometry

from decalprep.errors import UsageProblem
from decalprep.geometry import Affine, Box, Line, Path
from decalprep.model import FillMark, Item, Layer, Notice, Severity, StockKind, StrokeMark
from decalprep.outline.legend import LegendShapes
from decalprep.outline.shaping import moved, paths_of, polygons_of

TICK_MM = 4.0
TICK_GAP_MM = 2.0
SLIVER_MM = 0.1
"""Thinner openings and bars of the field are left out; two dots of a 600 dpi printer."""


@dataclass(frozen=True)
class UnderlaySettings:
    """``trap_mm`` chokes the openings (or spreads them); ``border_mm`` is an extra rim.

    ``layer_transmittance`` is the share of light that one printed layer passes, measured or from
    the maker's sheet (0.1 for one inkjet black on paper is our assumption); ``target_density`` is
    the optical density wanted of the whole field.
    """

    trap_mm: float = 0.4
    spread: bool = False
    border_mm: float = 0.0
    layer_transmittance: float = 0.1
    target_density: float = 3.0


@dataclass(frozen=True)
class Underlay:
    """The opaque field as even-odd paths (decal mm), its ticks, and how many layers to print."""

    name: str
    paths: tuple[Path, ...]
    field: BaseGeometry
    openings: BaseGeometry
    ticks: tuple[Path, ...]
    layers: int
    notices: tuple[Notice, ...] = ()


def underlay(
    outline: Path, legend: LegendShapes, *, name: str, settings: UnderlaySettings | None = None
) -> Underlay:
    """The opaque field in decal mm with the legend left open, choked or spread by the trap.

    Holes are not left open: they are cut through both layers after sticking.

    Raises:
        UsageProblem: a trap, border or transmittance that cannot be.
    """
    chosen = settings or UnderlaySettings()
    if chosen.trap_mm < 0 or chosen.border_mm < 0:
        raise UsageProblem("trap and border of an underlay cannot be negative")
    by = chosen.trap_mm if chosen.spread else -chosen.trap_mm
    openings = _opened(legend.area.buffer(by, quad_segs=16))
    edge = moved(outline.polygon(0.001), chosen.border_mm)
    field = _opened(edge.difference(openings))
    layers, told = layers_for(chosen.target_density, chosen.layer_transmittance, name=name)
    notices = [told]
    if chosen.spread:
        text = (
            f"within {chosen.trap_mm:g} mm of the legend only the top print holds the light back, "
            "because the underlay's openings are spread"
        )
        notices.append(Notice("underlay-spread", text, name, Severity.NOTE))
    else:
        notices += _closed_strokes(legend, openings, chosen.trap_mm, name)
    if legend.error_mm > 0:
        text = f"the openings were {legend.source}"
        notices.append(Notice("underlay-traced", text, name, Severity.NOTE))
    return Underlay(
        name, paths_of(field), field, openings, pair_ticks(outline), layers, tuple(notices)
    )


def _opened(shape: BaseGeometry) -> BaseGeometry:
    """The shape without parts thinner than ``SLIVER_MM``, its corners rounded by half of that."""
    half = SLIVER_MM / 2
    return shape.buffer(-half, quad_segs=16).buffer(half, quad_segs=16).intersection(shape)


def _closed_strokes(
    legend: LegendShapes, openings: BaseGeometry, trap_mm: float, name: str
) -> list[Notice]:
    """Notices for legend that the trap closes: whole shapes, and how much of the lit area goes."""
    lost = [p for p in polygons_of(legend.area) if not openings.intersects(p)]
    notices = []
    if lost:
        text = (
            f"{len(lost)} legend shapes have no stroke wider than {2 * trap_mm:g} mm and go dark "
            f"under a trap of {trap_mm:g} mm; use bolder lettering, a smaller trap or "
            "spread openings"
        )
        place = Box(*lost[0].bounds)
        notices.append(Notice("legend-goes-dark", text, name, Severity.DANGER, place))
    notices += _closed_parts(legend, openings, trap_mm, name)
    share = float(openings.area / legend.area.area) if legend.area.area else 0.0
    text = f"{100 * share:.0f} % of the legend's area stays open under a trap of {trap_mm:g} mm"
    numbers = (("open_share", share),)
    severity = Severity.WARNING if share < 0.25 else Severity.NOTE
    notices.append(Notice("legend-open-share", text, name, severity, numbers=numbers))
    return notices


def _closed_parts(
    legend: LegendShapes, openings: BaseGeometry, trap_mm: float, name: str
) -> list[Notice]:
    """A warning for shapes of which strokes go dark while others stay lit: a T becomes an I.

    What the trap rounds off at corners (of 25 degrees or more) is less than five trap squares.
    """
    regrown = openings.buffer(trap_mm + SLIVER_MM / 2, quad_segs=16)
    closed: list[BaseGeometry] = []
    for shape in polygons_of(legend.area):
        if openings.intersects(shape):
            pieces = polygons_of(shape.difference(regrown))
            closed += sorted((p for p in pieces if p.area > 5 * trap_mm**2), key=_area)[-1:]
    if not closed:
        return []
    text = (
        f"{len(closed)} legend shapes lose strokes thinner than {2 * trap_mm:g} mm under a trap of "
        f"{trap_mm:g} mm, so letters may not be read when lit; use bolder lettering, a smaller "
        "trap or spread openings"
    )
    numbers = (("shapes", float(len(closed))),)
    place = Box(*max(closed, key=_area).bounds)
    return [Notice("legend-part-dark", text, name, Severity.WARNING, place, numbers)]


def _area(shape: BaseGeometry) -> float:
    return float(shape.area)


def light_leak_mm2(
    under: Underlay, legend: LegendShapes, *, shift_mm: tuple[float, float]
) -> float:
    """Area in mm2 where light passes beside the legend when the underlay lies ``shift_mm`` off.

    Counts the openings that no longer lie under the legend. Does not model light scattered
    sideways in the stock.
    """
    moved_openings = affinity.translate(under.openings, *shift_mm)
    return float(moved_openings.difference(legend.area).area)


def legend_shaded_mm2(
    under: Underlay, legend: LegendShapes, *, shift_mm: tuple[float, float]
) -> float:
    """Area in mm2 of the legend that the underlay darkens when it lies ``shift_mm`` off."""
    moved_openings = affinity.translate(under.openings, *shift_mm)
    return float(legend.area.difference(moved_openings).area)


def layers_for(
    target_density: float, layer_transmittance: float, *, name: str = ""
) -> tuple[int, Notice]:
    """(printed layers for an optical density, what that rests on); D = -log10 T, adding up.

    Raises:
        UsageProblem: a transmittance not between 0 and 1, or a density below 0.

    >>> layers_for(3.0, 0.1)[0], layers_for(3.0, 0.2)[0]
    (3, 5)
    """
    if not 0 < layer_transmittance < 1:
        raise UsageProblem(
            f"a transmittance of {layer_transmittance:g} per layer",
            do="give the share of light that one layer passes, between 0 and 1",
        )
    if target_density < 0:
        raise UsageProblem("an optical density cannot be negative")
    density = -math.log10(layer_transmittance)
    layers = max(1, math.ceil(target_density / density - 1e-9))
    text = (
        f"{layers} printed layers of transmittance {layer_transmittance:g} (density "
        f"{density:.2f} each) for a density of {target_density:g}; densities of stacked layers add "
        "only approximately, so hold a test print against the light"
    )
    numbers = (("layers", float(layers)), ("layer_density", density))
    return layers, Notice("underlay-layers", text, name, Severity.NOTE, numbers=numbers)


def stock_advice(
    stock: StockKind,
    *,
    backlit: bool,
    block_out: bool = False,
    transmittance: float | None = None,
    name: str = "",
) -> Notice:
    """What the stock does to light, by rule, with its transmittance where it is known.

    Transmittance is the share of light passed; it is not the opacity on a ream's label
    (ISO 2471), which compares reflectances: paper of 92 % opacity passes about 15 %.
    """
    known = f" (stated transmittance {transmittance:g})" if transmittance is not None else ""
    blocks = block_out or (transmittance is not None and transmittance <= 0.001)
    if backlit and blocks:
        text = f"block-out stock passes no light{known}: it is for unlit panels, not for this one"
        return Notice("stock-blocks-light", text, name, Severity.DANGER)
    if backlit and stock is StockKind.PLAIN:
        text = f"plain paper glued down passes light{known}: good for the lit top layer"
        return Notice("stock-passes-light", text, name, Severity.NOTE)
    if backlit:
        text = (
            f"hold {stock.value} against the light before printing{known}: block-out label stock "
            "passes none and is for unlit panels"
        )
        return Notice("stock-test-light", text, name, Severity.WARNING)
    if not blocks and stock is StockKind.PLAIN:
        text = (
            f"plain paper passes light{known}: on an unlit panel the part's own colour shows "
            "through light areas; block-out label stock hides it"
        )
        return Notice("stock-shows-through", text, name, Severity.NOTE)
    return Notice("stock-unlit", f"{stock.value}{known} suits an unlit panel", name, Severity.NOTE)


def pair_ticks(outline: Path) -> tuple[Path, ...]:
    """Eight short ticks (decal mm) outside the corners of the outline's box.

    Drawn with the top layer and with the underlay alike, they meet when both lie right.
    """
    b = outline.box
    ticks = []
    for x, sx in ((b.x0, -1), (b.x1, 1)):
        for y, sy in ((b.y0, -1), (b.y1, 1)):
            near, far = TICK_GAP_MM, TICK_GAP_MM + TICK_MM
            ticks.append(Path((Line((x + sx * near, y), (x + sx * far, y)),), closed=False))
            ticks.append(Path((Line((x, y + sy * near), (x, y + sy * far)),), closed=False))
    return tuple(ticks)


def underlay_items(
    under: Underlay, *, sheet_from_decal: Affine, copy: int = 1, guides: Sequence[Path] = ()
) -> tuple[Item, ...]:
    """Drawing items in sheet mm: the field in black, its ticks, and ``guides`` such as holes."""
    m = sheet_from_decal
    field = FillMark(
        Layer.UNDERLAY, tuple(p.mapped(m) for p in under.paths), decal=under.name, copy=copy
    )
    ticks = [
        StrokeMark(Layer.REGISTRATION, t.mapped(m), 0.1, decal=under.name, copy=copy)
        for t in under.ticks
    ]
    lines = [
        StrokeMark(Layer.HOLE_GUIDE, g.mapped(m), 0.1, (1.0, 1.0, 1.0), decal=under.name, copy=copy)
        for g in guides
    ]
    return (field, *ticks, *lines)
