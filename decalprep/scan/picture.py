"""The picture of a measured print: the scan with every outline coloured by its verdict."""

import io

import cv2
import numpy as np
from PIL import Image

from decalprep.scan.findings import ExpectedPrint, MeasuredDecal, PrintFinding, Verdict
from decalprep.scan.images import ScanImage

_COLOURS = {
    Verdict.GOOD: (0, 140, 60),
    Verdict.BAD: (210, 0, 0),
    Verdict.OPEN: (200, 120, 0),
    Verdict.UNSEEN: (120, 120, 120),
}
_LONG_SIDE_PX = 1600


def print_picture(scan: ScanImage, expected: ExpectedPrint, finding: PrintFinding) -> bytes:
    """A PNG of the first scan, outlines green, red, amber or grey, verdict and errors in words.

    The colour is never the only sign: each decal bears its verdict as text.
    """
    shrink = min(1.0, _LONG_SIDE_PX / max(scan.grey.shape))
    size = (round(scan.grey.shape[1] * shrink), round(scan.grey.shape[0] * shrink))
    pale = 128 + cv2.resize(scan.grey, size, interpolation=cv2.INTER_AREA) // 2
    canvas = np.repeat(pale[:, :, None], 3, axis=2).astype(np.uint8)
    for decal, measured in zip(expected.decals, finding.decals, strict=True):
        colour = _COLOURS[measured.verdict]
        px = np.array(finding.image_from_mm.apply_all(decal.outline)) * shrink
        way = np.round((px - 0.5) * 16).astype(np.int32)
        cv2.polylines(canvas, [way], True, colour, 2, cv2.LINE_AA, 4)
        middle = (px.min(axis=0) + px.max(axis=0)) / 2
        for k, line in enumerate(_words(measured)):
            wide = cv2.getTextSize(line, cv2.FONT_HERSHEY_SIMPLEX, 0.5, 1)[0][0]
            at = (int(middle[0] - wide / 2), int(middle[1] + 20 * (k - 1)))
            cv2.putText(canvas, line, at, cv2.FONT_HERSHEY_SIMPLEX, 0.5, colour, 1, cv2.LINE_AA)
    out = io.BytesIO()
    Image.fromarray(canvas).save(out, "PNG")
    return out.getvalue()


def _words(measured: MeasuredDecal) -> tuple[str, ...]:
    title = f"{measured.name} #{measured.copy}: {measured.verdict.value}"
    # The drawing font knows plain letters only.
    plain = title.encode("ascii", "replace").decode()
    if measured.verdict is Verdict.UNSEEN:
        return (plain,)
    return (
        plain,
        f"across {measured.error_x_mm:+.2f} mm (+/- {measured.range_x_mm:.2f})",
        f"up {measured.error_y_mm:+.2f} mm (+/- {measured.range_y_mm:.2f})",
    )
