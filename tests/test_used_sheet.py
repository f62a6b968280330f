"""A used sheet in a scan: all that is gone is found, little more is lost, and doubts are told."""

from pathlib import Path

import pytest
import shapely
from virtual.used import BLACK, FACE, INK, LINER, Area, saved, scan, sheet

from decalprep.errors import InputProblem
from decalprep.model import DieCutGrid, Sheet, StockKind
from decalprep.scan import UsedChoices, UsedSheet, find_used, read_scan, used_picture

A5 = (148.0, 210.0)
STOCK = Sheet("half", *A5, stock=StockKind.LABEL)
PEELED: Area = (15, 15, 70, 80)
PRINTED: Area = (80, 25, 130, 60)
CUT_OUT: Area = (20, 140, 60, 190)
LINE: Area = (100, 120, 100.25, 170)
GONE: list[Area] = [PEELED, PRINTED, CUT_OUT, LINE]
COLOURS = (LINER, INK, (34, 33, 36), BLACK)
SURE = UsedChoices(turn_deg=0)
REACH_MM = 2.0 + 2.0 + 1.0
"""Most that may be lost beside what is gone: the margin, a strip's height, and blur."""


def used(folder: Path, data: bytes, stock: Sheet = STOCK, choices: UsedChoices = SURE) -> UsedSheet:
    path = folder / "used.png"
    path.write_bytes(data)
    (image,) = read_scan(path)
    return find_used(image, stock, choices)


def areas(given: list[Area]) -> shapely.Geometry:
    return shapely.union_all([shapely.box(*one) for one in given])


def found(one: UsedSheet) -> shapely.Geometry:
    return shapely.union_all([shapely.box(b.x0, b.y0, b.x1, b.y1) for b in one.gone])


def holds(one: UsedSheet, given: list[Area]) -> None:
    """All that is gone is found with its margin, and no more than a rim round it is lost."""
    truth, seen = areas(given), found(one)
    assert seen.covers(truth.buffer(1.2))
    assert truth.buffer(REACH_MM).covers(seen)


@pytest.mark.parametrize(
    ("dpi", "lies", "kind", "claimed"),
    [
        (100, 0.0, "PNG", 100),
        (150, 2.5, "JPEG", 150),
        (100, 90 - 3.0, "JPEG", None),
        (200, 180.7, "TIFF", 200),
        (100, 270.4, "PNG", None),
    ],
)
def test_what_is_gone_is_found_however_it_lies(
    tmp_path: Path, dpi: float, lies: float, kind: str, claimed: float | None
) -> None:
    picture = scan(
        sheet(A5, list(zip(GONE, COLOURS, strict=True))),
        A5,
        dpi=dpi,
        turn_deg=lies,
        shift_mm=(2.0, -3.0),
        stretch=(1.003, 0.998),
        seed=int(dpi + lies),
    )
    turn = round(lies / 90) * 90 % 360
    one = used(tmp_path, saved(picture, kind, claimed), choices=UsedChoices(turn_deg=turn))
    holds(one, GONE)
    assert one.notices == ()


def test_a_corner_cut_off_and_ink_to_the_edge_do_not_bend_the_sides(tmp_path: Path) -> None:
    """More than half of the lower edge is dark, and a third of the left one is not there."""
    gone: list[Area] = [(0, 145, 45, 210), (66, 0, 148, 30)]
    rgb = sheet(A5, list(zip(gone, [(34, 33, 36), INK], strict=True)))
    for seed, turn in enumerate((-2.7, 1.3)):
        one = used(tmp_path, saved(scan(rgb, A5, turn_deg=turn, seed=seed)))
        seen, truth = found(one), areas(gone)
        assert seen.covers(truth.buffer(1.2).intersection(shapely.box(3, 3, 145, 207)))
        assert truth.buffer(REACH_MM).covers(seen)
        assert one.notices == ()


def test_what_is_enclosed_is_gone_and_the_picture_shows_it(tmp_path: Path) -> None:
    ring: list[tuple[Area, tuple[int, int, int]]] = [
        ((30, 60, 90, 120), INK),
        ((35, 65, 85, 115), FACE),
    ]
    one = used(tmp_path, saved(scan(sheet(A5, ring), A5)))
    holds(one, [(30, 60, 90, 120)])
    (tmp_path / "gone.png").write_bytes(used_picture(one))
    (shown,) = read_scan(tmp_path / "gone.png")
    assert shown.grey.shape == (840, 592)
    coloured = shown.lightest.astype(int) - shown.darkest  # type: ignore[union-attr]
    assert (coloured[380:560, 140:340] > 60).mean() > 0.1  # hatched in red
    assert (coloured[620:] > 60).sum() == 0


