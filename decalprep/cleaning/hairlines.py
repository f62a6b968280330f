"""Stripping hairline strokes; every byte that need not change stays.

Rules by operator: S s -> n; B -> f, b -> h f, B* -> f*, b* -> h f*; a pending W stays in front.
Text modes 1 2 5 6 -> 3 0 7 4 round each show operator. A form or Type 3 font whose strokes depend
on where it is used gets one variant for each different result.
"""

import dataclasses
from collections import Counter
from functools import reduce
from typing import Any

import pikepdf

from decalprep.cleaning.counterparts import FillSearch, FirstLook, Hairlines
from decalprep.cleaning.edits import (
    Rewriter,
    number_token,
    saved,
)
from decalprep.cleaning.report import Change, Cleaned, HairlineSettings, LoneHairlines
from decalprep.cleaning.strokes import FILL_OF, StrokeWalker, Tally, Widths
from decalprep.geometry import Affine, Box
from decalprep.model import Artwork, Notice, Severity
from decalprep.pdfstream import (
    Frame,
    GraphicsState,
    Operation,
    open_document,
    operations,
    paths_in,
    stream_bytes,
)

_TEXT_WITHOUT = {1: 3, 2: 0, 5: 7, 6: 4}
_WITH_PLACES = frozenset(("kept_lone", "thickened", "uneven"))


def strip_hairlines(artwork: Artwork, settings: HairlineSettings | None = None) -> Cleaned:
    """The artwork without its hairline strokes, counts by true width in mm, and warnings.

    What a lone hairline is says ``counterparts``; ``settings.lone`` says what becomes of it.
    Does not change strokes inside tiling patterns and soft masks, nor fake bold text: both
    are reported by name. Returns the very same artwork where nothing had to change.

    Raises:
        InputProblem: the page cannot be read.
        TooMuch, Unfaithful: endless, too deep or self-containing drawings.
    """
    wanted = settings or HairlineSettings()
    rule = Hairlines(wanted.width_mm, keep_fake_bold=wanted.keep_fake_bold)
    to_mm = artwork.artwork_from_page
    with open_document(artwork.page_pdf) as document:
        page = document.pages[0]
        first = FirstLook(document, to_mm, rule)
        first.walk_page(page)
        lone: set[int] = set()
        if first.must_search:
            search = FillSearch(document, to_mm, rule)
            search.walk_page(page)
            lone = search.lone()
        stripper = _Stripper(document, to_mm, rule, wanted, lone)
        new_artwork = artwork
        if stripper.rewrite(page):
            new_artwork = dataclasses.replace(artwork, page_pdf=saved(document))
    notices = stripper.notices(artwork.name)
    return Cleaned(new_artwork, stripper.changes(), notices, stripper.tally.rows())


