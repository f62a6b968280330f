"""One file opened once for each of its layers that is looked at, and the reference artworks."""

from __future__ import annotations

from contextlib import ExitStack

from decalprep.proof.layers import layered
from decalprep.proof.render import OpenPdf, open_pdf


class Views:
    """The file opened once for each layer that is looked at."""

    def __init__(self, pdf: bytes, stack: ExitStack) -> None:
        self._pdf = pdf
        self._whole: OpenPdf | None = None
        self._layered = layered(pdf)
        self._stack = stack
        self._open: dict[tuple[str, ...], OpenPdf] = {}
        self._references: dict[bytes, OpenPdf] = {}

    def of(self, *layers: str) -> OpenPdf:
        """The file with only these layers on."""
        if layers not in self._open:
            shown = self._layered.only(layers)
            self._open[layers] = self._stack.enter_context(open_pdf(shown, where="exported PDF"))
        return self._open[layers]

    def open_all(self) -> None:
        """Open the file for each of its layers now, before others share in the work."""
        for name in self._layered.names:
            self.of(name)

    @property
    def whole(self) -> OpenPdf:
        """The file as it prints, its layers as they are."""
        if self._whole is None:
            self._whole = self._stack.enter_context(open_pdf(self._pdf, where="exported PDF"))
        return self._whole

    def rest(self) -> None:
        """Free what all open files hold of their pages."""
        for opened in (*self._open.values(), *self._references.values()):
            opened.rest()
        if self._whole is not None:
            self._whole.rest()

    def reference(self, page_pdf: bytes) -> OpenPdf:
        """A reference artwork."""
        if page_pdf not in self._references:
            opened = self._stack.enter_context(open_pdf(page_pdf, where="reference artwork"))
            self._references[page_pdf] = opened
        return self._references[page_pdf]
