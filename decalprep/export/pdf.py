"""Drawing lists to one PDF: a page a sheet, exact boxes, a layer a kind of mark.

The correction is applied here and only here: each page's content starts with the one matrix
points <- page mm <- true sheet mm. Under it all coordinates are true sheet mm. Whatever belongs
to one decal is drawn in a frame that moves with the copy, so that equal copies share one form.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import pikepdf
from pikepdf import Array, Dictionary, Name

from decalprep.errors import OutputProblem
from decalprep.export.pdf_artwork import ArtworkForms, reals
from decalprep.export.pdf_content import (
    clip_operators,
    fill_operators,
    matrix,
    number,
    stroke_operators,
)
from decalprep.export.pdf_document import PdfSettings, check_settings, finish_document
from decalprep.export.pdf_font import MarkFont
from decalprep.geometry import Affine, Box
from decalprep.model import (
    Drawing,
    FillMark,
    Item,
    Layer,
    PlacedArtwork,
    Sheet,
    StrokeMark,
    TextMark,
)
from decalprep.units import pt_from_mm

SPOT_LAYERS = (Layer.CUT_OUTLINE, Layer.HOLE_GUIDE)
INLINE_CHARS = 160
"""A decal's mark shorter than this is written out: a form of its own would cost more."""
CAPITAL_SHARE = 1493 / 2048
"""Capital height of the marks' typeface in parts of its size."""


def write_pdf(drawings: Sequence[Drawing], settings: PdfSettings | None = None) -> bytes:
    """The bytes of one PDF file with a page for each drawing; the same drawings, the same bytes.

    Does not rasterise, recolour or flatten anything of an artwork, and claims no conformance
    to a PDF/X or PDF/A part.

    Raises:
        InputProblem: an artwork's page cannot be read.
        MissingHelper: the marks' typeface is not installed.
        OutputProblem: a place is not finite, or a sheet is beyond what a PDF page may be.
        UsageProblem: the date is no PDF date, or two attachments have one name.
    """
    settings = settings or PdfSettings()
    check_settings(settings)
    with pikepdf.new() as pdf:
        writer = _Writer(pdf, settings)
        for drawing in drawings:
            writer.add_page(drawing)
        writer.finish()
        out = io.BytesIO()
        pdf.save(
            out,
            force_version="2.0",
            deterministic_id=True,
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
            compress_streams=True,
        )
        writer.artworks.close()
    return out.getvalue()


@dataclass
class _Page:
    """What one page has used so far."""

    resources: pikepdf.Object
    parts: list[str]


