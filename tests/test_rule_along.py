"""A steel rule scanned beside the page gives the size: read by its marks, or refused by reason."""

import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from virtual.hand import Press
from virtual.pages import picture
from virtual.scanner import Bed
from virtual.steel_rule import SteelRule, laid

from decalprep.calibration import RuleClass, rule_uncertainty, shape_from_scans, with_rules
from decalprep.calibration.estimate import ShapeFinding
from decalprep.cli import run
from decalprep.errors import ReadingsRefused
from decalprep.records import find_printer
from decalprep.scan import FoundPage, ScanImage, find_page
from decalprep.scan.rule_along import RuleSeen, read_rule

PRESS = Press(scale_x=0.004, scale_y=-0.003, skew=0.001, ripple_mm=0.01)
BED = Bed(dpi=150, scale_u=0.002, scale_v=-0.001, shear=0.0004, lens3_mm=0.15, ripple_mm=0.01)
MEAN = (PRESS.scale_x + PRESS.scale_y) / 2
RECORD = "desk / plain paper"


@pytest.fixture(scope="module")
def aside() -> np.ndarray:
    """The page hanging over the left of the glass, room for a rule on the right."""
    return picture(PRESS, BED, turn_deg=0.3, shift_mm=(-25.0, 0.0), record=RECORD)


@pytest.fixture(scope="module")
def across() -> np.ndarray:
    return picture(PRESS, BED, turn_deg=90.4, seed=2, record=RECORD)


@pytest.fixture(scope="module")
def turned(across: np.ndarray) -> FoundPage:
    return find_page(ScanImage("turned", across))


def seen(scan: np.ndarray, turned: FoundPage) -> RuleSeen:
    image = ScanImage("rule", scan)
    pages = [find_page(image), turned]
    fit = shape_from_scans([p.points for p in pages])
    return read_rule(image, pages[0].points, pages[0].layout, fit, number=0)


@pytest.mark.parametrize(
    "rule",
    [
        SteelRule(),
        SteelRule(halves=True, turn_deg=88.9),
        SteelRule(steel=228, shine_mm=(60, 120)),
        SteelRule(zero_mm=(103.0, 140.0), turn_deg=-90.3, noise=10),
    ],
    ids=["grey", "half marks, turned", "white, shine", "upside down, noisy"],
)
def test_the_size_comes_back_to_a_ten_thousandth(
    rule: SteelRule, aside: np.ndarray, turned: FoundPage
) -> None:
    got = seen(laid(aside, BED, rule), turned)
    assert abs(got.error - MEAN) < min(3 * got.u, 100e-6)
    assert got.u < 100e-6
    assert got.upright
    assert got.length_mm > 250


def test_a_rule_along_the_width_where_the_lens_bends_most(turned: FoundPage) -> None:
    low = picture(PRESS, BED, turn_deg=0.3, shift_mm=(0.0, -35.0), record=RECORD)
    rule = SteelRule(zero_mm=(-102.0, 122.0), turn_deg=0.4, length_mm=204, shine_mm=(50, 70))
    got = seen(laid(low, BED, rule), turned)
    assert not got.upright
    assert abs(got.error - MEAN) < min(3 * got.u, 120e-6)


@pytest.mark.parametrize(
    ("rule", "found"),
    [
        (None, "no rule with millimetre marks"),
        (SteelRule(pitch_mm=25.4 / 32), "no rule with millimetre marks"),
        (SteelRule(length_mm=110), "can be followed over 110 mm only"),
    ],
    ids=["none", "inches", "short"],
)
def test_what_is_no_measure_is_refused(
    rule: SteelRule | None, found: str, aside: np.ndarray, turned: FoundPage
) -> None:
    scan = aside if rule is None else laid(aside, BED, rule)
    with pytest.raises(ReadingsRefused, match=found):
        seen(scan, turned)


def test_rules_are_weighed_together_or_refused() -> None:
    shape = ShapeFinding(0.0, 0.0, ((1e-9, 0.0), (0.0, 1e-9)), 17.0)
    assert with_rules(shape, []) == shape
    both = with_rules(shape, [(1e-4, 1e-4), (3e-4, 1e-4)])
    assert both.size == pytest.approx((2e-4, 1e-4 / math.sqrt(2)))
    with pytest.raises(ReadingsRefused, match=r"differ by 0\.25 mm over 250 mm"):
        with_rules(shape, [(0.0, 1e-4), (1e-3, 1e-4)])


def test_the_command_corrects_with_no_reading_at_all(
    aside: np.ndarray,
    across: np.ndarray,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path / "records"))
    ruled, other = str(tmp_path / "ruled.tif"), str(tmp_path / "turned.tif")
    Image.fromarray(laid(aside, BED, SteelRule())).save(ruled, dpi=(150, 150))
    Image.fromarray(across).save(other, dpi=(150, 150))
    command = ["calibrate", "scan", "--printer", "desk", "--measured-on", "2026-05-30"]
    assert run([*command, ruled, other, "--rule-along", str(tmp_path / "none.png")]) == 2
    assert "is not one of the scans" in " ".join(capsys.readouterr().err.split())
    slip = ["--rule-along", ruled, "down1=255.9 method=vernier"]
    assert run([*command, ruled, other, *slip]) == 7
    assert "down1=255.9 mm does not fit" in " ".join(capsys.readouterr().err.split())
    twice = ["--rule-along", ruled, "--rule-along", ruled]
    assert run([*command, ruled, other, *twice, "rule=II"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert shown.count("The rule in the scan, read over") == 1  # named twice, it counts once
    assert "The rule in the scan, read over 280 mm along the picture's height" in shown
    record = find_printer(tmp_path / "records", "desk")
    for name, most in (("scale_x", 120e-6), ("scale_y", 120e-6), ("skew", 60e-6)):
        assert abs(getattr(record, name) - getattr(PRESS, name)) < most, name
    again = [*command, ruled, other, "--rule-along", ruled, "rule=II", "--instead"]
    assert run(again) == 0
    assert find_printer(tmp_path / "records", "desk") == record
    assert record.u_rule == pytest.approx(rule_uncertainty(RuleClass.II, 250.0))
