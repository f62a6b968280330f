"""The things everybody talks about: frozen values in true millimetres, origin lower left, y up.

Three affines stay apart until a sheet is written (``compose`` and ``export``):

    placement           sheet_from_decal   where a decal lies on the sheet, true mm
    part fit            fitted_from_decal  this part's own size error
    printer correction  page_from_sheet    undoes this printer's error

A Notice is a warning as data: code, text, place, numbers.
"""

from decalprep.model.artwork import Artwork, EvidenceRank, SizeEvidence
from decalprep.model.decal import Decal, Hole, HoleKind, PartFace, Turns
from decalprep.model.drawing import (
    Drawing,
    FillMark,
    Item,
    Layer,
    PlacedArtwork,
    StrokeMark,
    TextMark,
)
from decalprep.model.notice import Notice, Severity
from decalprep.model.records import PartRecord, PrinterRecord, ScannerRecord
from decalprep.model.sheet import DieCutGrid, Margins, Placement, Sheet, StockKind
from decalprep.model.targets import Baseline, Marker, TargetLayout

__all__ = [
    "Artwork",
    "Baseline",
    "Decal",
    "DieCutGrid",
    "Drawing",
    "EvidenceRank",
    "FillMark",
    "Hole",
    "HoleKind",
    "Item",
    "Layer",
    "Margins",
    "Marker",
    "Notice",
    "PartFace",
    "PartRecord",
    "PlacedArtwork",
    "Placement",
    "PrinterRecord",
    "ScannerRecord",
    "Severity",
    "Sheet",
    "SizeEvidence",
    "StockKind",
    "StrokeMark",
    "TargetLayout",
    "TextMark",
    "Turns",
]
