"""No-ink white: what is nearly white becomes exactly white, what is nearly black exactly black.

A printer driver turns #FEFEFE into scattered dots; exact white leaves the paper bare. Colours are
judged by what they look like: grey, RGB and CMYK by their numbers (calibrated and ICC spaces of
those kinds too, since their ends are white and black), spot colours by their tint transform.
"""

import dataclasses
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pikepdf

from decalprep.cleaning.edits import Rewriter, name_token, number_token, saved
from decalprep.cleaning.images import ImageCleaner, has_usual_gamma
from decalprep.cleaning.report import Change, Cleaned
from decalprep.errors import UsageProblem
from decalprep.model import Artwork, Notice, Severity
from decalprep.pdfstream import (
    Colour,
    Frame,
    Operation,
    PdfName,
    colour_in,
    component_count,
    object_key,
    open_document,
    operands,
    space_family,
)

_SHAPE_ONLY = re.compile(rb"\s*(?:[-+.0-9]+\s+){6}d1\b")


@dataclass(frozen=True)
class WhiteSettings:
    """``near_white`` and ``near_black`` are 8-bit levels: every channel at or above #F8 is taken
    as white, every channel at or under #07 as black (None: leave black alone).

    Raises:
        UsageProblem: a level outside its half of 0..255.
    """

    near_white: int = 0xF8
    near_black: int | None = 0x07

    def __post_init__(self) -> None:
        if not 128 <= self.near_white <= 255:
            raise UsageProblem(
                f"near-white {self.near_white} is not a light level", do="give 128 to 255"
            )
        if self.near_black is not None and not 0 <= self.near_black <= 127:
            raise UsageProblem(
                f"near-black {self.near_black} is not a dark level", do="give 0 to 127"
            )


def make_white_bare(artwork: Artwork, settings: WhiteSettings | None = None) -> Cleaned:
    """The artwork with near-white and near-black made exact, and counts of what changed.

    Does not touch artworks with transfer functions, nor shadings, soft masks, Lab colours, inline
    images and image kinds that cannot be changed without loss: those that occur are told.

    Raises:
        InputProblem: the page cannot be read.
    """
    wanted = settings or WhiteSettings()
    with open_document(artwork.page_pdf) as document:
        if _has_transfer(document):
            text = (
                "a transfer function changes what its colours look like; near-white and "
                "near-black were left as they are: check that they print as meant"
            )
            told = Notice("white-left-alone", text, artwork.name, Severity.NOTE)
            return Cleaned(artwork, (), (told,))
        whitener = _Whitener(document, wanted)
        changed = whitener.rewrite(document.pages[0])
        changed = whitener.images.clean_all() or changed
        page_pdf = saved(document) if changed else artwork.page_pdf
    new = dataclasses.replace(artwork, page_pdf=page_pdf) if changed else artwork
    counts = whitener.counts + whitener.images.counts
    changes = tuple(Change(what, count) for what, count in sorted(counts.items()))
    return Cleaned(new, changes, whitener.notices(artwork.name))


def _has_transfer(document: pikepdf.Pdf) -> bool:
    """Whether any graphics state sets a transfer function (ISO 32000-1, 10.4)."""
    plain = (pikepdf.Name.Identity, pikepdf.Name.Default)
    return any(
        key in state and state[key] not in plain
        for state in _dictionaries(document)
        for key in ("/TR", "/TR2")
    )


def _dictionaries(document: pikepdf.Pdf) -> Iterator[Any]:
    """The graphics states that the document's resources name, and those that stand alone."""
    for thing in document.objects:
        if not isinstance(thing, pikepdf.Dictionary | pikepdf.Stream):
            continue
        yield thing
        for held in (thing, thing.get("/Resources")):
            table = held.get("/ExtGState") if isinstance(held, pikepdf.Dictionary) else None
            if isinstance(table, pikepdf.Dictionary):
                yield from (v for v in table.values() if isinstance(v, pikepdf.Dictionary))


