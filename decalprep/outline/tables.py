"""Named tables of hole sizes in mm, each with how sure we are of it.

Sizes are facts; the marks say where they were seen: 'seen' in the named source (a secondary table
that quotes the standard), 'from memory' with our confidence. No standard's text was read.
"""

from dataclasses import dataclass

from decalprep.model import HoleKind


@dataclass(frozen=True)
class HoleSize:
    """One table row: hole diameters from ``low_mm`` to ``high_mm``, what it is for, how sure."""

    low_mm: float
    high_mm: float
    kind: HoleKind
    name: str
    table: str
    certainty: str

    def away_mm(self, diameter_mm: float) -> float:
        """How far a diameter is outside the row, in mm; 0 inside."""
        return max(self.low_mm - diameter_mm, diameter_mm - self.high_mm, 0.0)

    @property
    def described(self) -> str:
        """Row, size, table and certainty in one line."""
        size = f"{self.low_mm:g}"
        if self.high_mm != self.low_mm:
            size += f"-{self.high_mm:g}"
        return f"{self.name}, {size} mm ({self.table}; {self.certainty})"


ISO_273_MM: dict[str, tuple[float, float, float]] = {
    "M2": (2.2, 2.4, 2.6),
    "M2.5": (2.7, 2.9, 3.1),
    "M3": (3.2, 3.4, 3.6),
    "M3.5": (3.7, 3.9, 4.2),
    "M4": (4.3, 4.5, 4.8),
    "M5": (5.3, 5.5, 5.8),
    "M6": (6.4, 6.6, 7.0),
    "M7": (7.4, 7.6, 8.0),
    "M8": (8.4, 9.0, 10.0),
}
"""Clearance holes fine, medium, coarse: ISO 273, seen in a fastener table; a second page agrees."""

ASME_B18_2_8_MM: dict[str, tuple[float, float, float]] = {
    "#4": (3.0, 3.3, 3.7),
    "#6": (3.9, 4.3, 4.7),
    "#8": (4.6, 5.0, 5.4),
    "#10": (5.2, 5.6, 6.0),
    "1/4-20": (6.7, 7.1, 7.5),
}
"""Close, normal, loose: ASME B18.2.8-1999 (R2017) as given by Machinery's Handbook 31, p. 1743."""

BUSHINGS_MM: dict[str, tuple[float, float]] = {
    "1/4-40 bushing": (6.4, 6.7),
    "3/8-32 bushing": (9.7, 10.3),
    "15/32-32 bushing": (12.0, 12.7),
}
"""Holes for threaded bushings of switches and rotaries; the ranges are from memory."""

COMMAND_DEVICES_MM: dict[str, tuple[float, float]] = {
    "D12 command device": (12.1, 12.3),
    "D16 command device": (16.2, 16.4),
    "D22 command device": (22.3, 22.7),
    "D30 command device": (30.5, 31.0),
}
"""Mounting holes of IEC 60947-5-1 command devices; from memory."""


def _rows() -> tuple[HoleSize, ...]:
    rows = []
    for table, sizes, fits, sure in (
        ("ISO 273", ISO_273_MM, ("fine", "medium", "coarse"), "seen in a secondary table"),
        (
            "ASME B18.2.8",
            ASME_B18_2_8_MM,
            ("close", "normal", "loose"),
            "seen in a handbook, columns garbled",
        ),
    ):
        for thread, holes in sizes.items():
            for fit, size in zip(fits, holes, strict=True):
                name = f"{thread} {fit}"
                rows.append(HoleSize(size, size, HoleKind.SCREW, name, table, sure))
    memory = "from memory, confidence medium"
    for table, spans in (
        ("bushing sizes", BUSHINGS_MM),
        ("IEC 60947-5-1 mounting holes", COMMAND_DEVICES_MM),
    ):
        for name, (low, high) in spans.items():
            rows.append(HoleSize(low, high, HoleKind.SWITCH, name, table, memory))
    return tuple(rows)


HOLE_SIZES: tuple[HoleSize, ...] = _rows()
