"""Strokes of one panel in the report: by width, before and after, and what that did to the look."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from decalprep.jobs import report_parts as parts
from decalprep.jobs.report_html import Html, tag
from decalprep.jobs.report_pictures import webp
from decalprep.units import MM_PER_IN, PX_PER_IN

if TYPE_CHECKING:
    from decalprep.cleaning import CloseUp

Data = dict[str, Any]


def stroke_rows(panel: Data, key: str) -> Html | None:
    """Strokes of one panel before and after, by width."""
    if not panel["strokes"]:
        return None
    rows = [
        (
            f"{row['width_mm']:.3f}",
            row["what"] + (", dashed" if row["dashed"] else ""),
            row["before"],
            row["after"],
            _became(row),
        )
        for row in panel["strokes"]
    ]
    heads = ("Width, mm", "Of", "Before", "After", "What became of them")
    caption = f"Strokes of {panel['name']} by true width, before and after cleaning"
    return parts.table(key, caption, heads, rows, words=1)


def _became(row: Data) -> str:
    told = [
        f"{row[k]} {word}"
        for k, word in (
            ("stripped", "stripped"),
            ("thickened", "made thicker"),
            ("kept_lone", "kept: the only ink of their shape"),
        )
        if row[k]
    ]
    return ", ".join(told) or "as they were"


def effect_views(panel: Data, close: CloseUp | None, key: str) -> list[Html]:
    """The place where hairlines did most harm, before and after, and stem widths of words."""
    effect = panel["stroke_effect"]
    if effect is None:
        return []
    if not effect["looked_at"]:
        words = (
            "What stripping did to the look was measured on the artworks that lost most strokes "
            "only; this one is not among them."
        )
        return [tag("p", words, class_="soft wide")]
    views = [] if close is None else [_pair(panel["name"], close, effect["box_mm"])]
    return [*views, *([_stems(panel, f"{key}-stems")] if effect["stems"] else [])]


def _pair(name: str, close: CloseUp, box_mm: list[float]) -> Html:
    at = f"{(box_mm[0] + box_mm[2]) / 2:.1f}, {(box_mm[1] + box_mm[3]) / 2:.1f} mm"
    pictures = [
        tag("div", tag("p", word, class_="soft"), _view(pixels, close.times, f"{name}, {alt}"))
        for word, alt, pixels in (
            ("With its hairlines", f"with its hairlines, at {at}", close.before),
            ("Without them", f"without its hairlines, at {at}", close.after),
        )
    ]
    caption = (
        f"Where the hairlines did most harm, at {at} of the decal: {close.times:g} times life "
        f"size on a screen of {PX_PER_IN:g} px an inch; the bar is 1 mm. Drawn from the artwork."
    )
    return tag(
        "figure",
        tag("div", *pictures, class_="pair"),
        tag("figcaption", caption),
        class_="wide",
    )


def _view(pixels: Any, times: float, alt: str) -> Html:
    """A picture with a bar of 1 mm, white in black so that it shows on any ground."""
    height, width = pixels.shape[:2]
    mm = PX_PER_IN * times / MM_PER_IN
    bars = [
        tag(
            "rect",
            x=f"{10 - edge}",
            y=f"{height - 16 - edge}",
            width=f"{mm + 2 * edge:.2f}",
            height=f"{6 + 2 * edge}",
            class_=colour,
        )
        for edge, colour in ((2, "paperwhite"), (0, "inkblack"))
    ]
    return tag(
        "svg",
        tag("title", alt),
        tag("image", href=webp(pixels), width=width, height=height),
        *bars,
        viewBox=f"0 0 {width} {height}",
        width=width,
        height=height,
        role="img",
        class_="close",
    )


def _stems(panel: Data, key: str) -> Html:
    rows = [
        (
            stem["text"] or "letter-like shapes",
            f"{stem['before_mm']:.2f}",
            f"{stem['after_mm']:.2f}",
            f"{stem['after_mm'] - stem['before_mm']:+.2f}",
        )
        for stem in panel["stroke_effect"]["stems"]
    ]
    heads = ("Word", "Before, mm", "After, mm", "Change, mm")
    caption = f"Stem widths of {panel['name']}, measured on the rendering, within 0.01 mm"
    return parts.table(key, caption, heads, rows)