class _Whitener(Rewriter):
    def __init__(self, document: pikepdf.Pdf, settings: WhiteSettings) -> None:
        super().__init__(document)
        self.white = settings.near_white / 255
        self.black = None if settings.near_black is None else settings.near_black / 255
        self.images = ImageCleaner(settings.near_white, settings.near_black)
        self.counts: Counter[str] = Counter()
        self.unsure: Counter[str] = Counter()

    def enter_stream(self, stream: Any, inner: Frame) -> Frame:
        """Glyphs that state d1 have no colours of their own (ISO 32000-1, 9.6.5): pass by."""
        return inner if _SHAPE_ONLY.match(inner.data) else super().enter_stream(stream, inner)

    def on_colour(self, frame: Frame, op: Operation) -> None:
        """Make a colour that is nearly white or black exact."""
        filling = op[0].islower()
        space = frame.state.fill_space if filling else frame.state.stroke_space
        colour = frame.state.fill if filling else frame.state.stroke
        values = operands(frame.data, op[1], op[2])
        if values and isinstance(values[-1], PdfName):
            self._pattern_colour(frame, op, values)
            return
        if not values or not colour.values:
            return
        what = "fill colours" if filling else "stroke colours"
        exact = self._exact(space, colour)
        if exact is None or exact == colour.values:
            return
        self.edits.replace(op[1], op[2], b" ".join(number_token(v) for v in exact))
        white = colour.rgb is not None and min(colour.rgb) > 0.5
        self.counts[f"near-{'white' if white else 'black'} {what} made exact"] += 1

    def _pattern_colour(self, frame: Frame, op: Operation, values: list[Any]) -> None:
        """Clean the cell of a tiling pattern; one without colours of its own has that of ``op``."""
        pattern = self.resource(frame, "/Pattern", values[-1])
        if not isinstance(pattern, pikepdf.Stream):
            return
        if pattern.get("/PaintType") != 2:
            self.rewrite_pattern(frame, pattern, op)
            return
        space = frame.state.fill_space if op[0].islower() else frame.state.stroke_space
        tint = tuple(v for v in values[:-1] if isinstance(v, float))
        if not tint or not isinstance(space, pikepdf.Array) or len(space) < 2:
            return
        exact = self._exact(space[1], colour_in(space[1], tint))
        if exact is not None and exact != tint:
            numbers = [number_token(v) for v in exact]
            self.edits.replace(op[1], op[2], b" ".join([*numbers, name_token(str(values[-1]))]))
            self.counts["near-white or near-black pattern colours made exact"] += 1

    def on_show(self, frame: Frame, op: Operation) -> None:
        """Clean the glyphs of a Type 3 font; those without colours of their own have none."""
        font = frame.state.font
        if font is None or not font.type3:
            return
        if not self.rewrite_glyphs(frame, op):
            self.unsure["Type 3 font set by a graphics state"] += 1

    def _exact(self, space: Any, colour: Colour) -> tuple[float, ...] | None:
        """The exact numbers for a colour that is nearly white or black; None to leave it."""
        kind = _kind(space)
        if kind in ("grey", "rgb"):
            return self._additive(colour.values)
        if kind == "cmyk":
            return self._inks(colour.values)
        if kind == "spot":
            return self._spot(space, colour)
        if colour.rgb is not None and min(colour.rgb) >= self.white and min(colour.rgb) < 1:
            self.unsure[f"near-white {colour.space} colour"] += 1
        return None

    def _additive(self, values: Sequence[float]) -> tuple[float, ...] | None:
        if min(values) >= self.white:
            return (1.0,) * len(values)
        if self.black is not None and max(values) <= self.black:
            return (0.0,) * len(values)
        return None

    def _inks(self, values: Sequence[float]) -> tuple[float, ...] | None:
        if len(values) != 4:
            return None
        little = 1 - self.white
        if max(values) <= little:
            return (0.0, 0.0, 0.0, 0.0)
        if self.black is None or values[3] < 1 - self.black:
            return None
        if max(values[:3]) <= little:
            return (0.0, 0.0, 0.0, 1.0)
        self.unsure["black of several inks"] += 1
        return None

    def _spot(self, space: Any, colour: Colour) -> tuple[float, ...] | None:
        if colour.rgb is None or min(colour.rgb) < self.white or not any(colour.values):
            return None
        none = (0.0,) * len(colour.values)
        if colour_in(space, none).rgb == (1.0, 1.0, 1.0):
            return none
        self.unsure[f"near-white spot colour {colour.spot}"] += 1
        return None

    def on_image(self, frame: Frame, image: Any, _op: Operation) -> None:
        """Note an image; each is cleaned once, after the walk."""
        del frame
        self.images.add(object_key(image), image)

    def on_inline_image(self, frame: Frame, _op: Operation) -> None:
        """Inline images stay."""
        del frame
        self.unsure["inline image"] += 1

    def notices(self, subject: str) -> tuple[Notice, ...]:
        """What was left alone, each with its count."""
        left = self.unsure + self.images.unsure
        for feature in ("shading", "shading pattern", "soft mask"):
            if self.features.get(feature):
                left[feature] = self.features[feature]
        return tuple(
            Notice(
                "white-left-alone",
                f"{what} ({count} times) was left as it is: check that it prints as meant",
                subject,
                Severity.NOTE,
                numbers=(("count", float(count)),),
            )
            for what, count in sorted(left.items())
        )


def _kind(space: Any) -> str:
    """grey, rgb, cmyk or spot, or nothing where white and black cannot be told from numbers."""
    family = space_family(space)
    if family in ("Separation", "DeviceN"):
        return "spot"
    by_count = {1: "grey", 3: "rgb", 4: "cmyk"}
    if family in ("CalGray", "CalRGB") and not has_usual_gamma(space):
        return ""
    if family in ("DeviceGray", "CalGray", "DeviceRGB", "CalRGB", "DeviceCMYK"):
        return by_count[component_count(space)]
    if family == "ICCBased" and icc_is_device_like(space):
        return by_count.get(component_count(space), "")
    return ""


def icc_is_device_like(space: Any) -> bool:
    """Whether an ICC profile's data are grey, RGB or CMYK (ICC.1, header bytes 16 to 19)."""
    try:
        head = space[1].read_bytes()[16:20]
    except (pikepdf.PdfError, AttributeError, TypeError):
        return False
    return head in (b"RGB ", b"GRAY", b"CMYK")
