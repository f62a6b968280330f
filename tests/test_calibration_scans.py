"""Scans at 0 and 90 degrees: printer and scanner told apart, uncertainty honest, misuse refused."""

import math
from dataclasses import replace

import numpy as np
import pytest
from virtual.hand import Press, read, uneven_press
from virtual.pages import parts, picture
from virtual.scanner import Bed, disc_centres, draw_bed

from decalprep.calibration import (
    VERNIER,
    PageReadings,
    Reading,
    ScanPoints,
    coverage_factor,
    estimate_printer,
    shape_from_scans,
)
from decalprep.errors import ReadingsRefused
from decalprep.scan import ScanImage, find_page

LAYOUT = parts()[0]
DISCS = np.array(LAYOUT.discs)
ALL = frozenset({"misfit", "dialog-scaling"})


def points(
    press: Press, bed: Bed, rng: np.random.Generator, turn: float, toner: np.ndarray
) -> ScanPoints:
    """Scan points without drawing: true places through printer and scanner, plus pixel noise."""
    shift = tuple(rng.normal(0, 2, 2))
    found = disc_centres(press, bed, DISCS, rng, turn_deg=turn, shift_mm=shift, toner=toner)
    px = bed.dpi / 25.4
    wide, high = round(bed.width_mm * px), round(bed.height_mm * px)
    image = np.column_stack([found[:, 0] - wide / 2, high / 2 - found[:, 1]])
    inside = np.all(np.abs(image) < np.array([wide, high]) / 2 - 40, axis=1)
    page = DISCS - np.array(LAYOUT.centre)
    columns = sorted(set(np.round(DISCS[:, 0], 3)))
    return ScanPoints(
        f"scan at {turn:.0f}",
        tuple(map(tuple, page[inside].tolist())),
        tuple(map(tuple, image[inside].tolist())),
        tuple(np.array(LAYOUT.disc_rows)[inside].tolist()),
        tuple(columns.index(round(x, 3)) for x in DISCS[inside][:, 0]),
        turn,
        (px, px),
        (wide, high),
        page="A4",
    )


def pair(press: Press, bed: Bed, rng: np.random.Generator) -> list[ScanPoints]:
    toner = rng.normal(0, 0.01, DISCS.shape)
    turns = (float(rng.normal(0, 0.5)), float(90 + rng.normal(0, 0.5)))
    return [points(press, bed, rng, turn, toner) for turn in turns]


def shape_truth(press: Press) -> np.ndarray:
    mean = 1 + (press.scale_x + press.scale_y) / 2
    return np.array([(1 + press.scale_y) / (1 + press.scale_x) - 1, press.skew / mean])


def test_exact_places_give_the_exact_shape_whatever_the_scanner() -> None:
    press = Press(scale_x=0.006, scale_y=-0.004, skew=0.003)
    bed = Bed(scale_u=0.004, scale_v=-0.001, shear=0.001, lens2_mm=0.2, lens3_mm=-0.3)
    rng = np.random.default_rng(1)
    none = np.zeros(DISCS.shape)
    found = shape_from_scans([points(press, bed, rng, t, none) for t in (0.4, 89.0)])
    truth = shape_truth(press)
    # 0.02 px of noise in each place is all that is left.
    assert np.abs(np.array([found.shape.ratio, found.shape.skew]) - truth).max() < 6e-6
    assert found.scanner.anisotropy == pytest.approx(0.005, abs=3e-4)


def test_goal_and_intervals() -> None:
    rng = np.random.default_rng(5)
    runs, held, errors, claimed = 200, np.zeros(2), [], []
    for _ in range(runs):
        press = uneven_press(rng)
        found = shape_from_scans(pair(press, draw_bed(rng), rng)).shape
        u = np.sqrt(np.diag(np.array(found.covariance)))
        error = np.array([found.ratio, found.skew]) - shape_truth(press)
        errors.append(error)
        claimed.append(u)
        held += np.abs(error) < coverage_factor(found.freedom) * u
    spread = np.sqrt(np.mean(np.square(errors), axis=0))
    assert spread[0] < 120e-6
    assert spread[1] < 60e-6
    assert np.all((held >= 0.92 * runs) & (held <= 0.98 * runs)), held
    assert np.all(np.mean(claimed, axis=0) < 1.5 * spread)


