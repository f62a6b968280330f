"""DXF files to Artwork, and to the exact face of a part.

The page of an artwork is the box round everything that is drawn and shown, line widths not counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path as FilePath

from decalprep.errors import InputProblem, NoSize, TooMuch, UsageProblem, near_first
from decalprep.geometry import Affine, Box
from decalprep.intake.dxfface import LoopRule, exact_hole, face_of, is_hole_layer
from decalprep.intake.dxffile import OpenedDxf, opened_dxf, said_unit_mm
from decalprep.intake.dxfpage import dxf_page
from decalprep.intake.dxfwalk import Drawn, Walked, Walker
from decalprep.intake.evidence import SettledSize, settle_size
from decalprep.intake.files import read_whole
from decalprep.intake.options import FaceOptions, IntakeOptions
from decalprep.model import Artwork, EvidenceRank, Notice, PartFace, Severity, SizeEvidence
from decalprep.units import format_mm, pt_from_mm

FARTHEST_MM = 1e9
"""Farther out, a coordinate has no thousandths of a millimetre left."""


def read_dxf(path: FilePath, options: IntakeOptions) -> Artwork:
    """The model space of a DXF as an Artwork at its true size in mm.

    ``face`` holds the exact outline and holes where closed lines make one: the largest loop, and
    the loops inside it on the same layer or on layers named for holes. Does not draw images,
    solids, outside references and other things that have no lines; they are named.

    Raises:
        InputProblem: unreadable, or nothing in it can be drawn.
        NoSize: the drawing has no unit and nobody states a size.
        TooMuch: beyond a limit.
        UsageProblem: an unknown unit or layer.
    """
    where = str(path)
    opened = opened_dxf(read_whole(path, options.limits), options.limits, where)
    walked = Walker(opened.document, options.limits, where).walked()
    hidden = _hidden_layers(walked, options, where)
    box = _box_of([item for item in walked.drawn if item.layer not in hidden], opened, where)
    size = _settled(opened, options, box, where)
    mm = Affine.scaling(size.width_mm / box.width, size.height_mm / box.height)
    mm = mm @ Affine.translation(-box.x0, -box.y0)
    page_size = (pt_from_mm(size.width_mm), pt_from_mm(size.height_mm))
    page = Affine.scaling(pt_from_mm(1.0)) @ mm
    page_pdf = dxf_page(walked.drawn, page, page_size, line_mm=options.line_mm, hidden=hidden)
    shown = [item for item in walked.drawn if item.layer not in hidden]
    face, told = _artwork_face(shown, mm, options, where)
    notices = [*opened.notices, *_walk_notices(walked, options, where), *told]
    notices += _hidden_notices(hidden, where)
    return Artwork(
        name=path.stem,
        source=where,
        kind="dxf",
        page_pdf=page_pdf,
        page_width_pt=page_size[0],
        page_height_pt=page_size[1],
        width_mm=size.width_mm,
        height_mm=size.height_mm,
        evidence=size.evidence,
        notices=(*notices, *size.notices),
        layers=tuple(dict.fromkeys(item.layer for item in walked.drawn)),
        face=face,
    )


def read_dxf_face(path: FilePath, options: FaceOptions) -> PartFace:
    """The face of a part from a DXF: exact outline and holes in mm, no thickness.

    The outline is the largest closed loop (of ``outline_layer`` where given), the holes are the
    loops directly inside it (of ``hole_layers`` where given). The lower left of the outline's box
    is the origin.

    Raises:
        InputProblem: unreadable, or no closed outline.
        NoSize: the drawing has no unit and nobody states one.
        TooMuch: beyond a limit.
        UsageProblem: an unknown unit or layer.
    """
    where = str(path)
    opened = opened_dxf(read_whole(path, options.limits), options.limits, where)
    walked = Walker(opened.document, options.limits, where).walked()
    mm_per_unit = _face_unit(opened, options.unit, where)
    shown = [item for item in walked.drawn if item.layer not in walked.hidden_layers]
    outline_layers = [options.outline_layer] if options.outline_layer else []
    _check_layers([*outline_layers, *options.hole_layers], walked, where)
    _check_reach(shown, mm_per_unit, where)
    turned = Affine.rotation(options.turn_deg) @ Affine.scaling(mm_per_unit)
    rule = LoopRule(options.joining_mm, options.outline_layer, options.hole_layers or None)
    found = face_of(shown, turned, rule, where)
    if found is None:
        raise InputProblem(
            "no closed outline is drawn in it",
            where=where,
            do=f"close the lines (ends within {options.joining_mm:g} mm are joined)",
        )
    corner = found.outline.box
    home = Affine.translation(-corner.x0, -corner.y0)
    told = (*opened.notices, *found.notices, *_unit_notice(opened, options, where))
    return replace(moved_face(found, home), notices=told)


def _check_reach(shown: Sequence[Drawn], mm_per_unit: float, where: str) -> None:
    """Refuse lines so far out that their places cannot be told apart any more."""
    boxes = [path.box for item in shown for path in item.paths if path.segments]
    farthest = max((abs(v) for box in boxes for corner in box.corners for v in corner), default=0.0)
    if not farthest * mm_per_unit <= FARTHEST_MM:
        raise TooMuch(
            f"something lies {farthest * mm_per_unit:.3g} mm from the origin",
            where=where,
            do="delete it, or check the drawing's unit",
        )


def moved_face(face: PartFace, m: Affine) -> PartFace:
    """The face under a shift or turn, circles kept."""
    holes = tuple(exact_hole(hole.contour.mapped(m)) for hole in face.holes)
    return replace(face, outline=face.outline.mapped(m), holes=holes)


def _face_unit(opened: OpenedDxf, unit: str | None, where: str) -> float:
    if unit is not None:
        return said_unit_mm(unit, where)
    if opened.mm_per_unit is None:
        hint = f"; its patterns suggest {opened.hint}" if opened.hint else ""
        raise NoSize(
            f"the drawing does not say what its numbers count ($INSUNITS){hint}",
            where=where,
            do='say its unit: "mm", "cm" or "in"',
        )
    return opened.mm_per_unit


def _unit_notice(opened: OpenedDxf, options: FaceOptions, where: str) -> list[Notice]:
    if options.unit is None or opened.mm_per_unit is None:
        return []
    if abs(said_unit_mm(options.unit, where) / opened.mm_per_unit - 1) < 1e-9:
        return []
    text = f"the drawing says that it counts in {opened.unit_name}; read as {options.unit}"
    return [Notice("unit-conflict", text, where)]


def _check_layers(wanted: Sequence[str], walked: Walked, where: str) -> None:
    names = {item.layer for item in walked.drawn}
    for name in wanted:
        if name not in names:
            have = near_first(name, names)
            raise UsageProblem(
                f"there is no layer {name!r} with lines", where=where, do=f"its layers are: {have}"
            )


def _hidden_layers(walked: Walked, options: IntakeOptions, where: str) -> frozenset[str]:
    _check_layers([*options.show_layers, *options.hide_layers], walked, where)
    shown = walked.hidden_layers - set(options.show_layers)
    return frozenset(shown | set(options.hide_layers))


def _hidden_notices(hidden: frozenset[str], where: str) -> list[Notice]:
    if not hidden:
        return []
    labels = ", ".join(repr(n) for n in sorted(hidden))
    text = f"hidden layers stay hidden: {labels}; show them by name if they belong to the picture"
    return [Notice("layers-hidden", text, where, Severity.NOTE)]


def _box_of(items: Sequence[Drawn], opened: OpenedDxf, where: str) -> Box:
    boxes = [path.box for item in items for path in item.paths if path.segments]
    if not boxes:
        others = [layout.name for layout in opened.document.layouts if layout.name != "Model"]
        filled = [n for n in others if len(opened.document.layouts.get(n)) > 1]
        more = f"; there is something in the layout {filled[0]!r}" if filled else ""
        raise InputProblem(
            f"nothing in its model space can be drawn{more}",
            where=where,
            do="draw the panel in model space",
        )
    box = boxes[0]
    for other in boxes[1:]:
        box = box.union(other)
    return box


def _settled(opened: OpenedDxf, options: IntakeOptions, box: Box, where: str) -> SettledSize:
    """The size by $INSUNITS or the user's unit. A page without either counts 1 unit as 1 mm."""
    claims = []
    if opened.mm_per_unit is not None:
        k = opened.mm_per_unit
        reason = f"its drawing unit, {opened.unit_name} ($INSUNITS)"
        claims.append(SizeEvidence(EvidenceRank.FILE_UNITS, box.width * k, box.height * k, reason))
    if options.unit is not None:
        k = said_unit_mm(options.unit, where)
        reason = f"you said that it counts in {options.unit}"
        claims.append(SizeEvidence(EvidenceRank.USER, box.width * k, box.height * k, reason))
    base = opened.mm_per_unit or 1.0
    page_size = (pt_from_mm(box.width * base), pt_from_mm(box.height * base))
    try:
        return settle_size(claims, options, page_size=page_size, name=where)
    except NoSize:
        hint = f"; its patterns suggest {opened.hint}" if opened.hint else ""
        raise NoSize(
            f"the drawing is {box.width:.6g} x {box.height:.6g} units and does not say what they "
            f"count ($INSUNITS){hint}",
            where=where,
            do='say its unit ("mm" or "in") or its true width',
        ) from None


