"""A used sheet in a scan: which way round it lies, and its own picture laid flat.

The sides must agree with the stock's size. Of the turns that remain the check bars of an earlier
run tell the right one, or the user; a sheet without them looks the same both ways.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.errors import InputProblem
from decalprep.geometry import Affine
from decalprep.marks import mark_places
from decalprep.marks.places import BarPlace
from decalprep.model import Sheet
from decalprep.scan.images import Grey, ScanImage
from decalprep.scan.sheet_edges import SIZE_REFUSE, SheetEdges

Mask = npt.NDArray[np.bool_]

PX_PER_MM = 4.0
DARKER = 32.0
"""So many levels a check bar is darker than the stock beside it."""
_BAR_REACH_MM = 5.0


@dataclass(frozen=True)
class FlatSheet:
    """A sheet's picture laid flat: grey, darkest and lightest levels, and what was in view."""

    views: Grey
    seen: Mask

    @property
    def grey(self) -> Grey:
        """Grey levels, row 0 at the sheet's top."""
        return np.asarray(self.views[..., 0])


def lying_size(sheet: Sheet, turn: int) -> tuple[float, float]:
    """Width and height in mm of the sheet as it lies."""
    sides = (sheet.width_mm, sheet.height_mm)
    return sides if turn % 180 == 0 else sides[::-1]


def turns_of(edges: SheetEdges, sheet: Sheet, name: str, stated: int | None) -> list[int]:
    """The turns at which the sides seen agree with the stock's size."""
    fitting = [t for t in (0, 90, 180, 270) if edges.error(*lying_size(sheet, t)) <= SIZE_REFUSE]
    if stated is not None and stated not in fitting and fitting:
        raise InputProblem(
            f"the sheet does not lie turned by {stated} degrees",
            where=name,
            do=f"by its sides it can be {' or '.join(map(str, fitting))}",
        )
    if not fitting:
        off = min(edges.error(*lying_size(sheet, t)) for t in (0, 90))
        by = f", if it was scanned at {edges.claimed_dpi[0]:.0f} dpi" if edges.claimed_dpi else ""
        raise InputProblem(
            f"the sheet's sides are {off:.0%} off those of {sheet.width_mm:g} x "
            f"{sheet.height_mm:g} mm{by} (at most {SIZE_REFUSE:.0%})",
            where=name,
            do="name the stock that it is; a sheet cut smaller needs a [[sheet]] of that size",
        )
    return fitting


def image_from_sheet(edges: SheetEdges, sheet: Sheet, turn: int) -> Affine:
    """Px of the scan from sheet mm."""
    wide, high = sheet.width_mm, sheet.height_mm
    shift = {0: (0.0, 0.0), 90: (high, 0.0), 180: (wide, high), 270: (0.0, wide)}[turn]
    lying_from_sheet = Affine.translation(*shift) @ Affine.rotation(turn)
    return edges.image_from_sheet(*lying_size(sheet, turn)) @ lying_from_sheet


def flat_sheet(image: ScanImage, image_from_sheet: Affine, sheet: Sheet) -> FlatSheet:
    """The sheet's picture at ``PX_PER_MM``, averaged where the scan is finer."""
    m = image_from_sheet
    px_per_mm = float(np.hypot(m.a, m.b))
    shrink = min(1.0, 1.5 * PX_PER_MM / px_per_mm)
    high, wide = image.grey.shape
    size = (max(1, round(wide * shrink)), max(1, round(high * shrink)))
    small = Affine(size[0] / wide, 0, 0, size[1] / high, 0, 0) @ m
    step = 1 / PX_PER_MM
    flat = (round(sheet.width_mm * PX_PER_MM), round(sheet.height_mm * PX_PER_MM))
    m = small @ Affine(step, 0, 0, -step, step / 2, sheet.height_mm - step / 2)
    matrix = np.array([[m.a, m.c, m.e - 0.5], [m.b, m.d, m.f - 0.5]])
    views = [image.grey, *(v for v in (image.darkest, image.lightest) if v is not None)]

    def warped(view: Grey) -> Grey:
        return np.asarray(
            cv2.warpAffine(view, matrix, flat, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
        )

    small_views = [cv2.resize(v, size, interpolation=cv2.INTER_AREA) for v in views]
    seen = warped(np.full(size[::-1], 255, np.uint8)) > 250
    return FlatSheet(np.stack([warped(np.asarray(v)) for v in small_views], axis=-1), seen)


def turn_by_bars(flats: Mapping[int, FlatSheet], sheet: Sheet, name: str) -> int:
    """The turn at which the check bars of an earlier run lie where they should."""
    bars = mark_places(replace(sheet, gone=(), gone_labels=())).bars
    found = [turn for turn, flat in flats.items() if _has_bars(flat.grey, bars, sheet)]
    if len(found) == 1:
        return found[0]
    if not found and any(_has_bars(f.grey[:, ::-1], bars, sheet) for f in flats.values()):
        raise InputProblem(
            "the scan is mirrored: its check bars lie on the other side",
            where=name,
            do="scan it again with the printed side on the glass, without a mirror setting",
        )
    raise InputProblem(
        "it cannot be told which way round the sheet lies (no check bars where they should be)",
        where=name,
        do="scan it upright, its title line at the bottom, and give --turn 0 (or 90, 180, 270: how "
        "far it lies turned counter-clockwise); it must not be mirrored",
    )


def _has_bars(grey: Grey, bars: Sequence[BarPlace], sheet: Sheet) -> bool:
    return bool(bars) and all(_has_bar(grey, bar, sheet) for bar in bars)


def _has_bar(grey: Grey, bar: BarPlace, sheet: Sheet) -> bool:
    """Whether a long thin line with light beside it lies within some mm of the bar's place."""
    along, across = bar.x_mm, sheet.height_mm - bar.y_mm
    if bar.upward:
        grey, along, across = grey.T, across - bar.length_mm, bar.x_mm
    a, b = (round(v * PX_PER_MM) for v in (along, along + bar.length_mm))
    low, high = (round((across + d) * PX_PER_MM) for d in (-_BAR_REACH_MM, _BAR_REACH_MM))
    band = grey[max(0, low) : high, a:b]
    if band.size == 0:
        return False
    dark = band < float(np.percentile(band, 90)) - DARKER
    near = cv2.dilate(dark.astype(np.uint8), np.ones((5, 1), np.uint8))
    line, plain = near.mean(axis=1) > 0.9, dark.mean(axis=1) < 0.2
    beside = round(1.5 * PX_PER_MM)
    rows = np.nonzero(line)[0]
    return any(r + beside < len(plain) and bool(plain[r + beside]) for r in rows)