class _Writer:
    """One document while it is written."""

    def __init__(self, pdf: pikepdf.Pdf, settings: PdfSettings) -> None:
        self.pdf = pdf
        self.settings = settings
        self.artworks = ArtworkForms(pdf)
        self.font = MarkFont()
        self.layers: dict[Layer, pikepdf.Object] = {}
        self.fonts = pdf.make_indirect(Dictionary())
        self.inks = pdf.make_indirect(Dictionary(ColorSpace=Dictionary(), ExtGState=Dictionary()))
        self._forms: dict[str, pikepdf.Object] = {}
        self._names: dict[tuple[int, int], str] = {}

    def add_page(self, drawing: Drawing) -> None:
        """Append the page of one drawing."""
        sheet = drawing.sheet
        _check_size(sheet)
        resources = Dictionary(
            XObject=Dictionary(),
            Properties=Dictionary(),
            ColorSpace=self.inks.ColorSpace,
            ExtGState=self.inks.ExtGState,
            Font=self.fonts,
        )
        page = _Page(resources, [])
        points_from_sheet = Affine.scaling(pt_from_mm(1.0)) @ drawing.page_from_sheet
        page.parts.append(f"q\n{matrix(points_from_sheet)} cm\n")
        frames = _decal_frames(drawing.items)
        for layer in Layer:
            items = [item for item in drawing.items if item.layer is layer]
            if items:
                self._add_layer(page, layer, items, frames)
        page.parts.append("Q\n")
        size = reals(0, 0, pt_from_mm(sheet.width_mm), pt_from_mm(sheet.height_mm))
        made = Dictionary(
            Type=Name.Page,
            MediaBox=size,
            TrimBox=size,
            Resources=resources,
            Contents=self.pdf.make_stream("".join(page.parts).encode("ascii")),
        )
        self.pdf.pages.append(pikepdf.Page(self.pdf.make_indirect(made)))

    def finish(self) -> None:
        """Fonts, layers and document-wide entries."""
        if self.font.used:
            self.fonts["/F1"] = self.font.embed(self.pdf)
        finish_document(self.pdf, self.settings, self.layers, self.artworks)

    def _add_layer(
        self,
        page: _Page,
        layer: Layer,
        items: Sequence[Item],
        frames: dict[tuple[str, int], Affine],
    ) -> None:
        if layer not in self.layers:
            self.layers[layer] = self.pdf.make_indirect(
                Dictionary(Type=Name.OCG, Name=pikepdf.String(layer.value))
            )
        key = f"L{list(Layer).index(layer)}"
        page.resources.Properties[f"/{key}"] = self.layers[layer]
        page.parts.append(f"/OC /{key} BDC\n")
        for (decal, copy), run in _runs(items):
            page.parts.append(self._run(page, run, frames.get((decal, copy))))
        page.parts.append("EMC\n")

    def _run(self, page: _Page, items: Sequence[Item], frame: Affine | None) -> str:
        """The operators of one decal's items in one layer, or of items that belong to no decal."""
        texts = "".join(self._text(item) for item in items if isinstance(item, TextMark))
        others = [item for item in items if not isinstance(item, TextMark)]
        if not others:
            return texts
        sheet_from_frame = frame or Affine()
        frame_from_sheet = sheet_from_frame.inverse()
        body = self._body(others, frame_from_sheet)
        if frame is None or (len(body.text) < INLINE_CHARS and not body.forms):
            for name, form in body.forms.items():
                page.resources.XObject[name] = form
            return f"q\n{matrix(sheet_from_frame)} cm\n{body.text}Q\n{texts}"
        name = self._shared(body, page)
        return f"q\n{matrix(sheet_from_frame)} cm\n{name} Do\nQ\n{texts}"

    def _body(self, items: Sequence[Item], frame_from_sheet: Affine) -> _Body:
        body = _Body([], {}, [])
        for item in items:
            if isinstance(item, PlacedArtwork):
                self._placed(item, frame_from_sheet, body)
            elif isinstance(item, StrokeMark):
                path = item.path.mapped(frame_from_sheet)
                body.boxes.append(path.box.grown(item.width_mm * 2))
                pen = stroke_operators(path, width_mm=item.width_mm, dash_mm=item.dash_mm)
                body.pieces.append(f"q\n{self._ink(item.layer, item.colour, True)}{pen}Q\n")
            elif isinstance(item, FillMark):
                paths = [path.mapped(frame_from_sheet) for path in item.paths]
                body.boxes.extend(path.box for path in paths)
                ink = self._ink(item.layer, item.colour, False)
                body.pieces.append(f"q\n{ink}{fill_operators(paths)}Q\n")
        return body

    def _placed(self, item: PlacedArtwork, frame_from_sheet: Affine, body: _Body) -> None:
        art = item.artwork
        form = self.artworks.form(art)
        name = self._name(form)
        body.forms[name] = form
        frame_from_page = frame_from_sheet @ item.sheet_from_artwork @ art.artwork_from_page
        clip = [path.mapped(frame_from_sheet) for path in item.clip]
        if clip:
            body.boxes.extend(path.box for path in clip)
        else:
            corners = Box(0, 0, art.page_width_pt, art.page_height_pt).corners
            body.boxes.append(Box.around(frame_from_page.apply_all(corners)))
        body.pieces.append(f"q\n{clip_operators(clip)}{matrix(frame_from_page)} cm\n{name} Do\nQ\n")

    def _shared(self, body: _Body, page: _Page) -> str:
        text = body.text
        if text not in self._forms:
            form = self.pdf.make_stream(text.encode("ascii"))
            form.Type, form.Subtype = Name.XObject, Name.Form
            area = body.boxes[0]
            for one in body.boxes[1:]:
                area = area.union(one)
            area = area.grown(1.0)
            form.BBox = reals(*(round(v, 3) for v in (area.x0, area.y0, area.x1, area.y1)))
            form.Resources = Dictionary(
                ColorSpace=self.inks.ColorSpace,
                ExtGState=self.inks.ExtGState,
                XObject=Dictionary(dict(body.forms)),
            )
            self._forms[text] = form
        name = self._name(self._forms[text])
        page.resources.XObject[name] = self._forms[text]
        return name

    def _name(self, form: pikepdf.Object) -> str:
        return self._names.setdefault(form.objgen, f"/X{len(self._names)}")

    def _ink(self, layer: Layer, colour: tuple[float, float, float], stroke: bool) -> str:
        rgb = " ".join(number(c, 4) for c in colour)
        if not (self.settings.cut_as_spot and layer in SPOT_LAYERS):
            return f"{rgb} {'RG' if stroke else 'rg'}\n"
        spaces = self.inks.ColorSpace
        names = [f"/{layer.name}_{k}" for k in range(len(spaces) + 1)]
        for name in names:
            known = spaces.get(name)
            if known is None:
                spaces[name] = self._spot(layer.value, colour)
                break
            if [float(c) for c in known[3].C1] == [round(c, 4) for c in colour]:
                break
        # No overprint: over dark ink it would hide the line that a hand has to follow.
        pair = ("CS", "SCN") if stroke else ("cs", "scn")
        return f"{name} {pair[0]} 1 {pair[1]}\n"

    def _spot(self, name: str, colour: tuple[float, float, float]) -> pikepdf.Object:
        """A separation for the cutter, shown in ``colour`` where there is no such ink."""
        tint = Dictionary(
            FunctionType=2,
            Domain=Array([0, 1]),
            C0=Array([1, 1, 1]),
            C1=reals(*(round(c, 4) for c in colour)),
            N=1,
        )
        return Array([Name.Separation, Name(f"/{name}"), Name.DeviceRGB, tint])

    def _text(self, mark: TextMark) -> str:
        size = mark.height_mm / CAPITAL_SHARE
        back = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor]
        turn = Affine.rotation(mark.turn_deg)
        start = Affine.translation(-back * self.font.width(mark.text) * size, 0.0)
        at = Affine.translation(mark.x_mm, mark.y_mm) @ turn @ start
        ink = self._ink(mark.layer, mark.colour, False)
        shown = self.font.show(mark.text)
        return f"q\n{ink}BT\n/F1 {number(size)} Tf\n{matrix(at)} Tm\n{shown} Tj\nET\nQ\n"


