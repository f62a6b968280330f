"""Artworks as form XObjects: one for each distinct artwork, shown by every copy of it.

The form is the artwork's page as it is: its content, its resources, its transparency group. Its
own optional-content layers come along with the state in which a printer would show them.
"""

from __future__ import annotations

import hashlib
import io
from decimal import Decimal
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream

from decalprep.errors import InputProblem
from decalprep.export.pdf_content import number
from decalprep.model import Artwork


def reals(*values: float) -> Array:
    """A PDF array of numbers with at most 9 decimals."""
    return Array([Decimal(number(value, 9)) for value in values])


class ArtworkForms:
    """The artwork forms of one document, and the layers that came with them."""

    def __init__(self, pdf: pikepdf.Pdf) -> None:
        self._pdf = pdf
        self._forms: dict[bytes, pikepdf.Object] = {}
        self._sources: list[pikepdf.Pdf] = []
        self.groups: dict[str, list[pikepdf.Object]] = {}
        self.hidden: list[pikepdf.Object] = []
        self.automatic: list[pikepdf.Object] = []

    def form(self, artwork: Artwork) -> pikepdf.Object:
        """The form that shows this artwork's page in the page's own points.

        Raises:
            InputProblem: the artwork's page cannot be read.
        """
        key = hashlib.sha256(artwork.page_pdf).digest()
        if key not in self._forms:
            self._forms[key] = self._make(artwork)
        return self._forms[key]

    def close(self) -> None:
        """Let go of the artworks' files; only after the document is saved."""
        for source in self._sources:
            source.close()

    def _make(self, artwork: Artwork) -> pikepdf.Object:
        try:
            source = pikepdf.open(io.BytesIO(artwork.page_pdf))
            self._sources.append(source)
            source.remove_unreferenced_resources()
            page = source.pages[0]
            page.contents_coalesce()
            contents = page.obj.get("/Contents")
            data = contents.read_bytes() if isinstance(contents, Stream) else b""
            resources = _inherited(page.obj, "/Resources") or Dictionary()
            copied = self._pdf.copy_foreign(source.make_indirect(resources))
            form = self._pdf.make_stream(data)
            form.Type, form.Subtype = Name.XObject, Name.Form
            form.BBox = reals(0, 0, artwork.page_width_pt, artwork.page_height_pt)
            form.Resources = copied
            if (group := self._group(source, page.obj)) is not None:
                form.Group = group
            self._take_layers(source, artwork.name)
        except (pikepdf.PdfError, IndexError) as e:
            raise InputProblem(
                f"the artwork's page cannot be read ({e})", where=artwork.source or artwork.name
            ) from e
        return form

    def _group(self, source: pikepdf.Pdf, page: pikepdf.Object) -> pikepdf.Object | None:
        """The page's group; a page that blends without one is a group of its own all the same."""
        group = page.get("/Group")
        if group is not None:
            return self._pdf.copy_foreign(source.make_indirect(group))
        if any(_blends(o) for o in source.objects):
            return Dictionary(Type=Name.Group, S=Name.Transparency, I=True)
        return None

    def _take_layers(self, source: pikepdf.Pdf, name: str) -> None:
        properties = source.Root.get("/OCProperties")
        if properties is None:
            return
        groups = list(_items(properties.get("/OCGs")))
        copies = {g.objgen: self._pdf.copy_foreign(g) for g in groups if g.is_indirect}
        config: Any = properties.get("/D", Dictionary())
        shown = {g.objgen for g in _items(config.get("/ON"))}
        off = {g.objgen for g in _items(config.get("/OFF"))}
        if config.get("/BaseState") == Name.OFF:
            off |= set(copies) - shown
        self.groups.setdefault(name, []).extend(copies.values())
        self.hidden += [copies[key] for key in copies if key in off]
        for rule in _items(config.get("/AS")):
            self.automatic.append(self._pdf.copy_foreign(source.make_indirect(rule)))


def _items(array: pikepdf.Object | None) -> list[Any]:
    return list(array) if isinstance(array, Array) else []


def _inherited(page: pikepdf.Object, key: str) -> pikepdf.Object | None:
    node: pikepdf.Object | None = page
    for _ in range(64):
        if node is None:
            return None
        if (value := node.get(key)) is not None:
            return value
        node = node.get("/Parent")
    return None


def _blends(thing: pikepdf.Object) -> bool:
    """Whether an object holds a graphics state with a blend mode other than Normal."""
    if not isinstance(thing, Dictionary | Stream):
        return False
    states = [thing, *(v for v in _values(thing.get("/ExtGState")) if isinstance(v, Dictionary))]
    states += _values(_get(thing, "/Resources", "/ExtGState"))
    plain = (None, Name.Normal, Name.Compatible)
    return any(isinstance(s, Dictionary) and s.get("/BM") not in plain for s in states)


def _get(thing: pikepdf.Object, *keys: str) -> pikepdf.Object | None:
    for key in keys:
        found = thing.get(key)
        if not isinstance(found, Dictionary):
            return None
        thing = found
    return thing


def _values(thing: pikepdf.Object | None) -> list[Any]:
    return [value for _, value in thing.items()] if isinstance(thing, Dictionary) else []
