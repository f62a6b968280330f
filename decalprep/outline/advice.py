"""What to do about an artwork that shows no outline: a drawing can take a layer, a picture not."""

from decalprep.model import Artwork

_LAYER = 'draw the outline on a layer "cut outline"'
_PAGE_OR_PART = 'give outline_from = "page" to cut along the edge of its page, or give the part'


def outline_advice(artwork: Artwork) -> str:
    """How an artwork can be given an outline that is sure, in words."""
    if artwork.pixels:
        return f"make what lies round the panel white or transparent, {_PAGE_OR_PART}"
    return f"{_LAYER}, name its layer or spot colour, or give the part"


def edge_advice(artwork: Artwork, *, pieces: bool = False) -> str:
    """The same where its edge could not be traced; ``pieces``: because it falls apart."""
    if not artwork.pixels:
        return f"{_LAYER}, {_PAGE_OR_PART}"
    if pieces:
        return f"give the panel a ground of one colour, so that it is one piece, {_PAGE_OR_PART}"
    return outline_advice(artwork)
