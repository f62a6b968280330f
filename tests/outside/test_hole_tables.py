"""Hole classes against published tables.

Sources: ISO 273 clearance holes as tabled at engineeringhardware.com (seen; a second page agrees
M2-M10); ASME B18.2.8-1999 (R2017) from Machinery's Handbook 31, p. 1743, table 3a (seen, columns
garbled in the text); 15/32-32 and 3/8-32 thread major diameters are exact inch fractions
(Unified thread designation); bushing hole ranges and IEC 60947-5-1 mounting holes from memory.
"""

import pytest

from decalprep.model import HoleKind
from decalprep.outline import HOLE_SIZES, class_of

# thread: fine (H12), medium (H13), coarse (H14), mm
ISO_273 = {
    "M2": (2.2, 2.4, 2.6),
    "M2.5": (2.7, 2.9, 3.1),
    "M3": (3.2, 3.4, 3.6),
    "M3.5": (3.7, 3.9, 4.2),
    "M4": (4.3, 4.5, 4.8),
    "M5": (5.3, 5.5, 5.8),
    "M8": (8.4, 9.0, 10.0),
}


@pytest.mark.parametrize(
    ("thread", "size"),
    [(t, s) for t, sizes in ISO_273.items() for s in sizes if (t, s) != ("M8", 10.0)],
)
def test_iso_273_holes_are_screws(thread, size):
    kind, by = class_of(size)
    assert kind is HoleKind.SCREW
    assert f"{thread} " in by
    assert "ISO 273" in by
    assert "seen" in by


def test_m8_coarse_is_a_rotary_bushing_hole_too_and_both_are_named():
    kind, by = class_of(10.0)
    assert kind is HoleKind.SWITCH
    assert "3/8-32" in by
    assert "M8 coarse" in by


@pytest.mark.parametrize(
    ("size", "screw"), [(3.0, "#4 close"), (5.0, "#8 normal"), (7.1, "1/4-20")]
)
def test_unified_screws(size, screw):
    kind, by = class_of(size)
    assert kind is HoleKind.SCREW
    assert screw in by


@pytest.mark.parametrize(
    ("major_in", "name"), [(1 / 4, "1/4-40"), (3 / 8, "3/8-32"), (15 / 32, "15/32-32")]
)
def test_bushing_holes_clear_the_thread(major_in, name):
    # the hole must be larger than the thread's major diameter: 6.350, 9.525, 11.906 mm
    row = next(r for r in HOLE_SIZES if r.name.startswith(name))
    assert row.low_mm > major_in * 25.4
    assert "from memory" in row.certainty


@pytest.mark.parametrize(
    ("size", "name"), [(12.2, "15/32-32"), (16.2, "D16"), (22.3, "D22"), (30.5, "D30")]
)
def test_switch_holes(size, name):
    kind, by = class_of(size)
    assert kind is HoleKind.SWITCH
    assert name in by
    assert "from memory" in by


def test_rows_carry_their_certainty_and_fine_medium_coarse_grow():
    assert all(r.certainty and r.table for r in HOLE_SIZES)
    for sizes in ISO_273.values():
        assert list(sizes) == sorted(sizes)


@pytest.mark.parametrize("size", [1.0, 8.15, 14.0, 57.15, 79.375])
def test_sizes_in_no_table_stay_free_and_say_so(size):
    assert class_of(size) == (HoleKind.FREE, f"no table row within 0.1 mm of {size:.2f} mm")
