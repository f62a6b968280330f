"""Files to Artwork and PartFace.

Convention: an artwork's page starts at the lower left, y up, in its own points; its true size in
mm rests on ranked evidence (``evidence``). What a file is, is told by its content; the suffix only
decides where content alone cannot. Nothing outside the artwork's folder is read.
Each kind of file has its module, imported when such a file is read.
"""

from decalprep.intake.evidence import SettledSize, settle_size
from decalprep.intake.options import FaceOptions, IntakeOptions, KnownDistance, Limits

__all__ = [
    "FaceOptions",
    "IntakeOptions",
    "KnownDistance",
    "Limits",
    "SettledSize",
    "settle_size",
]
