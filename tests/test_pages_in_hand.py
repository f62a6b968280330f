"""Pages printed with whatever correction was in force, entered late, twice, or taken back."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from virtual.hand import Press, read

from decalprep.calibration import correction_for, earlier_states, update_record, without_last
from decalprep.cli import run
from decalprep.errors import ReadingsRefused, UsageProblem
from decalprep.geometry import Affine
from decalprep.jobs.calibrate import PrinterKey, enter_readings, page_sheet
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import with_margins
from decalprep.marks.calibration_page_codes import page_code, page_digits
from decalprep.model import Margins, PrinterRecord
from decalprep.records import find_printer

KEY = PrinterKey("desk")
A4 = page_sheet("A4")
PRESS = Press(scale_x=0.004, scale_y=-0.003, skew=0.001)


def code_of(correction: Affine) -> str:
    return page_code(page_digits(KEY.title, correction))


def line(correction: Affine, seed: int, press: Press = PRESS) -> str:
    """What a good hand types of a page printed with a correction, its code last."""
    drawn_by = np.array([[correction.a, correction.c], [correction.b, correction.d]])
    rows = read(press, np.random.default_rng(seed), sigma_mm=0.02, step_mm=0.01, drawn_by=drawn_by)
    words = " ".join(f"{k}={v:.2f}" for k, v in rows)
    return f"{words} method=vernier code={code_of(correction)}"


def enter(folder: Path, text: str, day: int, *, instead: bool = False) -> PrinterRecord:
    entered = enter_readings(
        KEY, "A4", text, folder, measured_on=f"2026-05-{day:02d}", instead=instead
    )
    return entered.updated.record


def test_two_pages_printed_before_either_is_entered(tmp_path: Path) -> None:
    first = enter(tmp_path, line(Affine(), 1), 1)
    in_force = correction_for(first, A4)
    # Both printed now; a third, uncorrected one from before is entered in between.
    pages = [line(in_force, 2), line(Affine(), 3), line(in_force, 4)]
    for day, text in enumerate(pages, 2):
        record = enter(tmp_path, text, day)
    used = [float(dict(row)["used_a"]) for row in record.history]
    assert used == [1.0, in_force.a, 1.0, in_force.a]
    # Every page, seen through the correction it was printed with, shows the same printer.
    for row in map(dict, record.history):
        assert float(row["scale_x"]) == pytest.approx(PRESS.scale_x, abs=4e-4)
        assert float(row["scale_y"]) == pytest.approx(PRESS.scale_y, abs=4e-4)
        assert row["restart"] == "no"


def test_a_page_of_a_correction_that_no_entered_page_bears(tmp_path: Path) -> None:
    one = enter(tmp_path, line(Affine(), 1), 1)
    late = line(correction_for(one, A4), 5)
    # The record moves on twice by uncorrected pages; nothing entered was printed with the first.
    enter(tmp_path, line(Affine(), 2), 2)
    enter(tmp_path, line(Affine(), 3), 3)
    record = enter(tmp_path, late, 4)
    assert float(dict(record.history[-1])["used_a"]) == correction_for(one, A4).a
    assert float(dict(record.history[-1])["scale_x"]) == pytest.approx(PRESS.scale_x, abs=4e-4)
    assert len(earlier_states(record)) == 4
    with pytest.raises(UsageProblem, match="is not of a page for desk"):
        enter(tmp_path, line(Affine(a=1.002), 6), 5)


def test_a_page_entered_in_place_of_the_last(tmp_path: Path) -> None:
    one = enter(tmp_path, line(Affine(), 1), 1)
    enter(tmp_path, line(Affine(), 2, replace(PRESS, scale_x=0.0048)), 2)
    right = enter(tmp_path, line(Affine(), 3), 2, instead=True)
    other = enter(tmp_path / "other", line(Affine(), 1), 1)
    assert other == one
    assert right == enter(tmp_path / "other", line(Affine(), 3), 2)


def test_taking_back_gives_the_record_before_to_the_last_figure() -> None:
    rng = np.random.default_rng(3)
    from test_calibration_loop import exact

    record = PrinterRecord("p", "s")
    with pytest.raises(UsageProblem, match="no page that could be taken back"):
        without_last(record)
    before = []
    for day in range(1, 6):
        before.append(record)
        page = exact(*rng.normal(0, 2e-4, 2), 0.0)
        record = update_record(record, page, Affine(), measured_on=f"2026-01-{day:02d}").record
    for known in reversed(before):
        record = without_last(record)
        assert record == known


def test_the_command_asks_about_a_doubtful_reading_and_takes_the_page_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path))
    good = "across1=170.0 across2=170.1 down1=255.0 down2=254.9 "
    good += "diag1=277.3 diag1=277.2 diag2=277.4 diag2=277.3"
    enter_it = ["calibrate", "enter", "--printer", "desk", "--measured-on", "2026-05-01"]
    slip = good.replace("down2=254.9", "down2=255.8")
    assert run([*enter_it, slip]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "down2: down2=255.8 mm fits worst" in shown
    assert "--instead" in shown
    assert run([*enter_it, "--instead", good]) == 0
    assert "fits worst: the other" not in capsys.readouterr().out
    record = find_printer(tmp_path, "desk")
    assert len(record.history) == 1
    assert abs(record.scale_y) < 3e-4
    with pytest.raises(ReadingsRefused, match="down2=257.9"):
        enter(tmp_path, good.replace("down2=254.9", "down2=257.9"), 2)


def test_measured_margins_keep_decals_off_unless_the_job_says_its_own(tmp_path: Path) -> None:
    panel = '[[panel]]\nname = "winch"\nartwork = "winch.svg"\n'
    (tmp_path / "winch.svg").write_bytes(b"x")
    record = PrinterRecord("desk", "plain paper", margins=Margins(4, 12, 5, 6))
    found = []
    for number, margin in enumerate(("", 'margin = "9 mm"\n')):
        path = tmp_path / f"job{number}.toml"
        path.write_text(f'[[sheet]]\nsize = "A4"\n{margin}{panel}', encoding="utf-8")
        job = read_job(path)
        name = job.sheets[0].sheet.name
        found.append(with_margins(job, {name: record}).sheets[0].sheet.margins)
        assert with_margins(job, {name: None}) == job
    assert found == [Margins(4, 12, 5, 6), Margins(9, 9, 9, 9)]