def _check_size(sheet: Sheet) -> None:
    """Page sides of 3 to 14400 points (ISO 32000-1, annex C), for UserUnit is never written."""
    sides = (pt_from_mm(sheet.width_mm), pt_from_mm(sheet.height_mm))
    if not all(3.0 <= side <= 14400.0 for side in sides):
        raise OutputProblem(
            f"a PDF page cannot be {sheet.width_mm:g} x {sheet.height_mm:g} mm",
            where=f"sheet {sheet.name!r}",
            do="use sides of 2 to 5080 mm",
        )


@dataclass
class _Body:
    """Operators in one frame, the forms they name, and the boxes they reach over."""

    pieces: list[str]
    forms: dict[str, pikepdf.Object]
    boxes: list[Box]

    @property
    def text(self) -> str:
        """All operators in order."""
        return "".join(self.pieces)


def _runs(items: Sequence[Item]) -> list[tuple[tuple[str, int], list[Item]]]:
    """The items in order, cut where the decal or copy changes."""
    runs: list[tuple[tuple[str, int], list[Item]]] = []
    for item in items:
        key = (item.decal, item.copy)
        if not runs or runs[-1][0] != key:
            runs.append((key, []))
        runs[-1][1].append(item)
    return runs


def _decal_frames(items: Sequence[Item]) -> dict[tuple[str, int], Affine]:
    """A rigid frame for each decal copy that moves with its artwork: its turn and its origin.

    The turn is the rotation nearest to the artwork's map (polar decomposition in the plane), so
    equal copies have equal content in their frames whatever their part fit.
    """
    frames: dict[tuple[str, int], Affine] = {}
    for item in items:
        if isinstance(item, PlacedArtwork) and item.decal:
            m = item.sheet_from_artwork
            turn = math.degrees(math.atan2(m.b - m.c, m.a + m.d))
            nearest = round(turn * 1e9) / 1e9
            frame = Affine.translation(m.e, m.f) @ Affine.rotation(nearest)
            frames.setdefault((item.decal, item.copy), frame)
    return frames


__all__ = ["PdfSettings", "write_pdf"]
