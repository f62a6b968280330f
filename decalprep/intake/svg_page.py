"""A converter's PDF to one clean page of exact size, its layers apart as optional content."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name

from decalprep.intake.svg_layers import Segment

_KEPT = ("/Resources", "/Group")


@dataclass(frozen=True)
class PageSize:
    """Width and height of a page in points; whether its enlarged pictures are drawn smooth."""

    width_pt: float
    height_pt: float
    smooth: bool = False

    @property
    def box(self) -> Array:
        """[0 0 width height] at full precision."""
        return Array([0, 0, exact_number(self.width_pt), exact_number(self.height_pt)])


def exact_number(value: float) -> Decimal:
    return Decimal(f"{value:.9f}")


def clean_page(pdf: bytes, size: PageSize, *, page: int = 0) -> bytes:
    """One page alone, with MediaBox [0 0 w h] and nothing but its drawing.

    Does not move or scale the drawing: the converter was given the same page size.
    """
    with pikepdf.open(io.BytesIO(pdf)) as source, pikepdf.new() as target:
        taken = source.pages[page].obj
        fresh = Dictionary(Type=Name.Page, MediaBox=size.box)
        for key in _KEPT:
            if key in taken:
                fresh[key] = _foreign(target, source, taken[key])
        fresh[Name.Contents] = target.make_stream(_content(source, page))
        target.pages.append(pikepdf.Page(target.make_indirect(fresh)))
        return saved(target, smooth=size.smooth)


def stacked_page(pdf: bytes, size: PageSize, segments: Sequence[Segment], *, first: int) -> bytes:
    """One page on which every segment is a form, each layer under its own optional content group.

    ``first`` is the number of the page that shows the first segment. A hidden layer is off.
    """
    with pikepdf.open(io.BytesIO(pdf)) as source, pikepdf.new() as target:
        forms, properties, lines = Dictionary(), Dictionary(), []
        groups: dict[tuple[str, bool], tuple[str, Any]] = {}
        for i, segment in enumerate(segments):
            forms[f"/S{i}"] = _form(target, source, first + i, size)
            if segment.layer is None:
                lines.append(f"q /S{i} Do Q")
                continue
            key = (segment.layer, segment.hidden)
            if key not in groups:
                made = Dictionary(Type=Name.OCG, Name=pikepdf.String(segment.layer))
                groups[key] = (f"/L{i}", target.make_indirect(made))
                properties[f"/L{i}"] = groups[key][1]
            lines.append(f"/OC {groups[key][0]} BDC q /S{i} Do Q EMC")
        page = Dictionary(
            Type=Name.Page,
            MediaBox=size.box,
            Resources=Dictionary(XObject=forms, Properties=properties),
            Contents=target.make_stream("\n".join(lines).encode("ascii")),
        )
        target.pages.append(pikepdf.Page(target.make_indirect(page)))
        every = [group for _, group in groups.values()]
        hidden = [group for (_, off), (_, group) in groups.items() if off]
        target.Root.OCProperties = Dictionary(
            OCGs=Array(every),
            D=Dictionary(Name=pikepdf.String("Layers"), Order=Array(every), OFF=Array(hidden)),
        )
        return saved(target, smooth=size.smooth)


def _content(source: pikepdf.Pdf, page: int) -> bytes:
    contents = source.pages[page].obj.get("/Contents")
    if contents is None:
        return b""
    if isinstance(contents, Array):
        return b"\n".join(part.read_bytes() for part in contents)
    return bytes(contents.read_bytes())


def _foreign(target: pikepdf.Pdf, source: pikepdf.Pdf, value: Any) -> Any:
    held = value if value.is_indirect else source.make_indirect(value)
    return target.copy_foreign(held)


def _form(target: pikepdf.Pdf, source: pikepdf.Pdf, page: int, size: PageSize) -> Any:
    taken = source.pages[page].obj
    form = target.make_stream(_content(source, page))
    form[Name.Type] = Name.XObject
    form[Name.Subtype] = Name.Form
    form[Name.BBox] = size.box
    for key in _KEPT:
        if key in taken:
            form[key] = _foreign(target, source, taken[key])
    return form


def saved(target: pikepdf.Pdf, *, smooth: bool = False) -> bytes:
    """The file's bytes; ``smooth`` asks viewers to fill in between an enlarged image's pixels."""
    out = io.BytesIO()
    target.remove_unreferenced_resources()
    if smooth:
        for each in target.objects:
            if isinstance(each, pikepdf.Stream) and each.get("/Subtype") == Name.Image:
                each[Name.Interpolate] = True
    target.save(out, deterministic_id=True, compress_streams=True, min_version="1.7")
    return out.getvalue()
