"""What is chosen when sheets are composed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from decalprep.cleaning import contrast_ratio
from decalprep.geometry import Affine
from decalprep.model import Item
from decalprep.model.drawing import RGB

LEAST_LABEL_MM = 1.5


@dataclass(frozen=True)
class ComposeSettings:
    """How sheets are composed; lengths in mm.

    ``cut_colour`` is the colour of hole guides, screw crosses and cut outlines: by default a blue
    that shows both on bare paper and on dark ink. An outline of which every part stands out better
    in ``light_cut_colour`` takes that (``outline_colour``). ``label_height_mm`` is the capital
    height that is tried first; it shrinks to 1.5 mm where space is short. ``decal_marks`` are
    further items, such as match ticks, in the frame of the decal named. ``page_from_sheet``
    replaces the correction that follows from the printer record; ``note`` the line that tells it.
    ``undo_offset`` also undoes the printer's shift, which only stock with places of its own needs.
    """

    title: str = ""
    note: str = ""
    cut_line_mm: float = 0.1
    cut_colour: RGB = (0.0, 0.5, 0.8)
    light_cut_colour: RGB = (0.4, 0.82, 1.0)
    labels: bool = True
    label_height_mm: float = 1.8
    decal_marks: tuple[tuple[str, tuple[Item, ...]], ...] = ()
    page_from_sheet: Affine | None = None
    undo_offset: bool = False

    def outline_colour(self, ground: Sequence[RGB]) -> RGB:
        """The colour of a cut line over these colours: that whose least contrast is greater.

        Contrast as in WCAG 2.x. Where the ground is not known it is taken for bare paper.
        """

        def least(colour: RGB) -> float:
            return min(contrast_ratio(colour, other) for other in ground or ((1.0,) * 3,))

        return max(self.cut_colour, self.light_cut_colour, key=least)

    def marks_of(self, decal: str) -> tuple[Item, ...]:
        """The further items of one decal, in its frame."""
        return tuple(item for name, items in self.decal_marks if name == decal for item in items)
