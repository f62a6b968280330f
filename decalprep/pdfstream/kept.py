"""What has been found out about a page, kept for a while for the next who asks.

Only where somebody asks for it with ``pages_kept_open``, and no longer: a page is known by all its
bytes, so nothing kept can be out of date.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from decalprep.pdfstream.contents import PageContents


@dataclass
class Kept:
    """Open pages, and what pages paint, by their files, oldest first."""

    pages: dict[bytes, tuple[Any, Any]] = field(default_factory=dict)
    read: "dict[bytes, PageContents]" = field(default_factory=dict)


MOST_KEPT = 2

_kept: ContextVar[Kept | None] = ContextVar("_kept", default=None)


def kept() -> Kept | None:
    """What is kept at present; None where nothing is to be."""
    return _kept.get()


@contextmanager
def pages_kept_open() -> Iterator[None]:
    """While it lasts, the last pages looked at stay open, and what they paint is known."""
    if _kept.get() is not None:
        yield
        return
    ours = Kept()
    outer = _kept.set(ours)
    try:
        yield
    finally:
        _kept.reset(outer)
        for document, page in ours.pages.values():
            page.close()
            document.close()