def test_white_noise_would_understate_a_feed_error() -> None:
    rng = np.random.default_rng(6)
    rows = np.array(LAYOUT.disc_rows)
    errors, claimed = [], []
    for _ in range(60):
        steps = rng.normal(0, 0.03, rows.max() + 1)
        toner = np.column_stack([np.zeros(len(rows)), steps[rows]])
        scans = [points(Press(), Bed(), rng, t, toner) for t in (0.0, 90.0)]
        found = shape_from_scans(scans).shape
        errors.append(found.ratio)
        claimed.append(np.sqrt(found.covariance[0][0]))
    spread = float(np.std(errors))
    white = 0.03 / np.sqrt(2 * len(rows)) / np.std(DISCS[:, 1])
    assert spread > 2 * white
    assert 0.7 * spread < np.mean(claimed) < 1.7 * spread


def test_grouping_agrees_with_a_bootstrap_over_rows() -> None:
    rng = np.random.default_rng(8)
    rows = np.array(LAYOUT.disc_rows)
    steps = rng.normal(0, 0.03, rows.max() + 1)
    toner = np.column_stack([np.zeros(len(rows)), steps[rows]])
    scans = [points(Press(), Bed(), rng, t, toner) for t in (0.0, 90.0)]
    claimed = float(np.sqrt(shape_from_scans(scans).shape.covariance[0][0]))
    again = []
    for _ in range(60):
        pick = rng.integers(0, rows.max() + 1, rows.max() + 1)
        drawn = []
        for scan in scans:
            index = [i for row in pick for i, r in enumerate(scan.rows) if r == row]
            take = lambda values, index=index: tuple(values[i] for i in index)  # noqa: E731
            drawn.append(
                replace(
                    scan,
                    page_mm=take(scan.page_mm),
                    image_px=take(scan.image_px),
                    rows=take(scan.rows),
                    columns=take(scan.columns),
                )
            )
        again.append(shape_from_scans(drawn).shape.ratio)
    assert 0.6 < claimed / float(np.std(again)) < 1.7


def test_two_vernier_readings_and_two_scans_give_everything() -> None:
    rng = np.random.default_rng(15)
    runs, held, errors = 120, np.zeros(3), []
    for _ in range(runs):
        press = uneven_press(rng)
        shape = shape_from_scans(pair(press, draw_bed(rng), rng)).shape
        rows = read(press, rng, sigma_mm=0.07, step_mm=0.02, lines=("down1", "down2"))
        readings = PageReadings(tuple(Reading(n, v) for n, v in rows), hand=VERNIER)
        got = estimate_printer(readings, LAYOUT, shape=shape, accept=ALL)
        truth = (press.scale_x, press.scale_y, press.skew)
        errors.append(np.array([got.scale_x, got.scale_y, got.skew]) - truth)
        held += [low <= t <= high for (low, high), t in zip(got.intervals, truth, strict=True)]
    spread = np.sqrt(np.mean(np.square(errors), axis=0))
    assert spread[0] < 300e-6
    assert spread[1] < 300e-6
    assert spread[2] < 60e-6
    assert np.all(held >= 0.92 * runs), held
    assert got.method == "scan and rule"


def test_drawn_scans_from_end_to_end() -> None:
    press = Press(scale_x=0.004, scale_y=-0.003, skew=0.001, ripple_mm=0.01)
    bed = Bed(dpi=150, scale_u=0.002, scale_v=-0.001, shear=0.0004, lens3_mm=0.15)
    scans = [
        find_page(ScanImage(f"{t}", picture(press, bed, turn_deg=t, seed=int(t) + 1))).points
        for t in (0.3, 90.4)
    ]
    found = shape_from_scans(scans).shape
    error = np.array([found.ratio, found.skew]) - shape_truth(press)
    assert np.abs(error[0]) < 150e-6
    assert np.abs(error[1]) < 60e-6


