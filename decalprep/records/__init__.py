"""Printer, part, scanner and stock records on disk: one readable JSON file each, in a given folder.

Lengths in mm, errors in parts of one, as in the model; every number reads back exactly. A file is
written whole under another name and moved into place, and one writer at a time holds the folder's
lock from reading to writing, so neither a crash nor a second run loses anything.
"""

from decalprep.records.folder import HOME_VARIABLE, records_folder
from decalprep.records.parts import list_parts, load_part, part_file, save_part
from decalprep.records.printers import (
    export_printer,
    find_printer,
    import_printer,
    list_printers,
    load_printer,
    printer_file,
    save_printer,
    update_printer,
)
from decalprep.records.scanners import find_scanners, list_scanners, save_scanner
from decalprep.records.stocks import (
    forget_sheet,
    list_sheets,
    load_sheet,
    read_sheet,
    save_sheet,
    take_from_sheet,
)

__all__ = [
    "HOME_VARIABLE",
    "export_printer",
    "find_printer",
    "find_scanners",
    "forget_sheet",
    "import_printer",
    "list_parts",
    "list_printers",
    "list_scanners",
    "list_sheets",
    "load_part",
    "part_file",
    "load_printer",
    "load_sheet",
    "read_sheet",
    "printer_file",
    "records_folder",
    "save_part",
    "save_printer",
    "save_scanner",
    "save_sheet",
    "take_from_sheet",
    "update_printer",
]
