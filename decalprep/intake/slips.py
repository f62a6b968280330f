"""Ratios that a known slip leaves between a wrong size and the right one.

Computed from the units themselves and from the page sizes, never typed in. Naming the cause is
weak evidence: many ratios lie near some entry of the table, so callers name at most three and
never rescale by one.
"""

from dataclasses import dataclass

from decalprep.units import MM_PER_IN, MM_PER_PT, MM_PER_PX, PAGE_SIZES_MM, PT_PER_IN, PX_PER_IN

CONFLICT = 0.002
"""Two claims that differ by more than this share of the size are told: 0.2 mm over 100 mm."""

MARGINS_MM = (3.0, 4.0, MM_PER_IN / 6, 5.0, MM_PER_IN / 4, 10.0, 12.7)
TEX_PT_PER_IN = 72.27
OLD_PX_PER_IN = 90.0


@dataclass(frozen=True)
class Slip:
    """One cause and the ratios wrong/right it leaves across and up."""

    cause: str
    across: float
    up: float


def _same(cause: str, ratio: float) -> Slip:
    return Slip(cause, ratio, ratio)


def fit_ratio(
    page: tuple[float, float], onto: tuple[float, float], margin_mm: float = 0.0
) -> float:
    """The scale, as a plain ratio, that fits a page into another less a margin all round.

    The narrower side rules: min((W - 2 m) / w, (H - 2 m) / h).

    >>> round(fit_ratio((210.0, 297.0), (215.9, 279.4)), 6)
    0.940741
    """
    return min((onto[0] - 2 * margin_mm) / page[0], (onto[1] - 2 * margin_mm) / page[1])


def _unit_slips() -> list[Slip]:
    pairs = [
        ("72 dots an inch taken for 96", PT_PER_IN / PX_PER_IN),
        ("90 dots an inch (older SVG editors) taken for 96", OLD_PX_PER_IN / PX_PER_IN),
        ("72 dots an inch taken for 90", PT_PER_IN / OLD_PX_PER_IN),
        ("72 dots an inch taken for 300", PT_PER_IN / 300),
        ("96 dots an inch taken for 300", PX_PER_IN / 300),
        ("inches taken for millimetres", 1 / MM_PER_IN),
        ("centimetres taken for millimetres", 1 / 10),
        ("inches taken for centimetres", 10 / MM_PER_IN),
        ("millimetres taken for points", MM_PER_PT),
        ("millimetres taken for pixels", MM_PER_PX),
        ("printer's points of 1/72.27 in taken for 1/72 in", PT_PER_IN / TEX_PT_PER_IN),
        ("1000 plotter units an inch taken for 1016", 1000 / 1016),
    ]
    return [s for cause, r in pairs for s in (_same(cause, r), _same(f"{cause}, reversed", 1 / r))]


def _page_slips() -> list[Slip]:
    a4, letter, a3 = (PAGE_SIZES_MM[n] for n in ("A4", "Letter", "A3"))
    slips = [
        _same("an A4 page fitted to Letter", fit_ratio(a4, letter)),
        _same("a Letter page fitted to A4", fit_ratio(letter, a4)),
        _same("an A4 page enlarged to A3", fit_ratio(a4, a3)),
        _same("an A3 page reduced to A4", fit_ratio(a3, a4)),
        Slip("an A4 page stretched over Letter", letter[0] / a4[0], letter[1] / a4[1]),
        Slip("a Letter page stretched over A4", a4[0] / letter[0], a4[1] / letter[1]),
    ]
    for margin in MARGINS_MM:
        for name, size in (("A4", a4), ("Letter", letter)):
            cause = f"an {name} page" if name == "A4" else f"a {name} page"
            slips.append(
                _same(
                    f"{cause} fitted inside margins of {margin:.3g} mm",
                    fit_ratio(size, size, margin),
                )
            )
    for margin in (MM_PER_IN / 6, MM_PER_IN / 4):
        inside = f"inside margins of {margin:.3g} mm"
        slips += [
            _same(f"an A4 page fitted to Letter {inside}", fit_ratio(a4, letter, margin)),
            _same(f"a Letter page fitted to A4 {inside}", fit_ratio(letter, a4, margin)),
        ]
    return slips


SLIPS: tuple[Slip, ...] = tuple(_unit_slips() + _page_slips())
"""Every slip known here."""


def slip_causes(across: float, up: float | None = None, *, most: int = 3) -> tuple[str, ...]:
    """Up to ``most`` causes whose ratio lies within 0.2 %, nearest first; ratios wrong/right.

    Does not say that the cause is the true one.

    >>> slip_causes(0.75)
    ('72 dots an inch taken for 96',)
    """
    up = across if up is None else up
    near = []
    for slip in SLIPS:
        off = max(abs(across / slip.across - 1), abs(up / slip.up - 1))
        if off <= CONFLICT:
            near.append((round(off, 9), slip.cause))
    near.sort(key=lambda pair: pair[0])
    return tuple(cause for _, cause in near[:most])


def rounded_page(width_mm: float, height_mm: float) -> str | None:
    """The name of the standard page that this size is when rounded to whole points, if any.

    Does not name a page whose size is exact to 0.001 mm.

    >>> rounded_page(595 * 25.4 / 72, 842 * 25.4 / 72), rounded_page(210.0, 297.0)
    ('A4', None)
    """
    for name, (w, h) in PAGE_SIZES_MM.items():
        for page in ((w, h), (h, w)):
            offs = [abs(width_mm - page[0]), abs(height_mm - page[1])]
            if 0.001 < max(offs) <= 0.6 * MM_PER_PT:
                return name
    return None
