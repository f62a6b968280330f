"""Drawing lists to PDF, cut files and pictures.

Takes true sheet mm (lower left origin, y up) and writes PDF points under one matrix a page.
Names are loaded when first asked for, so that importing this room stays light.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from decalprep.export.files import write_folder, write_whole
    from decalprep.export.pdf import PdfSettings, write_pdf
    from decalprep.export.pdf_document import pdf_date
    from decalprep.export.preview import preview_png

_HOMES = {
    "PdfSettings": "pdf",
    "pdf_date": "pdf_document",
    "preview_png": "preview",
    "write_folder": "files",
    "write_pdf": "pdf",
    "write_whole": "files",
}

__all__ = ["PdfSettings", "pdf_date", "preview_png", "write_folder", "write_pdf", "write_whole"]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'decalprep.export' has no attribute {name!r}")
    return getattr(import_module(f"decalprep.export.{_HOMES[name]}"), name)
