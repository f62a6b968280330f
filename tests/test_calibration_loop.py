"""The loop: corrections compose, records learn by weight, and say when there is nothing to gain."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from virtual.hand import Press, draw_press, read

from decalprep.calibration import (
    VERNIER,
    Estimate,
    LoopSettings,
    PageReadings,
    Reading,
    check_record,
    correction_for,
    estimate_printer,
    expected_error,
    gain_of,
    printer_seen,
    update_record,
)
from decalprep.errors import UsageProblem
from decalprep.geometry import Affine
from decalprep.marks.calibration_page_layout import target_layout
from decalprep.model import PrinterRecord, Sheet

A4 = Sheet("A4", 210, 297)
LAYOUT = target_layout(A4, record_name="r", correction=Affine())
error = st.floats(-0.012, 0.012)


def linear(m: Affine) -> np.ndarray:
    return np.array([[m.a, m.c], [m.b, m.d]])


def exact(sx: float, sy: float, skew: float, u: float = 1e-4) -> Estimate:
    cov = tuple(tuple(u * u if i == j else 0.0 for j in range(3)) for i in range(3))
    return Estimate(sx, sy, skew, cov, 13, 0.1, 0.0)  # type: ignore[arg-type]


def measured(press: Press, correction: Affine, rng: np.random.Generator, sigma: float) -> Estimate:
    rows = read(press, rng, sigma_mm=sigma, step_mm=1e-7, drawn_by=linear(correction))
    lengths = tuple(Reading(n, v, f"{v:g}") for n, v in rows)
    return estimate_printer(
        PageReadings(lengths, hand=VERNIER), LAYOUT, accept=frozenset({"misfit", "dialog-scaling"})
    )


@given(error, error, st.floats(-0.006, 0.006), st.floats(0, 210), st.floats(0, 297))
def test_a_correction_and_a_print_with_that_error_give_back_every_point(
    sx: float, sy: float, skew: float, x: float, y: float
) -> None:
    record = PrinterRecord("p", "s", scale_x=sx, scale_y=sy, skew=skew)
    page_x, page_y = correction_for(record, A4).apply(x, y)
    # The printer, written out by hand: about the middle of the sheet.
    u, v = page_x - 105.0, page_y - 148.5
    assert 105.0 + u + sx * u + skew * v == pytest.approx(x, abs=1e-9)
    assert 148.5 + v + sy * v == pytest.approx(y, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(error, error, st.floats(-0.006, 0.006), st.integers(0, 2**31))
def test_measure_correct_measure_again_ends_at_identity(
    sx: float, sy: float, skew: float, seed: int
) -> None:
    press = Press(scale_x=sx, scale_y=sy, skew=skew)
    rng = np.random.default_rng(seed)
    record = PrinterRecord("p", "s")
    first = measured(press, Affine(), rng, 0.05)
    record = update_record(record, first, Affine(), measured_on="2026-01-01").record
    again = measured(press, correction_for(record, A4), rng, 0.0)
    left = np.array([again.scale_x, again.scale_y, again.skew])
    assert np.all(np.abs(left) < 6 * np.array(first.u) + 1e-8)


@given(error, error, st.floats(-0.006, 0.006), error, error, st.floats(-0.006, 0.006))
def test_the_printer_is_seen_through_any_correction(
    sx: float, sy: float, k: float, cx: float, cy: float, ck: float
) -> None:
    printer = np.array([[1 + sx, k], [0, 1 + sy]])
    correction = np.linalg.inv(np.array([[1 + cx, ck], [0, 1 + cy]]))
    out = printer @ correction
    estimate = exact(out[0, 0] - 1, out[1, 1] - 1, out[0, 1])
    c = Affine(a=correction[0, 0], c=correction[0, 1], d=correction[1, 1])
    seen = printer_seen(estimate, c)
    assert (seen.scale_x, seen.scale_y, seen.skew) == pytest.approx((sx, sy, k), abs=1e-12)


def test_more_sheets_bring_the_record_nearer_the_printer() -> None:
    rng = np.random.default_rng(17)
    scatter = np.array([200e-6, 200e-6, 100e-6])
    errors: dict[int, list[np.ndarray]] = {1: [], 2: [], 3: []}
    held = np.zeros(3)
    for _ in range(120):
        press = draw_press(rng, 0.003)
        mean = np.array([press.scale_x, press.scale_y, press.skew])
        record = PrinterRecord("p", "s")
        for sheet in (1, 2, 3):
            dx, dy, dk = rng.normal(0, scatter)
            now = Press(press.scale_x + dx, press.scale_y + dy, press.skew + dk)
            c = correction_for(record, A4) if sheet > 1 else Affine()
            record = update_record(
                record, measured(now, c, rng, 0.07), c, measured_on=f"2026-01-0{sheet}"
            ).record
            found = np.array([record.scale_x, record.scale_y, record.skew])
            errors[sheet].append(found - mean)
        u = np.array([record.u_scale_x, record.u_scale_y, record.u_skew])
        held += np.abs(errors[3][-1]) < 2 * u
    spread = {k: np.sqrt(np.mean(np.square(v), axis=0)) for k, v in errors.items()}
    assert np.all(spread[2] < 0.9 * spread[1])
    assert np.all(spread[3] < 0.95 * spread[2])
    assert spread[2].max() < 300e-6
    assert spread[3].max() < 240e-6
    assert np.all(held > 0.9 * 120), held
    # Three sheets, the older ones faded a little.
    assert 2.4 < record.weight_sheets < 3.01
    assert len(record.history) == 3


def test_old_readings_fade() -> None:
    old = update_record(
        PrinterRecord("p", "s"), exact(0.001, 0, 0), Affine(), measured_on="2024-01-01"
    ).record
    soon = update_record(old, exact(0.002, 0, 0), Affine(), measured_on="2024-01-02").record
    late = update_record(old, exact(0.002, 0, 0), Affine(), measured_on="2026-01-02").record
    assert 0.0014 < soon.scale_x < 0.00155
    assert late.scale_x > soon.scale_x + 0.0001
    assert late.u_scale_x > soon.u_scale_x


def test_scatter_between_sheets_is_kept_apart_from_the_mean() -> None:
    settings_ = LoopSettings(jump=50)
    wild = calm = PrinterRecord("p", "s")
    for day, value in enumerate((0.001, 0.003, 0.0, 0.002, 0.001, 0.004), start=1):
        date = f"2026-02-0{day}"
        wild = update_record(
            wild, exact(value, 0, 0), Affine(), measured_on=date, settings=settings_
        ).record
        calm = update_record(
            calm, exact(0.002, 0, 0), Affine(), measured_on=date, settings=settings_
        ).record
    assert wild.scatter_scale_x > 0.0007
    assert calm.scatter_scale_x < 0.0002
    assert wild.scatter_scale_y < 0.0002
    over = expected_error(wild, 200, 100)
    assert over.sheet_x_mm > over.sheet_y_mm
    assert over.x_mm == pytest.approx(math.hypot(over.mean_x_mm, over.sheet_x_mm, over.rule_x_mm))


def test_a_changed_printer_starts_again_and_says_so() -> None:
    record = update_record(
        PrinterRecord("p", "s"), exact(0.001, 0, 0), Affine(), measured_on="2026-01-01"
    ).record
    changed = update_record(record, exact(0.006, 0, 0), Affine(), measured_on="2026-01-02")
    assert changed.record.scale_x == pytest.approx(0.006)
    assert [n.code for n in changed.notices] == ["printer-changed"]
    assert "scale x" in changed.notices[0].text


def test_nothing_to_gain_is_said_in_mm() -> None:
    assert not gain_of(exact(0.0001, -0.0001, 0.0, u=0.0003)).worthwhile
    assert "nothing to gain" in gain_of(exact(0.0001, 0, 0, u=0.0003)).text
    assert "0.15 mm" in gain_of(exact(0.0001, 0, 0, u=0.0003)).text
    assert gain_of(exact(0.001, 0, 0, u=0.0003)).worthwhile
    assert "1.00 mm over 250 mm" in gain_of(exact(0.004, 0, 0, u=0.0003)).text


def test_age_and_stock_are_told() -> None:
    record = PrinterRecord(
        "desk", "label", "rear", "best", measured_on="2026-01-01", weight_sheets=1
    )
    assert check_record(record, today="2026-02-01", stock="Label", tray="rear") == ()
    codes = [
        n.code
        for n in check_record(record, today="2026-12-01", stock="plain", tray="front", quality="x")
    ]
    assert codes == ["stock-changed", "tray-changed", "quality-changed", "record-old"]
    assert [
        n.code for n in check_record(PrinterRecord("a", "b"), today="2026-01-01", stock="b")
    ] == ["not-calibrated"]
    ahead = check_record(record, today="2025-01-01", stock="label")
    assert [n.code for n in ahead] == ["record-from-the-future"]


def test_the_same_rule_for_part_and_page_cancels_its_error() -> None:
    record = PrinterRecord("p", "s", u_scale_x=1e-4, u_scale_y=1e-4, u_rule=1e-3)
    apart, same = expected_error(record, 200, 100), expected_error(record, 200, 100, same_rule=True)
    assert same.rule_x_mm == 0
    assert same.x_mm < apart.x_mm
    assert apart.rule_x_mm == pytest.approx(0.4)


def test_offset_only_when_asked() -> None:
    record = PrinterRecord("p", "s", offset_x_mm=1.0, offset_y_mm=-2.0)
    assert correction_for(record, A4) == Affine()
    assert correction_for(record, A4, with_offset=True).apply(50, 50) == (49.0, 52.0)
    assert correction_for(None, A4) == Affine()


def test_dates_are_checked() -> None:
    with pytest.raises(UsageProblem, match="not a date"):
        update_record(PrinterRecord("p", "s"), exact(0, 0, 0), Affine(), measured_on="today")
    with pytest.raises(UsageProblem, match="before the record's last"):
        update_record(
            PrinterRecord("p", "s", measured_on="2026-02-01"),
            exact(0, 0, 0),
            Affine(),
            measured_on="2026-01-01",
        )


def test_offset_and_margins_reach_the_record() -> None:
    from decalprep.calibration import parse_readings

    text = (
        "across1=170 across2=170 down1=255 down2=255 diag1=277.2 diag2=277.2 edge_left=10.6 "
        "edge_right=9.8 edge_top=9,0 margin_left=4 margin_bottom=12 margin_right=4 margin_top=4"
    )
    estimate = estimate_printer(parse_readings(text, LAYOUT.baselines), LAYOUT)
    record = update_record(
        PrinterRecord("p", "s"), estimate, Affine(), measured_on="2026-01-01"
    ).record
    assert (record.offset_x_mm, record.offset_y_mm) == pytest.approx((0.4, 1.0))
    assert record.margins is not None
    assert record.margins.bottom_mm == 12
