"""Two kinds of sheet in one job: each one's correction, and costs, told apart."""

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import Made, MakeOptions, make_job
from decalprep.jobs.report import report_html
from decalprep.jobs.tell import result_text
from decalprep.jobs.tell_sheets import SheetRun, kind_names
from decalprep.model import PrinterRecord
from decalprep.records import save_printer

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="30mm" viewBox="0 0 {w} 30">'
    '<rect width="{w}" height="30" fill="#223"/></svg>'
)
JOB = """
[[sheet]]
name = "label"
stock = "full-sheet label stock"
printer = "office laser"
price = 0.4
[[sheet]]
name = "plain"
price = 0.05
[[panel]]
name = "bilge"
artwork = "a.svg"
sheets = ["label"]
[[panel]]
name = "fire"
artwork = "b.svg"
sheets = ["plain"]
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    folder = tmp_path_factory.mktemp("two")
    record = PrinterRecord("office laser", "full-sheet label stock", scale_x=-0.0027, scale_y=0.001)
    save_printer(folder / "records", record)
    (folder / "a.svg").write_text(SVG.format(w=60))
    (folder / "b.svg").write_text(SVG.format(w=40))
    (folder / "job.toml").write_text(JOB)
    options = MakeOptions(records=folder / "records", today="2026-01-15", preview_dpi=30)
    return make_job(read_job(folder / "job.toml"), options, lambda _: None)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_text_tells_each_kinds_own_correction(made: Made) -> None:
    told = flat(result_text(made))
    assert "sheet 1 (label): corrected x +0.271 %, y -0.100 %, lean 0.000 %" in told
    assert "for office laser, full-sheet label stock. Over 60 x 30 mm" in told
    assert "sheet 2 (plain): not corrected for a printer." in told


def test_kinds_without_a_record_are_all_named(made: Made) -> None:
    told = flat(result_text(replace(made, records=(None, None))))
    assert "sheet 1 (label): not corrected" in told
    assert "sheet 2 (plain): not corrected" in told


def test_kinds_without_a_name_are_not_taken_for_numbers(made: Made) -> None:
    bare = [
        replace(s, sheet=replace(s.sheet, name=f"sheet {k}"))
        for k, s in enumerate(made.job.sheets, 1)
    ]
    assert kind_names(replace(made.job, sheets=tuple(bare)))["sheet 2"] == "[[sheet]] 2"
    assert kind_names(replace(made.job, sheets=(bare[0],))) == {"sheet 1": ""}
    assert SheetRun("", (1, 2), None).title == "sheets 1, 2"


def test_the_report_and_the_build_sheets_tell_it_too(made: Made) -> None:
    report = flat(report_html(made, made.files).decode())
    assert "sheet 1 (label): corrected for office laser, across +0.271 %, up -0.100 %" in report
    assert "sheet 2 (plain): not corrected for a printer" in report
    pages = PdfReader(io.BytesIO(made.files["build-sheets.pdf"])).pages
    first, second, *plans = (flat(page.extract_text()) for page in pages)
    assert len(plans) == 2
    assert "sheet 1 (label), corrected x +0.271 %" in first
    assert "sheet 2 (plain), no printer correction" in second


def test_costs_name_their_money(made: Made) -> None:
    told = flat(result_text(made))
    assert "bilge: 1.00 sheets of stock, 0.40 fire: 1.00 sheets of stock, 0.05" in told
    assert "Costs are in the job's money" in told
    settings = replace(made.job.settings, values={**made.job.settings.values, "currency": "EUR"})
    priced = replace(made, job=replace(made.job, settings=settings))
    told = flat(result_text(priced))
    assert "0.40 EUR" in told
    assert "job's money" not in told
    report = flat(report_html(priced, made.files).decode())
    assert "0.40 EUR" in report
    assert "job's money" not in report.replace("&#x27;", "'").replace("&#39;", "'")