def _artwork_face(
    shown: Sequence[Drawn], mm: Affine, options: IntakeOptions, where: str
) -> tuple[PartFace | None, list[Notice]]:
    """The exact face in the artwork frame; loops on other layers are legends, not holes."""
    try:
        face = face_of(shown, mm, LoopRule(options.joining_mm, None, is_hole_layer), where)
    except InputProblem as problem:
        text = f"no exact outline is taken from the drawing: {problem.found}"
        return None, [Notice("dxf-no-face", text, where, Severity.NOTE)]
    if face is None:
        return None, []
    return replace(face, notices=()), list(face.notices)


def _walk_notices(walked: Walked, options: IntakeOptions, where: str) -> list[Notice]:
    notices = []
    if walked.undrawn:
        listed = ", ".join(f"{n} {kind}" for kind, n in sorted(walked.undrawn.items()))
        text = f"could not be drawn: {listed}"
        notices.append(Notice("dxf-not-drawn", text, where))
    if walked.texts:
        count = "a text is" if walked.texts == 1 else f"{walked.texts} texts are"
        text = (
            f"{count} drawn in a stand-in font at the stated capital height; "
            "shapes and widths differ from the drawing's font: turn text into curves to keep them"
        )
        notices.append(Notice("dxf-text-stand-in", text, where))
    if walked.missing_letters:
        letters = " ".join(sorted(walked.missing_letters))
        text = f"letters that the stand-in font does not have: {letters}"
        notices.append(Notice("dxf-letters-missing", text, where, Severity.DANGER))
    if walked.tapered:
        text = f"{walked.tapered} tapering polylines are drawn at their mean width"
        notices.append(Notice("dxf-tapered", text, where))
    plain = sum(item.kind == "line" and item.width_mm is None for item in walked.drawn)
    if plain:
        text = f"{plain} lines state no width and are drawn {format_mm(options.line_mm)} wide"
        notices.append(Notice("dxf-default-width", text, where, Severity.NOTE))
    return notices
