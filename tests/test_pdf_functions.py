"""PDF functions of types 0, 2, 3 and 4 against their definitions (ISO 32000-1:2008, 7.10)."""

import math

import pikepdf
import pytest

from decalprep.pdfstream.functions import evaluate

HOME = pikepdf.new()
"""The streams of all tests live in it."""


def function(kind: int, **entries: object) -> pikepdf.Object:
    values = {"FunctionType": kind, "Domain": [0, 1], **entries}
    return HOME.make_indirect(pikepdf.Dictionary(**values))


def calculated(program: str, *inputs: float, outputs: int = 1) -> list[float]:
    document = HOME
    made = document.make_stream(program.encode())
    made.FunctionType = 4
    made.Domain = pikepdf.Array([-1000, 1000] * len(inputs))
    made.Range = pikepdf.Array([-1000, 1000] * outputs)
    return evaluate(made, inputs)


@pytest.mark.parametrize(
    ("program", "inputs", "expected"),
    [
        ("{ add }", (2, 3), 5),
        ("{ sub }", (2, 3), -1),
        ("{ mul }", (2, 3), 6),
        ("{ div }", (3, 2), 1.5),
        ("{ cvi exch cvi exch idiv }", (7, 2), 3),
        ("{ cvi exch cvi exch mod }", (-7, 2), -1),
        ("{ exp }", (2, 9), 512),
        ("{ atan }", (1, -1), 135),
        ("{ neg }", (4,), -4),
        ("{ abs }", (-4.5,), 4.5),
        ("{ ceiling }", (3.2,), 4),
        ("{ floor }", (-3.2,), -4),
        ("{ round }", (2.5,), 3),
        ("{ truncate }", (-3.7,), -3),
        ("{ sqrt }", (9,), 3),
        ("{ sin }", (30,), 0.5),
        ("{ cos }", (60,), 0.5),
        ("{ ln }", (math.e,), 1),
        ("{ log }", (1000,), 3),
        ("{ cvr }", (3,), 3),
        ("{ dup mul }", (5,), 25),
        ("{ pop }", (5, 6), 5),
        ("{ exch sub }", (5, 8), 3),
        ("{ 1 index sub exch pop }", (5, 8), 3),
        ("{ 2 copy add mul pop }", (5, 8), 5),
        ("{ 3 1 roll pop pop }", (1, 2, 3), 3),
        ("{ 3 -1 roll pop pop }", (1, 2, 3), 2),
        ("{ 3 0 roll pop pop }", (1, 2, 3), 1),
        ("{ 5 gt { 1 } { 2 } ifelse }", (6,), 1),
        ("{ 5 lt { 1 } { 2 } ifelse }", (6,), 2),
        ("{ dup 5 ge { 2 mul } if }", (5,), 10),
        ("{ dup 5 le { 2 mul } if }", (6,), 6),
        ("{ 5 eq { 1 } { 2 } ifelse }", (5,), 1),
        ("{ 5 ne { 1 } { 2 } ifelse }", (5,), 2),
        ("{ 5 eq not { 1 } { 2 } ifelse }", (5,), 2),
        ("{ dup 1 gt exch 9 lt and { 1 } { 2 } ifelse }", (5,), 1),
        ("{ dup 1 lt exch 9 lt or { 1 } { 2 } ifelse }", (5,), 1),
        ("{ dup 1 gt exch 9 lt xor { 1 } { 2 } ifelse }", (5,), 2),
        ("{ cvi 12 and }", (10,), 8),
        ("{ cvi 12 or }", (10,), 14),
        ("{ cvi 12 xor }", (10,), 6),
        ("{ cvi not }", (10,), -11),
        ("{ cvi 2 bitshift }", (5,), 20),
        ("{ cvi -1 bitshift }", (5,), 2),
    ],
)
def test_calculator_operators(program, inputs, expected):
    """Table 42 of the standard, each operator on numbers worked by hand; the top is the result."""
    assert calculated(program, *inputs)[-1] == pytest.approx(expected)


def test_the_calculator_of_the_standards_own_example():
    """7.10.5.1: a doubled sine spot, {360 mul sin 2 div exch 360 mul sin 2 div add}."""
    x, y = 0.1, 0.7
    expected = math.sin(2 * math.pi * x) / 2 + math.sin(2 * math.pi * y) / 2
    program = "{ 360 mul sin 2 div exch 360 mul sin 2 div add }"
    assert calculated(program, x, y) == [pytest.approx(expected)]


