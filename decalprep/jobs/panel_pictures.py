"""Each panel's picture from the finished sheets, drawn once for the report and the build sheets."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING

from decalprep.jobs.finish import build_sheets
from decalprep.jobs.report_pictures import PlacePicture, addressed, whole_decal
from decalprep.jobs.report_places import places_of
from decalprep.jobs.report_views import MOST_PANELS, panel_cut
from decalprep.proof.render import open_pdf

if TYPE_CHECKING:
    from PIL import Image

    from decalprep.jobs.make import Made
    from decalprep.jobs.report_places import Places
    from decalprep.proof.render import OpenPdf


class PanelViews:
    """Pictures of decals and tiles by name, and those of them that the report shows."""

    def __init__(self, made: Made, opened: OpenPdf) -> None:
        self._places: Places = places_of(made)
        self._opened = opened
        names = [name for one in made.prepared for name in one.printed if name in self._places]
        self._report = names[:MOST_PANELS]
        self._kept: dict[str, PlacePicture] = {}
        whole = {one.decal.name for one in made.prepared if one.printed == (one.decal.name,)}
        self.drawing: Mapping[str, Callable[[], Image.Image]] = {
            name: partial(self._drawn, name) for name in names if name in whole
        }
        """What draws the picture of each panel that lies in one piece on a sheet."""

    def _drawn(self, name: str) -> Image.Image:
        cut = panel_cut(self._places[name][0])
        picture = whole_decal(self._opened, cut)
        if name in self._report:
            self._kept[name] = addressed(picture, cut.box_mm)
        return picture

    def for_report(self) -> dict[str, PlacePicture]:
        """Pictures of the panels, or of their tiles, by name, as many as the report shows."""
        for name in self._report:
            if name not in self._kept:
                self._drawn(name)
        return {name: self._kept[name] for name in self._report}


def panels_drawn(made: Made, pdf: bytes) -> dict[str, PlacePicture]:
    """Pictures of the panels, or of their tiles, by name."""
    with open_pdf(pdf, where="sheets.pdf") as opened:
        return PanelViews(made, opened).for_report()


def panels_built(made: Made, pdf: bytes) -> tuple[bytes, dict[str, PlacePicture]]:
    """The build sheets as PDF, and the pictures in them for the report."""
    with open_pdf(pdf, where="sheets.pdf") as opened:
        views = PanelViews(made, opened)
        return build_sheets(made, views.drawing), views.for_report()
