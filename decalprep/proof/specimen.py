"""A sheet made byte by byte, with known errors put in on purpose: what the proof is tried on.

Written for the proof alone and unlike the writer in every way: so that the proof's own accuracy
is a measured number.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from decalprep.geometry import Affine, Arc, Cubic, Segment, circle_path
from decalprep.units import pt_from_mm

PREFERENCES = (
    "<< /PrintScaling /None /Enforce [/PrintScaling] /PickTrayByPDFSize true /Duplex /Simplex >>"
)


@dataclass(frozen=True)
class Form:
    """One picture as a form XObject: content in its own units, size of its box, extra objects.

    ``resources`` may name extra objects as ``{name}``; ``extras`` holds their bodies.
    """

    content: bytes
    box: tuple[float, float]
    resources: str = "<< >>"
    extras: Mapping[str, bytes] = field(default_factory=dict)


def stream(data: bytes, entries: str = "") -> bytes:
    """The body of a stream object."""
    packed = zlib.compress(data)
    head = f"<< /Length {len(packed)} /Filter /FlateDecode {entries} >>\nstream\n".encode()
    return head + packed + b"\nendstream"


def numbers(m: Affine) -> str:
    """An affine map as six numbers, nine decimals."""
    return " ".join(f"{v:.9f}" for v in m.as_tuple())


def polyline(points_mm: Sequence[tuple[float, float]], *, close: bool, width_mm: float) -> str:
    """A stroked line through points in page mm."""
    pt = [(pt_from_mm(x), pt_from_mm(y)) for x, y in points_mm]
    moves = [f"{x:.6f} {y:.6f} {'m' if i == 0 else 'l'}" for i, (x, y) in enumerate(pt)]
    return f"{pt_from_mm(width_mm):.6f} w {' '.join(moves)} {'s' if close else 'S'}"


def round_line(m: Affine, x: float, y: float, diameter: float, *, width_mm: float) -> str:
    """A stroked circle as twelve cubic curves, given in mm and laid on the page by ``m``."""
    pieces = [p for half in circle_path(x, y, diameter).segments for p in _cubics(half)]
    words = []
    for k, piece in enumerate(pieces):
        points = [m.apply(*p) for p in (piece.start, piece.control1, piece.control2, piece.end)]
        pt = [f"{pt_from_mm(px):.6f} {pt_from_mm(py):.6f}" for px, py in points]
        if k == 0:
            words.append(f"{pt[0]} m")
        words.append(f"{pt[1]} {pt[2]} {pt[3]} c")
    return f"{pt_from_mm(width_mm):.6f} w {' '.join(words)} s"


def _cubics(piece: Segment) -> list[Cubic]:
    return piece.cubics() if isinstance(piece, Arc) else []


class Objects:
    """Numbered objects of a file in the making."""

    def __init__(self) -> None:
        self.bodies: list[bytes] = []

    def add(self, body: bytes | str) -> int:
        """Number of the new object."""
        self.bodies.append(body.encode("latin-1") if isinstance(body, str) else body)
        return len(self.bodies)

    def form(self, form: Form) -> int:
        """Number of the form XObject."""
        named = {name: f"{self.add(body)} 0 R" for name, body in form.extras.items()}
        resources = form.resources
        for name, reference in named.items():
            resources = resources.replace("{" + name + "}", reference)
        w, h = form.box
        entries = (
            f"/Type /XObject /Subtype /Form /BBox [0 0 {w:.6f} {h:.6f}] /Resources {resources}"
        )
        return self.add(stream(form.content, entries))

    def file(self, root: int, version: str = "1.7") -> bytes:
        """The whole file."""
        out = bytearray(f"%PDF-{version}\n%\xe2\xe3\xcf\xd3\n".encode("latin-1"))
        places = []
        for number, body in enumerate(self.bodies, 1):
            places.append(len(out))
            out += f"{number} 0 obj\n".encode() + body + b"\nendobj\n"
        start = len(out)
        out += f"xref\n0 {len(places) + 1}\n0000000000 65535 f \n".encode()
        out += b"".join(f"{place:010d} 00000 n \n".encode() for place in places)
        out += f"trailer << /Size {len(places) + 1} /Root {root} 0 R >>\n".encode()
        out += f"startxref\n{start}\n%%EOF\n".encode()
        return bytes(out)


def one_page(form: Form) -> bytes:
    """A one-page file that shows a form at its own size (the reference artwork)."""
    objects = Objects()
    number = objects.form(form)
    content = objects.add(stream(b"/A Do"))
    w, h = form.box
    page = objects.add(
        f"<< /Type /Page /Parent {len(objects.bodies) + 2} 0 R /MediaBox [0 0 {w:.6f} {h:.6f}] "
        f"/Contents {content} 0 R /Resources << /XObject << /A {number} 0 R >> >> >>"
    )
    pages = objects.add(f"<< /Type /Pages /Kids [{page} 0 R] /Count 1 >>")
    return objects.file(objects.add(f"<< /Type /Catalog /Pages {pages} 0 R >>"))


@dataclass(frozen=True)
class Placed:
    """A form on a layer: page points from form units, and an optional clip polygon (page mm)."""

    form: Form
    page_from_form: Affine
    layer: str = "artwork"
    clip_mm: tuple[tuple[float, float], ...] = ()


def sheet_file(
    size_mm: tuple[float, float],
    ink: Mapping[str, Sequence[str]],
    placed: Sequence[Placed] = (),
    *,
    preferences: str = PREFERENCES,
    page_entries: str = "",
    catalogue_entries: str = "",
) -> bytes:
    """A one-page sheet: content by layer name, and placed forms, each layer a group of its own."""
    objects = Objects()
    names = list(dict.fromkeys([*(p.layer for p in placed), *ink]))
    groups = {n: objects.add(f"<< /Type /OCG /Name ({n}) >>") for n in names}
    keys = {n: f"L{i}" for i, n in enumerate(names)}
    forms: dict[int, int] = {}
    content: list[str] = []
    for item in placed:
        forms.setdefault(id(item.form), 0)
        if not forms[id(item.form)]:
            forms[id(item.form)] = objects.form(item.form)
        clip = polyline(item.clip_mm, close=True, width_mm=1)[:-1] + "h W n" if item.clip_mm else ""
        content.append(
            f"/OC /{keys[item.layer]} BDC q {clip} {numbers(item.page_from_form)} cm "
            f"/F{forms[id(item.form)]} Do Q EMC"
        )
    for name, pieces in ink.items():
        content.append(f"/OC /{keys[name]} BDC q {' '.join(pieces)} Q EMC")
    body = objects.add(stream("\n".join(content).encode()))
    properties = " ".join(f"/{keys[n]} {groups[n]} 0 R" for n in names)
    xobjects = " ".join(f"/F{n} {n} 0 R" for n in forms.values())
    w, h = (pt_from_mm(v) for v in size_mm)
    page = objects.add(
        f"<< /Type /Page /Parent {len(objects.bodies) + 2} 0 R /MediaBox [0 0 {w:.6f} {h:.6f}] "
        f"/Contents {body} 0 R /Resources << /Properties << {properties} >> "
        f"/XObject << {xobjects} >> >> {page_entries} >>"
    )
    pages = objects.add(f"<< /Type /Pages /Kids [{page} 0 R] /Count 1 >>")
    every = " ".join(f"{g} 0 R" for g in groups.values())
    root = objects.add(
        f"<< /Type /Catalog /Pages {pages} 0 R /ViewerPreferences {preferences} "
        f"/OCProperties << /OCGs [{every}] /D << /Order [{every}] >> >> {catalogue_entries} >>"
    )
    return objects.file(root)
