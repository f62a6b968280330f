"""The proof tried on sheets made with known errors: how exact the method itself is, as numbers.

The sheets are written byte by byte (``specimen``), so nothing of the real writer takes part.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from decalprep.geometry import Affine, Box, circle_path, rectangle_path
from decalprep.model import Layer
from decalprep.proof.expected import (
    ExpectedArtwork,
    ExpectedBar,
    ExpectedDecal,
    ExpectedHole,
    ExpectedJob,
    ExpectedLine,
    ExpectedSheet,
)
from decalprep.proof.specimen import (
    Form,
    Placed,
    one_page,
    polyline,
    round_line,
    sheet_file,
    stream,
)
from decalprep.units import MM_PER_IN, pt_from_mm

Point = tuple[float, float]
FINE_MM = 0.0005
ART_W, ART_H = 84.0, 54.0
LAYERS = tuple(
    layer.value
    for layer in (
        Layer.ARTWORK,
        Layer.CUT_OUTLINE,
        Layer.HOLE_GUIDE,
        Layer.SCREW_CROSS,
        Layer.REGISTRATION,
        Layer.CHECK_BAR,
    )
)
KINDS = ("vector", "white on dark", "two colours", "thin", "sparse", "raster", "blank")


def _pt(*values: float) -> str:
    return " ".join(f"{pt_from_mm(v):.6f}" for v in values)


def _arrows(ground: str, ink: str) -> Form:
    """Five arrow heads and two rules, on a filled ground or bare paper."""
    content = [f"{ground} rg 0 0 {_pt(ART_W, ART_H)} re f"] if ground else []
    content.append(f"{ink} rg {ink} RG 1 w")
    for x in (10.0, 25.0, 41.0, 57.0, 72.0):
        content.append(
            f"{_pt(x, 27)} m {_pt(x + 3, 29.1)} l {_pt(x + 2, 23.8)} l h f "
            f"{_pt(x, 5)} m {_pt(x, 49)} l S"
        )
    content.append(f"{_pt(5, 8)} m {_pt(79, 10)} l S")
    return Form(" ".join(content).encode(), (pt_from_mm(ART_W), pt_from_mm(ART_H)))


def _thin() -> Form:
    """Lines of 0.11 mm, 7 mm apart, and one across."""
    content = ["0.3 w"]
    content += [f"{_pt(10 + 7 * i, 5)} m {_pt(10 + 7 * i, 49)} l S" for i in range(10)]
    content.append(f"{_pt(5, 12)} m {_pt(79, 12)} l S")
    return Form(" ".join(content).encode(), (pt_from_mm(ART_W), pt_from_mm(ART_H)))


def _sparse() -> Form:
    """Four small marks, far apart."""
    places = ((12, 12), (70, 14), (14, 42), (68, 44))
    content = [f"{_pt(x, y)} m {_pt(x + 1.6, y)} l {_pt(x + 0.8, y + 2)} l h f" for x, y in places]
    return Form(" ".join(content).encode(), (pt_from_mm(ART_W), pt_from_mm(ART_H)))


def _raster(ppi: float = 300.0) -> Form:
    """A grey picture with soft discs."""
    wide, high = round(ART_W / MM_PER_IN * ppi), round(ART_H / MM_PER_IN * ppi)
    y, x = np.indices((high, wide)) + 0.5
    grey = np.full((high, wide), 255.0)
    random = np.random.default_rng(7)
    for _ in range(40):
        cx, cy, radius = random.uniform(20, wide), random.uniform(20, high), random.uniform(5, 22)
        cover = np.clip(radius - np.hypot(x - cx, y - cy) + 0.5, 0, 1)
        grey = grey * (1 - cover) + float(random.uniform(0, 180)) * cover
    head = f"/Type /XObject /Subtype /Image /Width {wide} /Height {high} "
    picture = stream(
        np.rint(grey).astype(np.uint8).tobytes(),
        head + "/ColorSpace /DeviceGray /BitsPerComponent 8",
    )
    size = (pt_from_mm(ART_W), pt_from_mm(ART_H))
    content = f"q {size[0]:.6f} 0 0 {size[1]:.6f} 0 0 cm /I Do Q".encode()
    return Form(content, size, "<< /XObject << /I {picture} >> >>", {"picture": picture})


def artwork_form(kind: str) -> Form:
    """A specimen artwork of 84 x 54 mm; ``kind`` is one of ``KINDS``.

    Raises:
        KeyError: not one of them.
    """
    plain: dict[str, tuple[str, str]] = {
        "vector": ("", "0 0 0"),
        "white on dark": ("0.1 0.1 0.2", "1 1 1"),
        "two colours": ("1 0 0", "0 0.5 0"),
    }
    if kind in plain:
        return _arrows(*plain[kind])
    if kind == "blank":
        return Form(b"", (pt_from_mm(ART_W), pt_from_mm(ART_H)))
    makers: dict[str, Callable[[], Form]] = {"thin": _thin, "sparse": _sparse, "raster": _raster}
    return makers[kind]()


@dataclass(frozen=True)
class Wrongs:
    """Errors put in: affine maps of the page (mm) applied to what is drawn, and things left out.

    ``drawn_kind`` is another artwork drawn in place of the right one; ``extra`` is further
    content as (layer, operators).
    """

    artwork: Affine = field(default_factory=Affine)
    outline: Affine = field(default_factory=Affine)
    holes: Affine = field(default_factory=Affine)
    marks: Affine = field(default_factory=Affine)
    leave_out: tuple[str, ...] = ()
    drawn_kind: str = ""
    extra: tuple[tuple[str, str], ...] = ()


def _round(x: float, y: float, diameter: float) -> tuple[Point, ...]:
    return tuple(circle_path(x, y, diameter).points(FINE_MM))


def _outline(shape: str) -> tuple[Point, ...]:
    """An outline of 80 x 50 mm in the decal frame."""
    box = Box(0, 0, 80, 50)
    notched = [(0, 0), (30, 0), (30, 4), (42, 4), (42, 0), (80, 0), (80, 50), (20, 50), (20, 40)]
    shapes: dict[str, list[Point]] = {
        "rectangle": rectangle_path(box).points(FINE_MM),
        "rounded": rectangle_path(box, 6.0).points(FINE_MM),
        "notched": [(float(x), float(y)) for x, y in [*notched, (0, 40)]],
        "diamond": [(0.0, 25.0), (40.0, 0.0), (80.0, 25.0), (40.0, 50.0)],
    }
    return tuple(shapes[shape])


def specimen_job(
    kind: str = "vector",
    *,
    shape: str = "rectangle",
    placements: Sequence[Affine] = (Affine(e=20.37, f=180.21),),
    correction: Affine | None = None,
    wrongs: Wrongs | None = None,
) -> tuple[bytes, ExpectedJob]:
    """(PDF bytes, what it should show): copies of one specimen decal on an A4 sheet.

    ``placements`` take true decal mm to true sheet mm; ``correction`` is a printer correction.
    """
    wrongs = wrongs or Wrongs()
    correction = correction or Affine()
    form = artwork_form(kind)
    reference = ExpectedArtwork(one_page(form), ART_W, ART_H, hairline_mm=0.0)
    decal_from_artwork = Affine.translation(-2, -2)
    decals = []
    for copy, place in enumerate(placements, 1):
        page_from_decal = correction @ place
        ring = tuple(page_from_decal.apply_all(_outline(shape)))
        holes = []
        for name, at, diameter in (("A", (40.0, 30.0), 12.0), ("B", (60.0, 20.0), 6.5)):
            contour = tuple(page_from_decal.apply_all(_round(*at, diameter)))
            holes.append(ExpectedHole(name, contour, "contour", diameter))
        for name, at in (("1", (8.0, 25.0)), ("2", (72.0, 26.0))):
            contour = tuple(page_from_decal.apply_all(_round(*at, 3.4)))
            holes.append(ExpectedHole(name, contour, "cross", 3.4, 3.0))
        decals.append(
            ExpectedDecal(
                f"{kind} {shape}",
                copy,
                0,
                ring,
                (80.0, 50.0),
                page_from_decal,
                reference,
                page_from_decal @ decal_from_artwork,
                tuple(holes),
            )
        )
    sheet = _expected_sheet(correction)
    drawn = artwork_form(wrongs.drawn_kind) if wrongs.drawn_kind else form
    pdf = _drawn(drawn, decals, sheet, wrongs)
    return pdf, ExpectedJob((sheet,), tuple(decals))


def _expected_sheet(correction: Affine) -> ExpectedSheet:
    """An A4 sheet with a check bar each way and four registration ticks."""

    def tick(x0: float, y0: float, x1: float, y1: float) -> tuple[Point, Point]:
        return correction.apply(x0, y0), correction.apply(x1, y1)

    across = ExpectedBar("check bar across", tick(50, 8, 50, 14), tick(150, 8, 150, 14))
    up = ExpectedBar("check bar up", tick(8, 60, 14, 60), tick(8, 160, 14, 160))
    corners = ((10, 20, 16, 20), (194, 20, 200, 20), (10, 285, 16, 285), (194, 285, 200, 285))
    lines = tuple(
        ExpectedLine(f"tick {i + 1}", Layer.REGISTRATION.value, tick(*corner))
        for i, corner in enumerate(corners)
    )
    return ExpectedSheet(210.0, 297.0, LAYERS, lines, (across, up), page_from_true=correction)


def _drawn(
    form: Form, decals: Sequence[ExpectedDecal], sheet: ExpectedSheet, wrongs: Wrongs
) -> bytes:
    """The sheet's bytes with the errors in."""
    ink: dict[str, list[str]] = {layer: [] for layer in LAYERS if layer != Layer.ARTWORK}
    placed = []
    mm_from_pt_map = Affine.scaling(1 / pt_from_mm(1.0))
    pt_from_mm_map = Affine.scaling(pt_from_mm(1.0))
    for decal in decals:
        if "artwork" not in wrongs.leave_out:
            place = pt_from_mm_map @ wrongs.artwork @ decal.page_from_artwork @ mm_from_pt_map
            placed.append(Placed(form, place, Layer.ARTWORK.value, decal.outline_mm))
        if "outline" not in wrongs.leave_out:
            ring = wrongs.outline.apply_all(decal.outline_mm)
            ink[Layer.CUT_OUTLINE].append(polyline(ring, close=True, width_mm=0.1))
        for hole in decal.holes:
            if hole.name in wrongs.leave_out:
                continue
            ring = wrongs.holes.apply_all(hole.contour_mm)
            if hole.drawn_as == "contour":
                x, y = decal.page_from_decal.inverse().apply(*_middle(hole.contour_mm))
                at = wrongs.holes @ decal.page_from_decal
                size = hole.diameter_mm or 0.0
                ink[Layer.HOLE_GUIDE].append(round_line(at, x, y, size, width_mm=0.1))
                continue
            x, y = Box.around(ring).centre
            for dx, dy in ((1.5, 0.0), (0.0, 1.5)):
                arm = [(x - dx, y - dy), (x + dx, y + dy)]
                ink[Layer.SCREW_CROSS].append(polyline(arm, close=False, width_mm=0.1))
    for layer, content in wrongs.extra:
        ink.setdefault(layer, []).append(content)
    for bar in sheet.bars:
        for end in (bar.first, bar.last):
            if bar.name not in wrongs.leave_out:
                moved = wrongs.marks.apply_all(end)
                ink[Layer.CHECK_BAR].append(polyline(moved, close=False, width_mm=0.15))
    for line in sheet.lines:
        moved = wrongs.marks.apply_all(line.points_mm)
        ink[Layer.REGISTRATION].append(polyline(moved, close=False, width_mm=0.15))
    return sheet_file((sheet.width_mm, sheet.height_mm), ink, placed)


