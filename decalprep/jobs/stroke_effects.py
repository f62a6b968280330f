"""What stripping hairlines did to the look of each panel, for the report and the result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from decalprep.geometry import Affine, Box
from decalprep.jobs.prepare import Prepared

if TYPE_CHECKING:
    from decalprep.cleaning import StemWidth, StrokeEffect
    from decalprep.cleaning.stems import CloseUp

MOST_PANELS = 12


@dataclass(frozen=True)
class PanelEffect:
    """One panel: where its hairlines did most harm, before and after, and stems of its words.

    Places of ``stems`` and ``box_mm`` are in decal mm; ``close`` is None where nothing that shows
    has changed, or where the panel is one of those ``not_looked_at`` to save time.
    """

    panel: str
    close: CloseUp | None = None
    box_mm: Box | None = None
    stems: tuple[StemWidth, ...] = ()
    not_looked_at: bool = False


def stroke_effects(panels: Sequence[Prepared]) -> tuple[PanelEffect, ...]:
    """The effect on every panel that lost hairlines; those of equal artworks are measured once.

    Looks at the ``MOST_PANELS`` artworks that lost most strokes, and says of the others that it
    did not.

    Raises:
        InputProblem: a page cannot be drawn.
    """
    from decalprep.cleaning import stroke_effect

    losers = [one for one in panels if one.stripped is not None]
    losers.sort(key=lambda one: -sum(row.stripped for row in one.strokes))
    known: dict[tuple[bytes, float, float], StrokeEffect] = {}
    found: dict[str, PanelEffect] = {}
    for one in losers:
        assert one.stripped is not None
        name, taken = one.decal.name, one.taken
        key = (taken.page_pdf, taken.width_mm, taken.height_mm)
        if key not in known and len(known) == MOST_PANELS:
            found[name] = PanelEffect(name, not_looked_at=True)
            continue
        if key not in known:
            known[key] = stroke_effect(taken, one.stripped, contents=one.contents)
        found[name] = _in_decal(name, known[key], one.decal.decal_from_artwork)
    return tuple(found[one.decal.name] for one in panels if one.decal.name in found)


def _in_decal(name: str, effect: StrokeEffect, decal_from_artwork: Affine) -> PanelEffect:
    def placed(box: Box) -> Box:
        return Box.around(decal_from_artwork.apply_all(box.corners))

    stems = tuple(replace(stem, box_mm=placed(stem.box_mm)) for stem in effect.stems)
    close = effect.close
    return PanelEffect(name, close, placed(close.box_mm) if close else None, stems)