class _Stripper(StrokeWalker, Rewriter):
    def __init__(
        self,
        document: pikepdf.Pdf,
        artwork_from_page: Affine,
        rule: Hairlines,
        settings: HairlineSettings,
        lone: set[int],
    ) -> None:
        super().__init__(document, artwork_from_page)
        self.rule = rule
        self.settings = settings
        self.lone = lone
        self.tally = Tally()
        self.kept: Counter[str] = Counter()
        self.places: dict[str, Box] = {}
        self.uneven: list[Widths] = []

    # -- paths and text ----------------------------------------------------------------------

    def on_path_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        """Strip, keep or thicken one path's stroke."""
        what = "edge of a fill" if op[0] in FILL_OF else "line"
        fate = self._fate(frame, widths)
        self.tally.count(frame.state, widths, what, fate)
        if fate == "stripped":
            self.edits.replace(op[2], op[3], FILL_OF.get(op[0], b"n"))
        elif fate == "thickened":
            self._thicken(frame, frame.path[0][0], op[3])
        told = "uneven" if fate == "kept" and self.rule.is_uneven(widths) else fate
        if self._wants_place(told):
            self._place(told, frame)

    def on_text_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        """Strip, keep or thicken the stroke of one shown string."""
        fate = self._fate(frame, widths)
        if fate == "stripped" and self.rule.is_fake_bold(frame):
            fate = "kept"
            self.kept["fake bold"] += 1
        self.tally.count(frame.state, widths, "text", fate)
        if fate == "stripped":
            mode = frame.state.render_mode
            self.edits.replace(op[1], op[1], b"%d Tr" % _TEXT_WITHOUT[mode])
            self.edits.replace(op[3], op[3], b"%d Tr" % mode)
        elif fate == "thickened":
            self._thicken(frame, op[1], op[3])
        if self._wants_place(fate):
            self.places[fate] = self.text_box_mm(frame, op)

    def _fate(self, frame: Frame, widths: Widths) -> str:
        if not self.rule.is_hairline(widths):
            if self.rule.is_uneven(widths):
                self.uneven.append(widths)
            return "kept"
        if self.ordinal not in self.lone or self.settings.lone is LoneHairlines.DROP:
            return "stripped"
        if self.settings.lone is LoneHairlines.KEEP or self._thick(frame.state) is None:
            return "kept_lone"
        return "thickened"

    def _thick(self, state: GraphicsState) -> float | None:
        """The line width that is ``thicken_to_mm`` where thinnest; None where the map is flat."""
        largest, smallest = (self.artwork_from_page @ state.ctm).stretch
        return None if smallest < 1e-9 * largest else self.settings.thicken_to_mm / smallest

    def _thicken(self, frame: Frame, start: int, end: int) -> None:
        width = self._thick(frame.state)
        if width is not None:
            self.edits.replace(start, start, number_token(width) + b" w")
            self.edits.replace(end, end, number_token(frame.state.line_width) + b" w")

    def _wants_place(self, fate: str) -> bool:
        """Whether this is the first of its kind that shows, for the place that is told."""
        return fate in _WITH_PLACES and fate not in self.places and self.visible

    def _place(self, fate: str, frame: Frame) -> None:
        to_mm = self.artwork_from_page @ frame.state.ctm
        boxes = [path.box for path in paths_in(frame.data, frame.path, to_mm, closing=False)]
        if boxes:
            self.places[fate] = reduce(Box.union, boxes)

    # -- Type 3 fonts ---------------------------------------------------------------------

    def walk_glyphs(self, frame: Frame, op: Operation) -> None:
        """Walk Type 3 glyphs; if one must change here, show the string in a variant font."""
        if not self.rewrite_glyphs(frame, op):
            self.kept["Type 3 font set by a graphics state"] += 1

    # -- what is left alone ------------------------------------------------------------------

    def on_pattern(self, frame: Frame, name: str, pattern: Any) -> None:
        """Tiling patterns stay; those that may hold strokes are told."""
        del frame
        if isinstance(pattern, pikepdf.Stream) and _may_stroke(stream_bytes(pattern)):
            self.kept[f"tiling pattern {name}"] += 1

    def on_soft_mask(self, frame: Frame, mask: Any) -> None:
        """Soft masks stay; those that may hold strokes are told."""
        del frame
        group = mask.get("/G")
        if isinstance(group, pikepdf.Stream) and _may_stroke(stream_bytes(group)):
            self.kept["soft mask"] += 1

    # -- report ------------------------------------------------------------------------------

    def changes(self) -> tuple[Change, ...]:
        """What was stripped and thickened, by width."""
        return tuple(
            Change(f"hairline {fate}", count, row.what, row.width_mm)
            for row in self.tally.rows()
            for fate, count in (("stripped", row.stripped), ("thickened", row.thickened))
            if count
        )

    def notices(self, subject: str) -> tuple[Notice, ...]:
        """Warnings: lone hairlines, uneven widths, and what was left alone."""
        notices = [*self._lone_notices(subject)]
        if self.uneven:
            largest = max(w[0] for w in self.uneven)
            smallest = min(w[1] for w in self.uneven)
            notices.append(
                Notice(
                    "uneven-stroke",
                    f"{len(self.uneven)} strokes are a hairline in one direction "
                    f"({smallest:.3f} mm) and not in another ({largest:.3f} mm); kept",
                    subject,
                    box_mm=self.places.get("uneven"),
                    numbers=(("largest_mm", largest), ("smallest_mm", smallest)),
                )
            )
        for what, count in sorted(self.kept.items()):
            bold = what == "fake bold"
            text = (
                f"{count} texts are made bold by a stroke of their own colour; kept as weight"
                if bold
                else f"strokes inside {what} were not looked at and stay (used {count} times)"
            )
            notices.append(
                Notice(
                    "fake-bold-kept" if bold else "strokes-not-looked-at",
                    text,
                    subject,
                    Severity.NOTE if bold else Severity.WARNING,
                    numbers=(("count", float(count)),),
                )
            )
        return tuple(notices)

    def _lone_notices(self, subject: str) -> list[Notice]:
        notices = []
        wider = f"thickened to {self.settings.thicken_to_mm:g} mm"
        kept = "the only ink of {} shape and {} kept; {} may not print"
        for fate, said, single in (
            (
                "kept_lone",
                "are " + kept.format("their", "were", "they"),
                "is " + kept.format("its", "was", "it"),
            ),
            ("thickened", f"were {wider}", f"was {wider}"),
        ):
            count = self.tally.total([fate])
            if count:
                notices.append(
                    Notice(
                        "lone-hairline" if fate == "kept_lone" else "hairline-thickened",
                        f"{count} hairlines {said}" if count > 1 else f"1 hairline {single}",
                        subject,
                        Severity.WARNING if fate == "kept_lone" else Severity.NOTE,
                        self.places.get(fate),
                        (("count", float(count)), ("limit_mm", self.settings.width_mm)),
                    )
                )
        dropped = self.lone if self.settings.lone is LoneHairlines.DROP else set()
        if dropped:
            notices.append(
                Notice(
                    "lone-hairline-dropped",
                    f"{len(dropped)} hairlines that were the only ink of their shape are gone",
                    subject,
                    numbers=(("count", float(len(dropped))),),
                )
            )
        return notices


def _may_stroke(data: bytes) -> bool:
    """Whether content strokes, or may through something it draws."""
    telling = {b"S", b"s", b"B", b"B*", b"b", b"b*", b"Do", b"Tr"}
    return any(op[0] in telling for op in operations(data))