def _middle(ring: Sequence[Point]) -> Point:
    return Box.around(ring).centre


@dataclass(frozen=True)
class BudgetRow:
    """One row of the error budget: what was measured, and how far the measuring itself was off."""

    what: str
    error_mm: float


def error_budget() -> tuple[BudgetRow, ...]:
    """How far the method was off on sheets whose errors are known, worst case by kind, in mm."""
    from decalprep.proof.proving import prove

    placements = (Affine(e=20.37, f=220.21), Affine(e=80.11, f=120.43) @ Affine.rotation(90))
    worst: dict[str, float] = {}
    for shape in ("rectangle", "rounded", "notched", "diamond"):
        pdf, job = specimen_job("blank", shape=shape, placements=placements)
        for row in prove(pdf, job).rows:
            for part in row.parts:
                what = part.what.rstrip("0123456789AB ")
                worst[what] = max(worst.get(what, 0.0), part.error_mm)
    for kind in KINDS[:-1]:
        for error in (Affine(), Affine.scaling(1.0002, 0.9999).about(60, 240)):
            pdf, job = specimen_job(
                kind, placements=placements[:1], wrongs=replace(Wrongs(), artwork=error)
            )
            decal = job.decals[0]
            art = prove(pdf, job).rows[0].artwork_mm
            want = (ART_W * error.a, ART_H * error.d)
            off = [abs(a - b) for a, b in zip(art, want, strict=True) if not math.isnan(a)]
            what = f"artwork size, {kind}"
            worst[what] = max([worst.get(what, 0.0), *off])
            assert decal.artwork is not None
    return tuple(BudgetRow(what, error) for what, error in worst.items())
