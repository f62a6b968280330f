"""``decalprep calibrate``: the page printed, scanned, read and entered, as a person would do it."""

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from print_jobs import A5, BED, made_job, scan_pair, sheet_picture
from virtual.hand import Press, read
from virtual.prints import drawn

from decalprep.cli import run
from decalprep.records import find_printer, find_scanners

A4 = (210.0, 297.0)
PRESS = Press(scale_x=-0.0031, scale_y=0.0014, skew=0.0007, ripple_mm=0.01)
FLATBED = type(BED)(**{**BED.__dict__, "width_mm": 216.0, "height_mm": 300.0})
TWO = ("calibrate", "scan", "--printer", "office laser", "--measured-on", "2026-05-30")


class Desk:
    """A printed calibration page, its scans, and what a hand reads from it by the verniers."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        page = folder / "page.pdf"
        assert run(["calibrate", "page", "--printer", "office laser", "--to", str(page)]) == 0
        self.rgb = drawn(page.read_bytes(), dpi=200)
        self.upright, self.turned = scan_pair(
            folder, "cal", self.rgb, PRESS, bed=FLATBED, size_mm=A4
        )
        rows = read(
            PRESS,
            np.random.default_rng(4),
            sigma_mm=0.07,
            step_mm=0.01,
            lines=("down1", "across1"),
        )
        self.readings = " ".join(f"{k}={v:.2f}" for k, v in rows) + " method=vernier"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("calibrated desk")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DECALPREP_HOME", str(folder / "records"))
        yield Desk(folder)


def told(capsys: pytest.CaptureFixture[str]) -> str:
    shown = capsys.readouterr()
    return " ".join((shown.out + shown.err).split())


def test_the_page_comes_with_pictures_of_where_to_lay_the_rule(desk: Desk) -> None:
    with Image.open(desk.folder / "page-lines.png") as picture:
        assert picture.size[0] > 900
        # The rule is the only yellow thing.
        small = np.asarray(picture.convert("RGB")).astype(int)
    yellow = (small[..., 0] > 200) & (small[..., 2] < 120)
    assert 0.02 < yellow.mean() < 0.3


def test_what_cannot_correct_is_refused_and_says_what_to_do(
    desk: Desk, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path))
    both = (desk.upright, desk.turned)
    assert run([*TWO, desk.upright, desk.readings]) == 7
    assert "turned by 90 degrees" in told(capsys)
    down = desk.folder / "down.png"
    with Image.open(desk.upright) as scan:
        scan.rotate(180.3, Image.Resampling.BICUBIC).save(down, dpi=(FLATBED.dpi, FLATBED.dpi))
    assert run([*TWO, desk.upright, str(down), desk.readings]) == 7
    assert "the same way or upside down in all scans (turned 0, -179 degrees)" in told(capsys)
    assert run([*TWO, *both]) == 7
    assert "pictures show the shape of the page, but not its size; read one long line" in told(
        capsys
    )
    assert run([*TWO, *both, "edge_left=10.2"]) == 7
    assert run([*TWO, *both, desk.readings, "--size", "Letter"]) == 2
    assert "the page's markers say A4, not Letter" in told(capsys)
    assert run([*TWO, *both, desk.readings, "--stock", "film"]) == 2
    assert "is not of a page for office laser / film" in told(capsys)
    assert not list(tmp_path.glob("printers/*"))


def test_scans_and_two_readings_correct_a_job_that_then_measures_true(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    both = (desk.upright, desk.turned)
    assert run([*TWO, *both, desk.readings, "--scanner", "desk"]) == 0
    shown = told(capsys)
    assert "A4 page, code" in shown
    assert "From the scans, the scanner's own error taken out" in shown
    record = find_printer(desk.folder / "records", "office laser")
    for name in ("scale_x", "scale_y", "skew"):
        error = getattr(record, name) - getattr(PRESS, name)
        assert abs(error) < 2.5 * getattr(record, f"u_{name}"), name
        assert getattr(record, f"u_{name}") < 400e-6
    scanner = find_scanners(desk.folder / "records", "desk")[0]
    true_px = FLATBED.dpi / 25.4 * (1 + (FLATBED.scale_u + FLATBED.scale_v) / 2)
    assert abs(scanner.px_per_mm / true_px - 1) < 3 * scanner.u
    # The page belongs to this record; under another name it is sent back there.
    assert run([*TWO, *both, desk.readings, "--stock", "film"]) == 2
    assert "this page was printed for office laser / plain paper" in told(capsys)
    job = made_job(desk.folder, printer="office laser")
    press = Press(**{**PRESS.__dict__, "half_height_mm": A5[1] / 2})
    scans = scan_pair(desk.folder, "tug", sheet_picture(job), press)
    capsys.readouterr()
    assert run(["measure", str(job), *scans, "--scanner", "desk"]) == 0
    assert told(capsys).count("good") == 2


def test_show_tells_history_drift_scatter_and_gain(
    desk: Desk, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path))
    first = read(PRESS, np.random.default_rng(8), sigma_mm=0.02, step_mm=0.01)
    text = " ".join(f"{k}={v:.2f}" for k, v in first) + " method=vernier"
    enter = ["calibrate", "enter", "--printer", "office laser"]
    assert run([*enter, text, "--measured-on", "2026-04-01"]) == 0
    assert run(["calibrate", "show", "office laser"]) == 0
    shown = told(capsys)
    assert "Drift and scatter show from the second page on" in shown
    assert "Last page" in shown
    assert "the new correction helps" in shown
    code = shown.split("printed with this record bears ")[1][:5]
    record = find_printer(tmp_path, "office laser")
    use = np.linalg.inv([[1 + record.scale_x, record.skew], [0, 1 + record.scale_y]])
    again = read(PRESS, np.random.default_rng(11), sigma_mm=0.07, step_mm=0.01, drawn_by=use)
    text = " ".join(f"{k}={v:.2f}" for k, v in again) + f" method=vernier code={code}"
    assert run([*enter, text, "--measured-on", "2026-05-01"]) == 0
    capsys.readouterr()
    assert run(["calibrate", "show", "office laser"]) == 0
    shown = told(capsys)
    assert "2026-04-01" in shown
    assert "From 2026-04-01 to 2026-05-01" in shown
    assert "not more than chance" in shown
    assert "nothing to gain" in shown
    new = find_printer(tmp_path, "office laser")
    assert math.hypot(new.u_scale_x, new.u_scale_y) < math.hypot(record.u_scale_x, record.u_scale_y)


def test_a_name_nearly_that_of_another_record_is_asked_about(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path))
    readings = "across1=169.4 across2=169.5 down1=254.7"
    for printer, told in (("office laser", False), ("ofice laser", True), ("attic inkjet", False)):
        assert run(["calibrate", "enter", "--printer", printer, readings]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert ("beside that of 'office laser'" in out) == told


def test_guided_entry_asks_and_draws(
    desk: Desk,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path / "records"))
    answers = iter(["169.5", "169.4", "255.3", "255.4", *[""] * 9])
    monkeypatch.setattr("click.prompt", lambda *_, **__: next(answers))
    picture = tmp_path / "rule.png"
    asked = ["calibrate", "enter", "--printer", "office laser", "--picture", str(picture)]
    assert run(asked) == 0
    shown = told(capsys)
    assert "once more, laid anew: diag1" in shown
    assert "no diagonal was read" in shown
    assert picture.stat().st_size > 5000
