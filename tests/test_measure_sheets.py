"""Measuring what else comes out of a run: tiles, pieces on die-cut labels, pieces printed again.

The sheets are laid as by a run, but only their lines are drawn: measuring goes by those.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import cv2
import numpy as np
import pytest
from print_jobs import A5, BED, SCANNER, artwork, line_picture, printed_job
from stock_cases import LABELS_ON_A5
from virtual.hand import Press
from virtual.prints import scanned

from decalprep.errors import ExitCode
from decalprep.jobs.measure import Measured, MeasureOptions, measure_job
from decalprep.jobs.prints import PrintedSheet, Prints
from decalprep.scan import MeasuredDecal, ScanImage, Verdict

TRUE = Press(scale_x=1e-4, scale_y=-1e-4, half_height_mm=A5[1] / 2)
JOB = (
    """[job]
print_tolerance = "0.25 mm"
passes = 2
[[sheet]]
name = "plain"
size = "A5"
[[sheet]]
name = "labels"
size = "A5"
stock = "die-cut label stock"
"""
    + LABELS_ON_A5
    + """[[panel]]
name = "strip"
artwork = "strip.svg"
tile = true
sheets = ["plain"]
[[panel]]
name = "lamp"
artwork = "lamp.svg"
copies = 3
sheets = ["labels"]
[[panel]]
name = "gauge"
artwork = "gauge.svg"
sheets = ["plain"]
"""
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Prints]:
    """What the prints of the job should show; with names, of a run that prints those again."""
    folder = tmp_path_factory.mktemp("sheets")
    (folder / "strip.svg").write_text(artwork(250, 60, "#234", ((8, 8, 2.2), (242, 52, 2.2))))
    (folder / "lamp.svg").write_text(artwork(50, 34, "#e5e0d0", ((25, 24, 4.1),)))
    (folder / "gauge.svg").write_text(artwork(44, 40, "#dde4e8", ((22, 26, 6.1),)))
    (folder / "job.toml").write_text(JOB)
    first = printed_job(folder / "job.toml")

    def prints(*again: str) -> Prints:
        return printed_job(folder / "job.toml", again) if again else first

    return prints


def sheet_of(prints: Prints, name: str) -> PrintedSheet:
    return next(s for s in prints.sheets if any(d.name == name for d in s.decals))


def seen(rgb: np.ndarray, press: Press = TRUE, turn_deg: float = 0.4) -> ScanImage:
    picture = scanned(rgb, A5, press, BED, turn_deg=turn_deg)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    dpi = (BED.dpi, BED.dpi)
    return ScanImage("scan", grey, dpi, picture.min(axis=2), picture.max(axis=2))


def measured(
    prints: Prints, scans: Sequence[ScanImage], only: int | None = None
) -> tuple[Measured, dict[str, MeasuredDecal]]:
    found = measure_job(prints, scans, MeasureOptions(only, (SCANNER,)))
    return found, {d.title: d for s in found.sheets for d in s.finding.decals}


def moved(sheet: PrintedSheet, title: str, right_mm: float, up_mm: float) -> PrintedSheet:
    """The sheet with one decal's line printed beside its place."""
    decals = [
        replace(d, outline=tuple((x + right_mm, y + up_mm) for x, y in d.outline))
        if d.title == title
        else d
        for d in sheet.decals
    ]
    return replace(sheet, decals=tuple(decals))


def test_every_tile_is_told_by_its_own_name(made: Callable[..., Prints]) -> None:
    prints = made()
    names = {d.name for s in prints.sheets for d in s.decals}
    tiles = sorted(n for n in names if n.startswith("strip tile"))
    assert len(tiles) == 3
    numbers = [k for k, s in enumerate(prints.sheets) if any(d.name in tiles for d in s.decals)]
    assert len(numbers) == 2
    scans = [seen(line_picture(prints.sheets[k])) for k in numbers]
    found, decals = measured(prints, scans)
    assert [s.number - 1 for s in found.sheets] == numbers
    assert found.exit_code is ExitCode.OK
    for name in tiles:
        tile = decals[f"{name} #1"]
        assert tile.verdict is Verdict.GOOD
        assert max(tile.range_x_mm, tile.range_y_mm) < 0.2
        assert abs(tile.error_x_mm) < tile.range_x_mm
        assert abs(tile.error_y_mm) < tile.range_y_mm


def test_a_piece_beside_its_place_on_a_label_is_misplaced(made: Callable[..., Prints]) -> None:
    prints = made()
    sheet = sheet_of(prints, "lamp")
    assert len(sheet.decals) == 3
    rgb = line_picture(moved(sheet, "lamp #2", 0.7, -0.3))
    found, decals = measured(prints, [seen(rgb)], prints.sheets.index(sheet) + 1)
    assert found.exit_code is ExitCode.PROOF
    off = decals["lamp #2"]
    assert off.faults == ("place",)
    assert off.off_x_mm == pytest.approx(0.7, abs=off.range_off_x_mm)
    assert off.off_y_mm == pytest.approx(-0.3, abs=off.range_off_y_mm)
    assert {decals[f"lamp #{k}"].verdict for k in (1, 3)} == {Verdict.GOOD}
    codes = [n.code for n in found.notices]
    assert "print-misplaced" in codes
    # Labels leave no room for marks.
    assert "print-no-marks" in codes


def test_a_piece_printed_again_is_found_among_the_old_ones(made: Callable[..., Prints]) -> None:
    """The sheet goes through the printer twice, so both prints lie a little beside each other."""
    first, again = made(), made("gauge")
    assert [d.title for s in again.sheets for d in s.decals] == ["gauge #1"]
    old = seen(line_picture(sheet_of(first, "gauge")), turn_deg=0.4)
    new = seen(line_picture(again.sheets[0]), turn_deg=0.1)
    both = [np.minimum(a, b) for a, b in zip(old.views, new.views, strict=True)]
    scan = ScanImage("again", np.minimum(old.grey, new.grey), old.claimed_dpi, *both)
    decals = measured(again, [scan])[1]
    gauge = decals["gauge #1"]
    assert gauge.verdict is Verdict.GOOD
    assert abs(gauge.error_x_mm) < gauge.range_x_mm < 0.2
    assert abs(gauge.off_x_mm) < gauge.range_off_x_mm + 0.05