@pytest.mark.parametrize(
    "program", ["{ cow }", "{ add }", "{ 1 0 div }", "{ -1 sqrt }", "{ 1 pop pop pop }"]
)
def test_programs_that_cannot_run(program):
    with pytest.raises(ValueError):
        calculated(program, 1)


def test_exponential_interpolation():
    half = function(2, C0=[0, 1], C1=[1, 0], N=1)
    assert evaluate(half, [0.25]) == [0.25, 0.75]
    square = function(2, N=2)
    assert evaluate(square, [0.5]) == [0.25]
    assert evaluate(square, [7]) == [1.0]  # clipped to the domain


def test_stitching_takes_the_right_piece_and_encodes():
    document = HOME
    pieces = [
        document.make_indirect(
            pikepdf.Dictionary(FunctionType=2, Domain=[0, 1], N=1, C0=[a], C1=[b])
        )
        for a, b in ((0, 10), (100, 200))
    ]
    made = document.make_indirect(
        pikepdf.Dictionary(
            FunctionType=3, Domain=[0, 1], Functions=pieces, Bounds=[0.5], Encode=[0, 1, 1, 0]
        )
    )
    assert evaluate(made, [0.25]) == [5.0]
    assert evaluate(made, [0.5]) == [200.0]
    assert evaluate(made, [0.75]) == [150.0]
    flat = pikepdf.Dictionary(
        FunctionType=3, Domain=[0, 0], Functions=pieces[:1], Bounds=[], Encode=[1, 0]
    )
    assert evaluate(document.make_indirect(flat), [0]) == [10.0]


def sampled(data: bytes, **entries: object) -> pikepdf.Object:
    made = HOME.make_stream(data)
    made.FunctionType = 0
    for name, value in entries.items():
        made[f"/{name}"] = pikepdf.Array(value) if isinstance(value, list) else value
    return made


@pytest.mark.parametrize("bits", [1, 2, 4, 8, 12, 16, 24, 32])
def test_samples_of_any_width_are_interpolated(bits):
    full = (1 << bits) - 1
    values = [0, full, 0]
    number = 0
    for value in values:
        number = number << bits | value
    spare = -bits * 3 % 8
    data = (number << spare).to_bytes((bits * 3 + spare) // 8, "big")
    made = sampled(data, Domain=[0, 1], Range=[0, 10], Size=[3], BitsPerSample=bits)
    assert evaluate(made, [0.0]) == [pytest.approx(0)]
    assert evaluate(made, [0.25]) == [pytest.approx(5)]
    assert evaluate(made, [0.5]) == [pytest.approx(10)]
    assert evaluate(made, [0.875]) == [pytest.approx(2.5)]


def test_samples_of_two_inputs_and_two_outputs():
    data = bytes([0, 255, 255, 0, 10, 20, 30, 40])
    made = sampled(
        data,
        Domain=[0, 1, 0, 1],
        Range=[0, 1, 0, 255],
        Size=[2, 2],
        BitsPerSample=8,
        Decode=[0, 1, 0, 255],
    )
    assert evaluate(made, [1.0, 0.0]) == [pytest.approx(1), pytest.approx(0)]
    assert evaluate(made, [0.2, 0.9]) == [pytest.approx(10 / 255), pytest.approx(20)]


def test_arrays_of_functions_give_one_value_each():
    document = HOME
    each = [
        document.make_indirect(pikepdf.Dictionary(FunctionType=2, Domain=[0, 1], N=n))
        for n in (1, 2)
    ]
    assert evaluate(pikepdf.Array(each), [0.5]) == [0.5, 0.25]


@pytest.mark.parametrize(
    "broken",
    [
        {"FunctionType": 9, "Domain": [0, 1]},
        {"Domain": [0, 1]},
        {"FunctionType": 2, "Domain": [0, 1]},
        {"FunctionType": 3, "Domain": [0, 1], "Bounds": [], "Encode": [0, 1], "Functions": []},
        {"FunctionType": 2, "Domain": [0, 1], "N": 1, "C0": [0], "C1": [0, 1]},
    ],
)
def test_broken_functions_are_told(broken):
    with pytest.raises(ValueError):
        evaluate(HOME.make_indirect(pikepdf.Dictionary(**broken)), [0.5])
