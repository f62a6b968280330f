"""Drawing lists to PDF, cut files and pictures.

Takes true sheet mm (lower left origin, y up) and writes PDF points under one matrix a page.
Names are loaded when first asked for, so that importing this room stays light.
"""

from typing import TYPE_CHECKING

from decalprep.later import later

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

__getattr__ = later(__name__, _HOMES)
