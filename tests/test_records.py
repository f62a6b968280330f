"""Records on disk: they read back exactly, survive crashes, and two writers lose nothing."""

import json
import multiprocessing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from decalprep.calibration import hole_pair
from decalprep.errors import InputProblem, OutputProblem, UsageProblem
from decalprep.geometry import Box
from decalprep.model import DieCutGrid, Margins, PartRecord, PrinterRecord, Sheet, StockKind
from decalprep.records import (
    HOME_VARIABLE,
    export_printer,
    find_printer,
    import_printer,
    list_parts,
    list_printers,
    load_part,
    load_printer,
    load_sheet,
    printer_file,
    records_folder,
    save_part,
    save_printer,
    save_sheet,
    take_from_sheet,
    update_printer,
)
from decalprep.records import folder as folder_module

small = st.floats(-0.1, 0.1)
name = st.text(min_size=1, max_size=30).filter(lambda t: t.strip() != "")
RECORD = PrinterRecord(
    "Desk inkjet",
    "label stock",
    "rear",
    "best",
    scale_x=0.00123456789,
    scale_y=-1e-7,
    skew=0.0003,
    u_scale_x=1e-4,
    margins=Margins(3, 12, 3, 3),
    measured_on="2026-03-01",
    weight_sheets=1.5,
    history=((("measured_on", "2026-03-01"), ("method", "rule"), ("scale_x", "0.00123456789")),),
)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(name, name, st.text(max_size=10), small, small, small)
def test_any_record_reads_back_exactly(
    tmp_path: Path, printer: str, stock: str, tray: str, x: float, y: float, k: float
) -> None:
    record = PrinterRecord(printer, stock, tray, scale_x=x, scale_y=y, skew=k)
    assert load_printer(save_printer(tmp_path, record)) == record


def test_the_file_is_readable_by_people(tmp_path: Path) -> None:
    path = save_printer(tmp_path, RECORD)
    text = path.read_text(encoding="utf-8")
    assert '"printer": "Desk inkjet"' in text
    assert '"scale_x": 0.00123456789' in text
    assert path.name.startswith("desk-inkjet--label-stock--rear--best")
    assert load_printer(path) == RECORD


def test_the_folder_is_the_one_given_or_named_or_the_users_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "named"))
    assert records_folder(tmp_path) == tmp_path
    assert records_folder() == tmp_path / "named"
    monkeypatch.delenv(HOME_VARIABLE)
    assert records_folder().name == "decalprep"


def test_finding_needs_one_answer(tmp_path: Path) -> None:
    save_printer(tmp_path, RECORD)
    save_printer(tmp_path, replace(RECORD, stock="plain paper"))
    assert len(list_printers(tmp_path)) == 2
    assert find_printer(tmp_path, "desk INKJET", stock="Plain paper").stock == "plain paper"
    with pytest.raises(UsageProblem, match="2 records fit"):
        find_printer(tmp_path, "Desk inkjet")
    with pytest.raises(UsageProblem, match="no record of printer 'Other'"):
        find_printer(tmp_path, "Other")
    with pytest.raises(UsageProblem, match="there are: none"):
        find_printer(tmp_path / "empty", "Other")


def _add_one(folder: str) -> None:
    for _ in range(10):
        update_printer(
            Path(folder),
            PrinterRecord("p", "s"),
            lambda r: replace(r, weight_sheets=r.weight_sheets + 1),
        )


