"""Files to Artwork and PartFace.

Convention: an artwork's page starts at the lower left, y up, in its own points; its true size in
mm rests on ranked evidence (``evidence``). A part's face is seen from outside, in mm, the lower
left of its outline's box at the origin. What a file is, is told by its content, not by its name.
Nothing outside the artwork's folder is read.
Each kind of file has its module, imported when such a file is read.
"""

from decalprep.intake.evidence import SettledSize, settle_size
from decalprep.intake.options import FaceOptions, IntakeOptions, KnownDistance, Limits
from decalprep.intake.reading import numbered_circles, read_artwork, read_face, read_unsized

__all__ = [
    "FaceOptions",
    "IntakeOptions",
    "KnownDistance",
    "Limits",
    "SettledSize",
    "numbered_circles",
    "read_artwork",
    "read_face",
    "read_unsized",
    "settle_size",
]