def test_what_cannot_be_known_is_refused() -> None:
    rng = np.random.default_rng(2)
    none = np.zeros(DISCS.shape)
    at = {t: points(Press(), Bed(), rng, t, none) for t in (0.0, 3.0, 90.0, 180.0)}
    with pytest.raises(ReadingsRefused, match="one scan alone"):
        shape_from_scans([at[0.0]])
    with pytest.raises(ReadingsRefused, match="upside down"):
        shape_from_scans([at[0.0], at[180.0]])
    with pytest.raises(ReadingsRefused, match="turn the page itself"):
        shape_from_scans([at[0.0], at[3.0]])
    with pytest.raises(ReadingsRefused, match="different pages"):
        shape_from_scans([at[0.0], replace(at[90.0], page="Letter")])
    with pytest.raises(ReadingsRefused, match="different pages"):
        shape_from_scans([replace(at[0.0], code="A"), replace(at[90.0], code="B")])
    first = at[0.0]
    turned = replace(
        first, image_px=tuple((-y, x) for x, y in first.image_px), turn_deg=90.0, source="copy"
    )
    with pytest.raises(ReadingsRefused, match="same scan, turned afterwards"):
        shape_from_scans([first, turned])
    # Nothing of a scan counts (its lines are all a misprinted decal's): once it was a LinAlgError.
    for weight in (0.0, 1e-9):
        unweighed = replace(at[90.0], weights=(weight,) * len(at[90.0].page_mm))
        with pytest.raises(ReadingsRefused, match="does not determine its shape"):
            shape_from_scans([at[0.0], unweighed])
    shape = shape_from_scans([at[0.0], at[90.0]]).shape
    with pytest.raises(ReadingsRefused, match="not the size"):
        estimate_printer(PageReadings(()), LAYOUT, shape=shape)


def test_cropped_scans_cost_uncertainty_and_are_told() -> None:
    rng = np.random.default_rng(2)
    scans = pair(Press(), Bed(), rng)
    whole = shape_from_scans(scans).shape
    wide, high = scans[1].image_size_px
    cropped = shape_from_scans([scans[0], replace(scans[1], image_size_px=(wide - 200, high))])
    assert [n.code for n in cropped.shape.notices] == ["scan-cropped"]
    assert cropped.shape.covariance[0][0] > whole.covariance[0][0] + 200e-6**2


def sheet_lines(turn_deg: float, outward_mm: float) -> ScanPoints:
    """A plate's outline and corner marks on a true scanner; ink pushes the outline's lines out."""
    runs = [((x, y), (1.0 if x > 0 else -1.0, 0.0), outward_mm)
            for x in (-50, 50) for y in range(-35, 36)]  # fmt: skip
    runs += [((x, y), (0.0, 1.0 if y > 0 else -1.0), outward_mm)
             for y in (-35, 35) for x in range(-50, 51)]  # fmt: skip
    runs += [((x, s * y), (1.0, 0.0), 0.0) for x in (-70, 70) for s in (-1, 1)
             for y in range(90, 101)]  # fmt: skip
    runs += [((s * x, y), (0.0, 1.0), 0.0) for y in (-100, 100) for s in (-1, 1)
             for x in range(60, 71)]  # fmt: skip
    page, normals, off = (np.array(part, dtype=float) for part in zip(*runs, strict=True))
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    turn, px = np.array([[c, s], [-s, c]]), 150 / 25.4
    image = (page + off[:, None] * normals) @ turn
    on_glass = np.abs(image[:, 0]) < 77
    rows = np.floor(page / 25).astype(int)
    return ScanPoints(
        f"lines at {turn_deg:.0f}",
        tuple(map(tuple, page[on_glass].tolist())),
        tuple(map(tuple, (image * px)[on_glass].tolist())),
        tuple(rows[on_glass][:, 1].tolist()),
        tuple(rows[on_glass][:, 0].tolist()),
        turn_deg,
        (px, px),
        (921, 1299),
        normals=tuple(map(tuple, (normals @ turn)[on_glass].tolist())),
    )


def test_ink_beside_lines_is_no_lens() -> None:
    """Lines pushed out by 0.03 mm once came out as a lens of 0.25 mm, of more with noise."""
    found = shape_from_scans([sheet_lines(0.4, 0.03), sheet_lines(90.3, 0.03)])
    assert abs(found.scanner.lens3_mm) < 0.1
    # 0.03 mm at 50 is 6e-4; what is beyond it would be the lens.
    assert found.px_per_mm[0] == pytest.approx(150 / 25.4, rel=6e-4)
    assert abs(found.shape.ratio) < 1e-4
