"""The finished file read back and measured, by code of its own.

Shares nothing with what wrote the file: structure is read with pypdf, positions are measured in
pictures drawn by pdfium, and what is expected comes as plain numbers (see ``expected``).
Page frame: mm from the page's lower left corner, y up, printer correction applied; sizes are
mapped back to true mm. A decal may be 0.02 mm off in the file: a tenth of what a good printer
adds. The method itself measures to about 0.002 mm for lines and drawn artwork.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from decalprep.later import later
from decalprep.proof.expected import (
    PREFERENCES,
    ExpectedArtwork,
    ExpectedBar,
    ExpectedDecal,
    ExpectedHole,
    ExpectedJob,
    ExpectedLine,
    ExpectedShape,
    ExpectedSheet,
)

if TYPE_CHECKING:
    from decalprep.proof.pictures import place_picture, sheet_picture
    from decalprep.proof.proving import prove
    from decalprep.proof.result import TOLERANCE_MM, MarkRow, Part, Proof, ProofRow
    from decalprep.proof.structure import Finding, check_structure
    from decalprep.proof.table import proof_data, proof_table

__all__ = [
    "PREFERENCES",
    "TOLERANCE_MM",
    "ExpectedArtwork",
    "ExpectedBar",
    "ExpectedDecal",
    "ExpectedHole",
    "ExpectedJob",
    "ExpectedLine",
    "ExpectedShape",
    "ExpectedSheet",
    "Finding",
    "MarkRow",
    "Part",
    "Proof",
    "ProofRow",
    "check_structure",
    "place_picture",
    "proof_data",
    "proof_table",
    "prove",
    "sheet_picture",
]

_LATER = {
    "prove": "proving",
    "TOLERANCE_MM": "result",
    "MarkRow": "result",
    "Part": "result",
    "Proof": "result",
    "ProofRow": "result",
    "Finding": "structure",
    "check_structure": "structure",
    "proof_data": "table",
    "proof_table": "table",
    "place_picture": "pictures",
    "sheet_picture": "pictures",
}
"""Names whose modules load OpenCV, pypdf or pdfium: loaded when first asked for."""

__getattr__ = later(__name__, _LATER)
