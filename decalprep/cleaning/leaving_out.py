"""Leaving out what only guides the knife: whole layers, or whatever is drawn in a spot colour.

A layer's content goes wherever it stands; bytes of everything else stay. A path that is filled in
another colour keeps its fill when its stroke goes.
"""

import dataclasses
from collections import Counter
from collections.abc import Collection
from typing import Any

import pikepdf

from decalprep.cleaning.edits import (
    StreamEdits,
    Variants,
    apply_edits,
    name_token,
    rewrite_page,
    saved,
)
from decalprep.cleaning.report import Change, Cleaned
from decalprep.cleaning.strokes import FILL_OF, FILLING, STROKING
from decalprep.model import Artwork, Notice
from decalprep.pdfstream import (
    Frame,
    GraphicsState,
    Operation,
    Walker,
    open_document,
    page_content,
)

STROKE_OF = {b"B": b"S", b"b": b"s", b"B*": b"S", b"b*": b"s"}


def leave_out(
    artwork: Artwork, *, layers: Collection[str] = (), spots: Collection[str] = ()
) -> Cleaned:
    """The artwork without what stands on these layers or is drawn in these spot colours.

    Names are compared without regard to case. Does not look into tiling patterns and soft masks.
    A name of which nothing was drawn is told in a notice.

    Raises:
        InputProblem: the page cannot be read.
    """
    with open_document(artwork.page_pdf) as document:
        page = document.pages[0]
        remover = _Remover(document, layers, spots)
        frame = Frame(page_content(page), page.resources, GraphicsState())
        remover.walk(frame)
        changed = artwork
        if remover.edits:
            rewrite_page(document, page, frame, remover.edits)
            document.remove_unreferenced_resources()
            kept = tuple(
                n for n in artwork.layers if n.strip().casefold() not in remover.layer_names
            )
            changed = dataclasses.replace(artwork, page_pdf=saved(document), layers=kept)
    notices = tuple(
        Notice("nothing-left-out", f"nothing is drawn on layer or in ink {name!r}", artwork.name)
        for name in (*layers, *spots)
        if not remover.removed[name.strip().casefold()]
    )
    changes = tuple(
        Change("left out", remover.removed[name.strip().casefold()], name)
        for name in (*layers, *spots)
        if remover.removed[name.strip().casefold()]
    )
    return Cleaned(changed, changes, notices)


class _Remover(Walker):
    def __init__(
        self, document: pikepdf.Pdf, layers: Collection[str], spots: Collection[str]
    ) -> None:
        super().__init__(document)
        self.layer_names = {name.strip().casefold() for name in layers}
        self.spot_names = {name.strip().casefold() for name in spots}
        self.removed: Counter[str] = Counter()
        self.edits = StreamEdits()
        self.variants = Variants(document)

    def _hidden(self) -> str | None:
        """The unwanted layer that we are in."""
        names = (ref.name.strip().casefold() for ref in self.layer_stack if ref.name)
        return next((name for name in names if name in self.layer_names), None)

    def _ink(self, spot: str | None) -> str | None:
        name = (spot or "").strip().casefold()
        return name if name in self.spot_names else None

    def on_paint(self, frame: Frame, op: Operation) -> None:
        """Take away the fill, the stroke or both."""
        state, operator = frame.state, op[0]
        layer = self._hidden()
        fill = (layer or self._ink(state.fill.spot)) if operator in FILLING else None
        stroke = (layer or self._ink(state.stroke.spot)) if operator in STROKING else None
        if not (fill or stroke):
            return
        self.removed[fill or stroke or ""] += 1
        both = operator in FILLING and operator in STROKING
        if both and not fill:
            new = FILL_OF[operator]
        elif both and not stroke:
            new = STROKE_OF[operator]
        else:
            new = b"n"
        self.edits.replace(op[2], op[3], new)

    def on_show(self, frame: Frame, op: Operation) -> None:
        """Make text invisible; it still moves the pen for what follows."""
        mode = frame.state.render_mode
        fill = self._hidden() or (
            self._ink(frame.state.fill.spot) if mode in (0, 2, 4, 6) else None
        )
        stroke = self._ink(frame.state.stroke.spot) if mode in (1, 2, 5, 6) else None
        if not (fill or stroke):
            return
        self.removed[fill or stroke or ""] += 1
        left = 3
        if self._hidden() is None and mode in (2, 6):
            left = 1 if fill and not stroke else 0 if stroke and not fill else 3
        left += 4 if mode >= 4 else 0
        self.edits.replace(op[1], op[1], b"%d Tr" % left)
        self.edits.replace(op[3], op[3], b"%d Tr" % mode)

    def on_image(self, frame: Frame, image: Any, op: Operation) -> None:
        """Leave out an image on an unwanted layer, or a stencil in an unwanted ink."""
        ink = self._ink(frame.state.fill.spot) if bool(image.get("/ImageMask", False)) else None
        self._drop(self._hidden() or ink, op)

    def on_inline_image(self, frame: Frame, op: Operation) -> None:
        """Leave out an inline image on an unwanted layer."""
        del frame
        self._drop(self._hidden(), op)

    def on_shading(self, frame: Frame, op: Operation) -> None:
        """Leave out a shading on an unwanted layer."""
        del frame
        self._drop(self._hidden(), op)

    def _drop(self, name: str | None, op: Operation) -> None:
        if name:
            self.removed[name] += 1
            self.edits.replace(op[1], op[3], b"")

    def on_form(self, frame: Frame, form: Any, op: Operation) -> None:
        """Walk a form; if it must change here, draw a variant of it instead."""
        outer, self.edits = self.edits, StreamEdits()
        inner = self.enter_form(frame, form)
        made, self.edits = self.edits, outer
        if made:
            data = apply_edits(inner.data, made.edits)
            name, variant = self.variants.stream(form, data, made.resources(inner.resources))
            outer.replace(op[1], op[2], name_token(name))
            outer.add("/XObject", name, variant)
