"""The one-line form of readings: taken apart exactly, or refused with the place named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decalprep.calibration import VERNIER, RuleClass, parse_readings, prompts_for
from decalprep.errors import DecalprepError, UsageProblem
from decalprep.model import Baseline

LINES = (
    Baseline("across1", (0, 0), (170, 0), "left to left", "rule below"),
    Baseline("down1", (0, 0), (0, 255), "lower to lower", "rule right"),
    Baseline("diag1", (0, 0), (170, 255), "lower left", "rule below"),
)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("across1=249.6, down1=249,7", [249.6, 249.7]),
        ("across1=249,6,down1=249,7 mm", [249.6, 249.7]),
        ("ACROSS1 = 170; Down1: 255", [170, 255]),
        ("across1=17 cm down1=10in", [170, 254]),
        ('across1=6.5" down1=255mm', [165.1, 255]),
        ("unit=in across1=6.5 down1=255mm", [165.1, 255]),
        ("across1=10.2..180.1 down1=5..260,5", [169.9, 255.5]),
        ("diag1=300 diag1=300.2", [300, 300.2]),
    ],
)
def test_forms(text: str, values: list[float]) -> None:
    assert [r.length_mm for r in parse_readings(text, LINES).lengths] == pytest.approx(values)


def test_the_rest_of_the_line() -> None:
    got = parse_readings("across1=170 rule=2 method=vernier code=7k4qz edge_left=10.4", LINES)
    assert got.rule is RuleClass.II
    assert got.hand == VERNIER
    assert got.code == "7K4QZ"
    assert got.edges_mm == (("left", 10.4),)
    assert parse_readings("across1=1", LINES).rule is RuleClass.UNMARKED


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "no readings"),
        ("across1", "cannot read 'across1'"),
        ("across1=1.234,5", "cannot read 'across1=1.234,5'"),
        ("across1=169, 8", "cannot read '8'"),
        ("across1=12 ft", "cannot read 'ft'"),
        ("across9=12", "no line called 'across9'"),
        ("across1=12 unit=ell", "unit=ell"),
        ("across1=abc", "across1=abc is not a length"),
        ("across1=12 rule=V", "rule=V"),
        ("across1=12 method=guess", "method=guess"),
        ("across1=12 margin_left=4", "margins are given for some edges"),
        ("across1=-12", "cannot read 'across1=-12'"),
    ],
)
def test_refusals(text: str, found: str) -> None:
    with pytest.raises(UsageProblem) as refused:
        parse_readings(text, LINES)
    assert found in str(refused.value)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        parse_readings(text, LINES)
    except DecalprepError as refused:
        assert str(refused)


def test_prompts_ask_for_the_diagonals_twice() -> None:
    prompts = prompts_for(LINES)
    assert [p.line for p in prompts] == ["across1", "down1", "diag1", "diag1"]
    assert "left to left" in prompts[0].text
    assert "once more" in prompts[3].text
