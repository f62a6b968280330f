"""What measuring found: about a printer, and about a part."""

from dataclasses import dataclass, field

from decalprep.geometry import Affine
from decalprep.model.sheet import Margins


@dataclass(frozen=True)
class PrinterRecord:
    """One printer with one stock, tray and quality.

    The model is a plain affine about the sheet's centre, in parts of one:
    printed = true + (scale_x * x + skew * y, scale_y * y), x and y from the sheet's centre, where
    ``scale_x`` 0.001 means 1 mm too long over a metre and ``skew`` leans the y axis to the right.
    ``offset_*`` is the shift of the whole picture on the paper. ``u_*`` are standard uncertainties
    (coverage factor 1), in parts of one, relative to the user's rule; ``u_rule`` is the rule's own.
    ``scatter_*`` is how far one sheet lies from the mean of many (standard deviation); it is no
    part of ``u_*``. ``weight_sheets`` says how many pages the values rest on.
    """

    printer: str
    stock: str
    tray: str = ""
    quality: str = ""
    scale_x: float = 0.0
    scale_y: float = 0.0
    skew: float = 0.0
    offset_x_mm: float = 0.0
    offset_y_mm: float = 0.0
    u_scale_x: float = 0.0
    u_scale_y: float = 0.0
    u_skew: float = 0.0
    u_rule: float = 0.0
    margins: Margins | None = None
    measured_on: str = ""
    weight_sheets: float = 0.0
    history: tuple[tuple[tuple[str, str], ...], ...] = ()
    scatter_scale_x: float = 0.0
    scatter_scale_y: float = 0.0
    scatter_skew: float = 0.0

    @property
    def printed_from_page(self) -> Affine:
        """What the printer does to a page, about the sheet's centre, without the offset."""
        return Affine(a=1 + self.scale_x, c=self.skew, d=1 + self.scale_y)


@dataclass(frozen=True)
class PartRecord:
    """One real part against its model: the same affine form, about the decal frame's origin."""

    part: str
    scale_x: float = 0.0
    scale_y: float = 0.0
    skew: float = 0.0
    u_scale_x: float = 0.0
    u_scale_y: float = 0.0
    u_skew: float = 0.0
    measured_on: str = ""
    same_rule_as_printer: bool = False
    readings: tuple[tuple[str, float, float], ...] = field(default=())

    @property
    def fitted_from_decal(self) -> Affine:
        """Decal as modelled to decal as this part needs it."""
        return Affine(a=1 + self.scale_x, c=self.skew, d=1 + self.scale_y)


@dataclass(frozen=True)
class ScannerRecord:
    """One flatbed scanner at one resolution setting, as a pair of calibration scans showed it.

    ``px_per_mm`` are true pixels per mm of mean scale with the relative standard uncertainty ``u``,
    relative to the user's rule. ``anisotropy`` and ``shear`` are in parts of one, ``lens*_mm`` at
    100 mm from the middle of the bed.
    """

    scanner: str
    dpi: float
    px_per_mm: float
    u: float
    anisotropy: float = 0.0
    shear: float = 0.0
    lens2_mm: float = 0.0
    lens3_mm: float = 0.0
    measured_on: str = ""