def test_two_runs_that_write_at_once_lose_nothing(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    runs = [context.Process(target=_add_one, args=(str(tmp_path),)) for _ in range(2)]
    for run in runs:
        run.start()
    _add_one(str(tmp_path))
    for run in runs:
        run.join(60)
        assert run.exitcode == 0
    assert load_printer(printer_file(tmp_path, "p", "s")).weight_sheets == 30


def test_a_failed_write_leaves_the_old_file_and_no_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = save_printer(tmp_path, RECORD)

    def no_room(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folder_module.os, "fsync", no_room)
    with pytest.raises(OutputProblem, match="No space left"):
        save_printer(tmp_path, replace(RECORD, scale_x=0.05))
    assert load_printer(path) == RECORD
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_a_change_that_raises_leaves_the_old_file(tmp_path: Path) -> None:
    path = save_printer(tmp_path, RECORD)

    def wrong(record: PrinterRecord) -> PrinterRecord:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        update_printer(tmp_path, RECORD, wrong)
    with pytest.raises(UsageProblem, match="rename"):
        update_printer(tmp_path, RECORD, lambda r: replace(r, printer="other"))
    assert load_printer(path) == RECORD


def test_export_and_import(tmp_path: Path) -> None:
    away = tmp_path / "away.json"
    export_printer(RECORD, away)
    home = tmp_path / "home"
    assert import_printer(home, away) == RECORD
    assert import_printer(home, away) == RECORD
    save_printer(home, replace(RECORD, scale_x=0.01))
    with pytest.raises(UsageProblem, match="already a record"):
        import_printer(home, away)
    assert import_printer(home, away, replace=True) == RECORD
    assert list_printers(home) == (RECORD,)


@pytest.mark.parametrize(
    ("damage", "found"),
    [
        (lambda d: "{", "damaged"),
        (lambda d: json.dumps([1]), "is not a decalprep printer record"),
        (lambda d: json.dumps(d | {"kind": "x"}), "is not a decalprep printer record"),
        (lambda d: json.dumps(d | {"version": 9}), "version 9"),
        (lambda d: json.dumps(d | {"scale_x": "0.1"}), "scale_x = '0.1' is not a number"),
        (lambda d: json.dumps(d | {"scale_x": 5}), "scale_x = 5.0 cannot be"),
        (lambda d: json.dumps(d).replace("-1e-07", "NaN"), "not a number"),
        (lambda d: json.dumps(d | {"u_skew": -1}), "u_skew = -1.0 cannot be"),
        (lambda d: json.dumps(d | {"extra": 1}), "unknown entry 'extra'"),
        (lambda d: json.dumps(d | {"printer": ""}), "printer is missing"),
        (lambda d: json.dumps(d | {"margins": 3}), "margins"),
        (lambda d: json.dumps(d | {"history": 3}), "history"),
        (lambda d: json.dumps(d | {"history": [{"scale_x": "a"}]}), "history has scale_x"),
        (lambda d: json.dumps(d | {"measured_on": "May"}), "'May' is not a date"),
        (lambda d: json.dumps(d | {"tray": 3}), "tray = 3 is not text"),
    ],
)
def test_damaged_files_are_refused_by_name(tmp_path: Path, damage: object, found: str) -> None:
    path = save_printer(tmp_path, RECORD)
    data = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(damage(data), encoding="utf-8")  # type: ignore[operator]
    with pytest.raises(InputProblem) as refused:
        load_printer(path)
    assert found in str(refused.value)
    assert str(path) in str(refused.value)


def test_missing_and_unusable_places(tmp_path: Path) -> None:
    with pytest.raises(InputProblem, match="no such record"):
        load_printer(tmp_path / "none.json")
    blocked = tmp_path / "file"
    blocked.write_text("x", encoding="utf-8")
    with pytest.raises(OutputProblem, match=HOME_VARIABLE):
        save_printer(blocked / "deeper", RECORD)


def test_parts(tmp_path: Path) -> None:
    pair = hole_pair("h1-h2", (0, 0), (80, 0), near_mm=76.7, far_mm=83.1)
    record = PartRecord(
        "helm plate",
        scale_x=-0.00125,
        same_rule_as_printer=True,
        readings=((pair.label, pair.model_mm, pair.distance_mm),),
    )
    path = save_part(tmp_path, record)
    assert load_part(tmp_path, "helm plate") == record
    assert list_parts(tmp_path) == (record,)
    with pytest.raises(InputProblem, match="no such record"):
        load_part(tmp_path, "other")
    path.write_text(path.read_text(encoding="utf-8").replace("80.0", '"wide"'), encoding="utf-8")
    with pytest.raises(InputProblem, match="readings"):
        load_part(tmp_path, "helm plate")


def test_part_used_sheets(tmp_path: Path) -> None:
    grid = DieCutGrid(10, 3, 66.7, 25.4, 4.8, 12.7, 69.9, 25.4)
    sheet = Sheet("labels", 215.9, 279.4, stock=StockKind.DIE_CUT, grid=grid, available=3)
    save_sheet(tmp_path, sheet)
    assert load_sheet(tmp_path, "labels") == sheet
    after = take_from_sheet(tmp_path, sheet, labels=(3, 1), areas=(Box(0, 0, 10, 20),))
    after = take_from_sheet(tmp_path, sheet, labels=(3, 4))
    assert after.gone_labels == (1, 3, 4)
    assert load_sheet(tmp_path, "labels") == after
    fresh = take_from_sheet(tmp_path, replace(sheet, name="other", grid=None), labels=(1,))
    assert load_sheet(tmp_path, "other") == fresh
