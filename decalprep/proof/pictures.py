"""Pictures of the finished sheets, drawn by the proof itself, with what was measured on top."""

from __future__ import annotations

from collections.abc import Collection

import cv2
import numpy as np

from decalprep.errors import InputProblem
from decalprep.geometry import Box
from decalprep.proof.expected import ExpectedJob
from decalprep.proof.layers import Layered
from decalprep.proof.render import Picture, open_pdf
from decalprep.proof.result import Proof
from decalprep.units import px_from_mm

GREEN, RED = (60, 140, 0), (30, 30, 220)  # BGR
MOST_PX = 100_000_000


def sheet_picture(
    pdf: bytes,
    page: int,
    *,
    dpi: float = 150.0,
    expected: ExpectedJob | None = None,
    proof: Proof | None = None,
    layers: Collection[str] | None = None,
) -> bytes:
    """PNG bytes of one sheet; with a proof, each expected outline in green, or red where it failed.

    ``layers`` shows only these layers (all of them if None).

    Raises:
        InputProblem: the file or page cannot be drawn, or the picture would be too large.
    """
    shown = pdf if layers is None else Layered(pdf).only(layers)
    with open_pdf(shown, where="exported PDF") as opened:
        if not 0 <= page < opened.pages:
            raise InputProblem(f"the file has no page {page + 1}")
        width, height = opened.size_mm(page)
        if px_from_mm(width, dpi) * px_from_mm(height, dpi) > MOST_PX:
            raise InputProblem(f"a picture at {dpi:g} dpi is too large", do="use fewer dpi")
        picture = opened.crop(page, Box(0, 0, width, height), dpi, turn_deg=0.0)
    if expected is not None and proof is not None:
        _overlay(picture, page, expected, proof)
    return _png(picture)


def place_picture(
    pdf: bytes, page: int, box_mm: Box, *, dpi: float = 300.0, grow_mm: float = 2.0
) -> bytes:
    """PNG bytes of one place on a sheet and a little round it.

    Raises:
        InputProblem: as ``sheet_picture``.
    """
    box = box_mm.grown(grow_mm)
    if px_from_mm(box.width, dpi) * px_from_mm(box.height, dpi) > MOST_PX:
        raise InputProblem(f"a picture at {dpi:g} dpi is too large", do="use fewer dpi")
    with open_pdf(pdf, where="exported PDF") as opened:
        if not 0 <= page < opened.pages:
            raise InputProblem(f"the file has no page {page + 1}")
        return _png(opened.crop(page, box, dpi, turn_deg=0.0))


def _overlay(picture: Picture, page: int, expected: ExpectedJob, proof: Proof) -> None:
    passed = {(row.decal, row.copy): row.passed for row in proof.rows}
    for decal in expected.decals:
        if decal.page != page:
            continue
        colour = GREEN if passed.get((decal.name, decal.copy)) else RED
        for shape in (decal.outline_mm, *(hole.contour_mm for hole in decal.holes)):
            points = np.array(picture.picture_from_page.apply_all(shape))
            ring = np.rint(points * 16 - 8).astype(np.int32)
            cv2.polylines(picture.pixels, [ring], True, colour, 2, cv2.LINE_AA, shift=4)


def _png(picture: Picture) -> bytes:
    done, data = cv2.imencode(".png", picture.pixels)
    if not done:
        raise InputProblem("the picture cannot be written as PNG")
    return bytes(data.tobytes())
