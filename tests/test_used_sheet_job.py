"""A used sheet handed in as a scan: shown, remembered, and the next job keeps off what is gone."""

from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from stock_cases import ink, make, panel, plate, result, write_job
from virtual.used import FACE, INK, LINER, Area, saved, scan, sheet

from decalprep.cli import run
from decalprep.errors import ExitCode
from decalprep.export import write_pdf
from decalprep.marks import sheet_marks
from decalprep.model import Drawing, Margins, Sheet, StockKind

A4 = (210.0, 297.0)
PEELED: Area = (20, 20, 190, 150)
PRINTED: Area = (60, 200, 150, 250)
TEXT = '[[sheet]]\nname = "labels"\nsize = "A4"\nstock = "full-sheet label stock"\n'


def marked() -> np.ndarray:
    """The sheet as an earlier run printed it, peeled and printed on; with its marks."""
    stock = Sheet("labels", *A4, Margins(), StockKind.LABEL)
    pdf = write_pdf([Drawing(stock, sheet_marks(stock, title="Console", note="no correction"))])
    rgb = sheet(A4, [(PEELED, LINER), (PRINTED, INK)])
    page = pypdfium2.PdfDocument(pdf)[0].render(scale=rgb.shape[1] / (210 / 25.4 * 72))
    drawn = page.to_numpy()[: rgb.shape[0], : rgb.shape[1], :3]
    return np.minimum(rgb, np.pad(drawn, [(0, 1), (0, 1), (0, 0)], mode="edge")[: len(rgb), :1050])


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path / "records"))
    plate(tmp_path / "lamp.pdf", 60, 40)
    write_job(tmp_path, TEXT + "leftovers = true\n" + panel("lamp", "copies = 2"))
    return tmp_path


def scanned(folder: Path, picture: np.ndarray, dpi: float = 100) -> None:
    (folder / "used.png").write_bytes(saved(picture, dpi=dpi))


def hand_in(folder: Path, *more: str) -> int:
    where = (str(folder / "used.png"), "half a sheet", "--job", str(folder / "job.toml"))
    return run(["stock", "scan", *where, *more])


def kept(folder: Path) -> list[Path]:
    return list((folder / "records").glob("sheets/*.json"))


def said(capsys: pytest.CaptureFixture[str]) -> str:
    out = capsys.readouterr()
    return " ".join((out.out + out.err).split())


def test_it_is_shown_first_then_remembered_and_the_next_job_keeps_off(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scanned(folder, scan(marked(), A4, dpi=100, turn_deg=181.2))
    assert hand_in(folder) == 0
    told = said(capsys)
    assert "turned by 180 degrees" in told
    assert "Nothing is remembered yet" in told
    assert "hot laser printer" in told
    assert "maker's data sheet" in told
    assert (folder / "used-gone.png").read_bytes().startswith(b"\x89PNG")
    assert kept(folder) == []
    assert hand_in(folder, "--yes") == 0
    assert "Remembered as 'half a sheet', about" in said(capsys)
    assert make(folder / "job.toml") == 0
    made = result(folder / "job-out")
    assert "half a sheet" in " ".join(n["text"] for n in made["notices"])
    assert made["sheets"]["count"] == 1
    printed = ink(folder / "job-out", 0)
    px = 200 / 25.4
    assert printed.any()
    for x0, y0, x1, y1 in (PEELED, PRINTED):
        rows = slice(int((297 - y1 - 1.5) * px), int((297 - y0 + 1.5) * px))
        assert not printed[rows, int((x0 - 1.5) * px) : int((x1 + 1.5) * px)].any()


def test_which_way_round_it_lies_is_never_guessed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lying = scan(marked(), A4, dpi=100, turn_deg=0.8)
    scanned(folder, lying[:, ::-1])
    assert hand_in(folder, "--yes") == ExitCode.INPUT
    assert "the scan is mirrored" in said(capsys)
    scanned(folder, scan(sheet(A4, [(PEELED, LINER)], FACE), A4, dpi=100))
    assert hand_in(folder, "--yes") == ExitCode.INPUT
    assert "give --turn 0 (or 90, 180, 270" in said(capsys)
    assert kept(folder) == []
    assert hand_in(folder, "--yes", "--turn", "0") == 0
    assert len(kept(folder)) == 1


def test_mistakes_are_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scanned(folder, scan(sheet(A4, []), A4, dpi=60), dpi=60)
    scan_it = ["stock", "scan", str(folder / "used.png"), "mine"]
    assert run(scan_it) == ExitCode.USAGE
    assert "give --job JOB-FILE" in said(capsys)
    for more in (
        ["--sheet", "A3"],
        ["--margin", "0mm"],
        ["--margin", "2"],
        ["--whole-at", "20mm"],
        ["--turn", "45"],
    ):
        assert hand_in(folder, *more) == ExitCode.USAGE, more
    assert hand_in(folder, "--turn", "0", "--whole-at", "900mm,900mm") == ExitCode.INPUT
    assert "not in view" in said(capsys)
    (folder / "used.png").write_bytes(b"no picture")
    assert hand_in(folder, "--turn", "0") == ExitCode.INPUT
    assert kept(folder) == []


def test_the_picture_does_not_take_the_scans_place(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "used.png").write_bytes(b"the scan")
    assert hand_in(folder, "--to", str(folder / "console" / ".." / "used.png")) == ExitCode.USAGE
    assert "--to names the scan itself" in said(capsys)
    assert (folder / "used.png").read_bytes() == b"the scan"
