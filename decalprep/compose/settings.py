"""What is chosen when sheets are composed."""

from __future__ import annotations

from dataclasses import dataclass

from decalprep.geometry import Affine
from decalprep.model import Item
from decalprep.model.drawing import RGB

LEAST_LABEL_MM = 1.5


@dataclass(frozen=True)
class ComposeSettings:
    """How sheets are composed; lengths in mm.

    ``cut_colour`` is the colour of cut outlines, hole guides and screw crosses: by default a blue
    that shows both on bare paper and on dark ink. ``label_height_mm`` is the capital height that
    is tried first; it shrinks to 1.5 mm where space is short. ``decal_marks`` are further items,
    such as match ticks of tiles, in the frame of the decal named. ``page_from_sheet`` replaces the
    correction that follows from the printer record; ``note`` replaces the line that tells of it.
    ``undo_offset`` also undoes the printer's shift, which only stock with places of its own needs.
    """

    title: str = ""
    note: str = ""
    cut_line_mm: float = 0.1
    cut_colour: RGB = (0.0, 0.5, 0.8)
    labels: bool = True
    label_height_mm: float = 1.8
    decal_marks: tuple[tuple[str, tuple[Item, ...]], ...] = ()
    page_from_sheet: Affine | None = None
    undo_offset: bool = False

    def marks_of(self, decal: str) -> tuple[Item, ...]:
        """The further items of one decal, in its frame."""
        return tuple(item for name, items in self.decal_marks if name == decal for item in items)
