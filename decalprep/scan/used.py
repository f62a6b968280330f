"""What is gone of a used sheet, from a scan of it: peeled, cut out, printed on, or not in view.

What has not the stock's own colour is gone, and so is all that it encloses, both with a margin.
Does not see liner or ink of nearly the stock's colour: the least difference that counts is told,
and the picture shows what was found.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from decalprep.errors import InputProblem
from decalprep.geometry import Box
from decalprep.marks import label_cells
from decalprep.model import Notice, Sheet
from decalprep.scan.images import Grey, ScanImage
from decalprep.scan.lying import (
    PX_PER_MM,
    FlatSheet,
    Mask,
    flat_sheet,
    image_from_sheet,
    lying_size,
    turn_by_bars,
    turns_of,
)
from decalprep.scan.sheet_edges import SIZE_WARN, find_edges

CELL_MM, STRIP_MM = 1.0, 2.0
"""Width and height of the cells that what is gone is told in."""
LEAST_LEVELS = 16.0
"""So many of 255 levels something must differ from the stock; more where the scan is noisy."""
SPECK_MM2 = 0.6
"""Smaller is dust, about 0.3 mm across before blur."""
LABEL_INSET_MM, LABEL_SPECK_MM2 = 1.0, 2.0
EDGE_MM = 1.0
"""The outermost of the sheet is not judged: its edge throws a shadow."""
RIM_MM = (1.5, 4.5)
_EVEN_SHARE = 0.6


@dataclass(frozen=True)
class UsedChoices:
    """How a used sheet lies and is read; mm.

    ``turn_deg`` is how far it lies turned on the scan, counter-clockwise (None: its check bars
    tell). ``whole_at_mm`` is a place on the sheet that is surely whole stock (None: the rim is).
    """

    turn_deg: int | None = None
    margin_mm: float = 2.0
    whole_at_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class UsedSheet:
    """What a scan shows of a used sheet: areas (sheet mm) and labels gone, and what to tell.

    ``upright`` is the sheet's own picture, ``PX_PER_MM`` fine; ``levels`` the least difference
    from the stock that counts.
    """

    sheet: Sheet
    turn_deg: int
    gone: tuple[Box, ...]
    gone_labels: tuple[int, ...]
    levels: float
    upright: Grey
    notices: tuple[Notice, ...] = ()


def find_used(image: ScanImage, sheet: Sheet, choices: UsedChoices | None = None) -> UsedSheet:
    """What is gone of a sheet of known size, from one scan of it.

    On die-cut stock a label is gone as a whole; between labels areas are gone for marks only.

    Raises:
        InputProblem: the sheet's edges cannot be found, it has another size, it is mirrored, its
            way round is not known, or the stock's colour is not clear.
    """
    choices = choices or UsedChoices()
    edges = find_edges(image)
    turns = turns_of(edges, sheet, image.name, choices.turn_deg)
    flats = {t: flat_sheet(image, image_from_sheet(edges, sheet, t), sheet) for t in turns}
    turn = turn_by_bars(flats, sheet, image.name) if choices.turn_deg is None else choices.turn_deg
    flat = flats[turn]
    other, levels = _not_stock(flat, sheet, choices, image.name)
    labels = _labels_gone(other | ~flat.seen, sheet)
    if sheet.grid is None:
        gone = _grown(_filled(other) | ~flat.seen, choices.margin_mm)
    else:
        gone = (other | ~flat.seen) & ~_on_labels(other.shape, sheet)
    notices = _size_notices(edges.error(*lying_size(sheet, turn)), sheet)
    return UsedSheet(sheet, turn, _boxes(gone, sheet), labels, levels, flat.grey, notices)


def _not_stock(
    flat: FlatSheet, sheet: Sheet, choices: UsedChoices, name: str
) -> tuple[Mask, float]:
    """(what has not the stock's colour, how many levels it must differ)."""
    views = cv2.blur(flat.views, (3, 3)).reshape(flat.views.shape).astype(np.int16)
    where = _rim(flat.seen.shape)
    if choices.whole_at_mm is not None:
        x, y = choices.whole_at_mm
        where = _patch(flat.seen.shape, x * PX_PER_MM, (sheet.height_mm - y) * PX_PER_MM)
    sample = views[where & flat.seen]
    if not len(sample):
        raise InputProblem("the place of whole stock is not in view", where=name)
    stock = np.median(sample, axis=0)
    off = np.abs(sample - stock).max(axis=1)
    even = off[off < LEAST_LEVELS]
    if len(even) < _EVEN_SHARE * len(off):
        raise InputProblem(
            "the stock's own colour is not clear: what was looked at is not even",
            where=name,
            do="give --whole-at X,Y: a place, from the sheet's lower left, that is whole stock",
        )
    levels = max(LEAST_LEVELS, 8 * float(np.median(even)))
    other = np.abs(views - stock).max(axis=-1) > levels
    return _without_specks(other), levels


def _rim(shape: tuple[int, ...]) -> Mask:
    outer, inner = (round(mm * PX_PER_MM) for mm in RIM_MM)
    rim = np.zeros(shape, bool)
    rim[outer:-outer, outer:-outer] = True
    rim[inner:-inner, inner:-inner] = False
    return rim


def _patch(shape: tuple[int, ...], column: float, row: float) -> Mask:
    """4 mm square about a place."""
    half = 2 * PX_PER_MM
    patch = np.zeros(shape, bool)
    rows, columns = (slice(max(0, round(v - half)), max(0, round(v + half))) for v in (row, column))
    patch[rows, columns] = True
    return patch


def _without_specks(mask: Mask) -> Mask:
    edge = round(EDGE_MM * PX_PER_MM)
    inside = np.zeros(mask.shape, np.uint8)
    inside[edge:-edge, edge:-edge] = mask[edge:-edge, edge:-edge]
    _, numbers, facts, _ = cv2.connectedComponentsWithStats(inside, connectivity=8)
    large = facts[:, cv2.CC_STAT_AREA] >= SPECK_MM2 * PX_PER_MM**2
    large[0] = False
    return np.asarray(large[numbers])


def _filled(mask: Mask) -> Mask:
    """The mask with all that it encloses."""
    filled = mask.astype(np.uint8)
    outlines, _ = cv2.findContours(filled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(filled, outlines, -1, [1], cv2.FILLED)
    return np.asarray(filled > 0)


def _grown(mask: Mask, by_mm: float) -> Mask:
    away = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(away <= by_mm * PX_PER_MM)


# ---------------------------------------------------------------- as areas and labels


def _cell(shape: tuple[int, ...], cell: Box, sheet: Sheet) -> tuple[slice, slice]:
    """The pixels of a box in sheet mm."""
    rows = (sheet.height_mm - cell.y1, sheet.height_mm - cell.y0)
    r0, r1 = (int(np.clip(round(v * PX_PER_MM), 0, shape[0])) for v in rows)
    c0, c1 = (int(np.clip(round(v * PX_PER_MM), 0, shape[1])) for v in (cell.x0, cell.x1))
    return slice(r0, r1), slice(c0, c1)


def _labels_gone(gone: Mask, sheet: Sheet) -> tuple[int, ...]:
    """Labels with more than a speck gone well inside their edges."""
    found = []
    for number, cell in enumerate(label_cells(sheet), 1):
        inside = gone[_cell(gone.shape, cell.grown(-LABEL_INSET_MM), sheet)]
        if inside.sum() > LABEL_SPECK_MM2 * PX_PER_MM**2:
            found.append(number)
    return tuple(found)


def _on_labels(shape: tuple[int, ...], sheet: Sheet) -> Mask:
    mask = np.zeros(shape, bool)
    for cell in label_cells(sheet):
        mask[_cell(shape, cell.grown(LABEL_INSET_MM), sheet)] = True
    return mask


def _boxes(mask: Mask, sheet: Sheet) -> tuple[Box, ...]:
    """Boxes over all that is set, in strips from the bottom; equal ones above each other joined."""
    down, right = round(STRIP_MM * PX_PER_MM), round(CELL_MM * PX_PER_MM)
    rows, columns = (-(-n // step) for n, step in zip(mask.shape, (down, right), strict=True))
    padded = np.zeros((rows * down, columns * right), bool)
    padded[: mask.shape[0], : mask.shape[1]] = mask[::-1]
    cells: Mask = np.any(padded.reshape(rows, down, columns, right), axis=(1, 3))
    found: list[Box] = []
    open_runs: dict[tuple[int, int], int] = {}
    for row in range(rows + 1):
        runs = _runs(cells[row]) if row < rows else []
        for run, since in list(open_runs.items()):
            if run not in runs:
                found.append(_box(run, since, row, sheet))
                del open_runs[run]
        for run in runs:
            open_runs.setdefault(run, row)
    return tuple(sorted(found, key=lambda b: (b.y0, b.x0)))


def _box(run: tuple[int, int], low: int, high: int, sheet: Sheet) -> Box:
    x1, y1 = min(run[1] * CELL_MM, sheet.width_mm), min(high * STRIP_MM, sheet.height_mm)
    return Box(run[0] * CELL_MM, low * STRIP_MM, x1, y1)


def _runs(row: Mask) -> list[tuple[int, int]]:
    """(first, one past the last) of each run of set cells."""
    steps = np.diff(np.concatenate([[0], row.astype(np.int8), [0]]))
    starts, ends = np.nonzero(steps == 1)[0], np.nonzero(steps == -1)[0]
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _size_notices(error: float, sheet: Sheet) -> tuple[Notice, ...]:
    if error <= SIZE_WARN:
        return ()
    words = (
        f"the sheet's sides in the scan are {error:.1%} off those of {sheet.width_mm:g} x "
        f"{sheet.height_mm:g} mm: see in the picture that what is marked lies where it should"
    )
    return (Notice("used-sheet-size", words, sheet.name, numbers=(("error", error),)),)