def test_whole_stock_has_nothing_gone_whatever_dust_lies_on_it(tmp_path: Path) -> None:
    dust: list[tuple[Area, tuple[int, int, int]]] = [
        ((40 + 9 * k, 100, 40.2 + 9 * k, 100.2), BLACK) for k in range(8)
    ]
    one = used(tmp_path, saved(scan(sheet(A5, dust), A5, noise=5, seed=3)))
    assert one.gone == ()


def test_a_side_that_the_glass_cuts_off_is_gone(tmp_path: Path) -> None:
    """Three edges are enough; what lies outside the picture is not offered."""
    picture = scan(sheet(A5, []), A5, shift_mm=(0, 24.0))
    one = used(tmp_path, saved(picture, dpi=None))
    assert found(one).covers(shapely.box(5, 200, 143, 209))
    assert found(one).bounds[1] > 190


def test_two_edges_and_the_dpi_of_the_file_are_enough(tmp_path: Path) -> None:
    picture = scan(sheet(A5, [(PEELED, LINER)]), A5, shift_mm=(24.0, 24.0))
    one = used(tmp_path, saved(picture))
    assert found(one).covers(areas([PEELED]).buffer(1.0))
    with pytest.raises(InputProblem, match="edges cannot be found"):
        used(tmp_path, saved(picture, dpi=None))


REFUSED = {
    "cropped": (A5, {"bed_mm": (140, 200)}, "stand out|edges"),
    "white lid": (A5, {"behind": (238, 240, 241)}, "stand out"),
    "cut smaller": ((148, 190), {}, "sides are"),
    "on its side": (A5, {"turn_deg": 90}, "does not lie turned by 0"),
    "askew": (A5, {"turn_deg": 25}, "edges cannot be found|no rectangle"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_read_is_refused_by_name(tmp_path: Path, case: str) -> None:
    size, how, words = REFUSED[case]
    with pytest.raises(InputProblem, match=words) as told:
        used(tmp_path, saved(scan(sheet(size, [(PRINTED, INK)]), size, **how)))  # type: ignore[arg-type]
    assert "used.png" in str(told.value)


def test_another_sheet_of_the_same_shape_is_told_by_the_files_dpi(tmp_path: Path) -> None:
    half = (148 / 2**0.5, 210 / 2**0.5)
    data = saved(scan(sheet(half, []), half))
    with pytest.raises(InputProblem, match="sides are 41% off.*scanned at 100 dpi"):
        used(tmp_path, data)


def test_sides_a_little_off_are_told(tmp_path: Path) -> None:
    one = used(tmp_path, saved(scan(sheet(A5, []), A5, stretch=(1.0, 1.016))))
    assert [n.code for n in one.notices] == ["used-sheet-size"]
    assert dict(one.notices[0].numbers)["error"] == pytest.approx(0.016, abs=0.002)


def test_a_rim_that_is_not_the_stock_needs_a_place_that_is(tmp_path: Path) -> None:
    """The lower half is peeled: most of the rim is liner."""
    data = saved(scan(sheet(A5, [((0, 0, 148, 115), LINER), (PRINTED, INK)]), A5))
    with pytest.raises(InputProblem, match="whole-at"):
        used(tmp_path, data)
    one = used(tmp_path, data, choices=UsedChoices(turn_deg=0, whole_at_mm=(110, 150)))
    assert found(one).covers(areas([(5, 5, 140, 115)]))
    assert not found(one).intersects(shapely.box(5, 120, 143, 205))


GRID = DieCutGrid(4, 2, 60.0, 40.0, 10.0, 13.0, 68.0, 48.0)


def test_labels_are_gone_as_a_whole_by_number(tmp_path: Path) -> None:
    """Labels 1 and 6 are peeled, 4 is printed on; dark gaps between labels do not count."""
    stock = Sheet("labels", *A5, stock=StockKind.DIE_CUT, grid=GRID)

    def label(number: int, grow: float = 0.0) -> Area:
        row, column = divmod(number - 1, 2)
        left, top = 10 + 68 * column, 210 - 13 - 48 * row
        return (left - grow, top - 40 - grow, left + 60 + grow, top + grow)

    cuts: list[tuple[Area, tuple[int, int, int]]] = []
    for number in range(1, 9):
        cuts += [(label(number, 0.2), (150, 150, 150)), (label(number), FACE)]
    peeled = [(label(1), LINER), (label(6), LINER), ((90, 105, 110, 115), INK)]
    one = used(tmp_path, saved(scan(sheet(A5, [*cuts, *peeled]), A5, turn_deg=-1.0)), stock)
    assert one.gone_labels == (1, 4, 6)
