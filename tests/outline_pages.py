"""Small PDF pages drawn in mm for the outline tests, written as plain content streams."""

import io
import math

import numpy as np
import pikepdf

from decalprep.model import Artwork
from decalprep.pdfstream import PageContents, read_page

PT = 72 / 25.4
KAPPA = 4 / 3 * math.tan(math.pi / 8)


def artwork(
    width_mm: float,
    height_mm: float,
    drawing: str,
    *,
    layers: tuple[str, ...] = (),
    hidden: tuple[str, ...] = (),
    spots: tuple[str, ...] = (),
    name: str = "test",
) -> Artwork:
    """A page whose content is in mm; ``on(name, ...)`` puts things on a layer."""
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(width_mm * PT, height_mm * PT))
    page = pdf.pages[0].obj
    page.MediaBox = pikepdf.Array([0, 0, width_mm * PT, height_mm * PT])
    groups = [
        pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.OCG, Name=pikepdf.String(n)))
        for n in layers
    ]
    resources = pikepdf.Dictionary(
        Font=pikepdf.Dictionary(
            F1=pikepdf.Dictionary(
                Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name.Helvetica
            )
        )
    )
    if groups:
        resources.Properties = pikepdf.Dictionary(
            {f"/L{k}": group for k, group in enumerate(groups)}
        )
        off = [g for g, n in zip(groups, layers, strict=True) if n in hidden]
        pdf.Root.OCProperties = pikepdf.Dictionary(
            OCGs=pikepdf.Array(groups),
            D=pikepdf.Dictionary(Order=pikepdf.Array(groups), OFF=pikepdf.Array(off)),
        )
    if spots:
        tint = pikepdf.Dictionary(
            FunctionType=2,
            Domain=pikepdf.Array([0, 1]),
            C0=pikepdf.Array([1, 1, 1]),
            C1=pikepdf.Array([1, 0, 1]),
            N=1,
        )
        resources.ColorSpace = pikepdf.Dictionary(
            {
                f"/S{k}": pikepdf.Array(
                    [pikepdf.Name.Separation, pikepdf.Name("/" + s), pikepdf.Name.DeviceRGB, tint]
                )
                for k, s in enumerate(spots)
            }
        )
    page.Resources = resources
    for k, layer in enumerate(layers):
        drawing = drawing.replace(f"<<{layer}>>", f"/OC /L{k} BDC")
    page.Contents = pdf.make_stream(f"{PT:.10f} 0 0 {PT:.10f} 0 0 cm\n{drawing}".encode())
    out = io.BytesIO()
    pdf.save(out)
    return Artwork(
        name, f"{name}.pdf", "pdf", out.getvalue(), width_mm * PT, height_mm * PT,
        width_mm, height_mm, layers=layers,
    )  # fmt: skip


def picture(
    pixels: np.ndarray, width_mm: float, height_mm: float, *, alpha: bool = False
) -> Artwork:
    """A page filled by one image (RGB, or RGBA with its alpha as soft mask)."""
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(width_mm * PT, height_mm * PT))
    rows, columns = pixels.shape[:2]
    image = pdf.make_stream(
        np.ascontiguousarray(pixels[..., :3]).tobytes(),
        Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=columns, Height=rows,
        ColorSpace=pikepdf.Name.DeviceRGB, BitsPerComponent=8,
    )  # fmt: skip
    if alpha:
        image.SMask = pdf.make_stream(
            np.ascontiguousarray(pixels[..., 3]).tobytes(),
            Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=columns, Height=rows,
            ColorSpace=pikepdf.Name.DeviceGray, BitsPerComponent=8,
        )  # fmt: skip
    page = pdf.pages[0].obj
    page.MediaBox = pikepdf.Array([0, 0, width_mm * PT, height_mm * PT])
    page.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im=image))
    page.Contents = pdf.make_stream(
        f"{width_mm * PT:.6f} 0 0 {height_mm * PT:.6f} 0 0 cm /Im Do".encode()
    )
    out = io.BytesIO()
    pdf.save(out)
    return Artwork(
        "picture", "picture.png", "raster", out.getvalue(), width_mm * PT, height_mm * PT,
        width_mm, height_mm, pixels=(columns, rows),
    )  # fmt: skip


def contents_of(art: Artwork) -> PageContents:
    """What the page paints."""
    return read_page(art.page_pdf)


def on(layer: str, drawing: str) -> str:
    """The drawing on a layer."""
    return f"<<{layer}>>\n{drawing}\nEMC\n"


def circle(x: float, y: float, d: float) -> str:
    """Path operators of a circle as four cubics."""
    r, k = d / 2, KAPPA * d / 2
    return (
        f"{x + r:.9f} {y:.9f} m "
        f"{x + r:.9f} {y + k:.9f} {x + k:.9f} {y + r:.9f} {x:.9f} {y + r:.9f} c "
        f"{x - k:.9f} {y + r:.9f} {x - r:.9f} {y + k:.9f} {x - r:.9f} {y:.9f} c "
        f"{x - r:.9f} {y - k:.9f} {x - k:.9f} {y - r:.9f} {x:.9f} {y - r:.9f} c "
        f"{x + k:.9f} {y - r:.9f} {x + r:.9f} {y - k:.9f} {x + r:.9f} {y:.9f} c h "
    )


def polygon(*points: tuple[float, float]) -> str:
    """Path operators of a closed polygon."""
    (x, y), *rest = points
    return f"{x} {y} m " + " ".join(f"{u} {v} l" for u, v in rest) + " h "


def rect(x: float, y: float, w: float, h: float) -> str:
    """Path operators of a rectangle."""
    return f"{x} {y} {w} {h} re "


def stroked(path: str, width: float = 0.1, rgb: str = "0 0 0") -> str:
    """Stroke it."""
    return f"q {rgb} RG {width} w {path} S Q\n"


def filled(path: str, rgb: str = "0.2 0.2 0.25", *, even_odd: bool = False) -> str:
    """Fill it."""
    return f"q {rgb} rg {path} {'f*' if even_odd else 'f'} Q\n"


def text(x: float, y: float, words: str, size: float = 4, rgb: str = "1 1 1") -> str:
    """One line of Helvetica."""
    return f"BT {rgb} rg /F1 {size} Tf {x} {y} Td ({words}) Tj ET\n"


def codes(notices: tuple) -> set[str]:  # type: ignore[type-arg]
    """The notices' codes."""
    return {n.code for n in notices}
