"""Beginner's mistakes: one clear message, the documented exit code, earlier output as it was."""

import os
import stat
import struct
import zlib
from pathlib import Path

import pikepdf
import pytest
from PIL import Image

import decalprep
from decalprep.cli import run
from decalprep.errors import ExitCode
from decalprep.model import PartRecord, PrinterRecord
from decalprep.records import save_part, save_printer

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" viewBox="0 0 60 40">'
    '<rect width="60" height="40" fill="#223"/></svg>'
)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a good artwork, and earlier output that must stay as it is."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path / "records"))
    (tmp_path / "bilge.svg").write_text(SVG.format(w="60mm", h="40mm"))
    out = tmp_path / "job-out"
    out.mkdir()
    (out / "sheets.pdf").write_bytes(b"earlier")
    return tmp_path


def job(folder: Path, panel: str = "", sheet: str = "", artwork: str = "bilge.svg") -> None:
    lines = ["[[sheet]]", 'size = "A4"', sheet, "[[panel]]", 'name = "bilge"']
    lines += [f'artwork = "{artwork}"', panel, ""]
    (folder / "job.toml").write_text("\n".join(lines))


def fails(capsys: pytest.CaptureFixture[str], args: list[str], code: int, *words: str) -> None:
    assert run(args) == code
    shown = capsys.readouterr().err
    flat = " ".join(shown.split())
    assert "Traceback" not in shown
    assert flat.count("decalprep: ") == 1, shown
    for word in words:
        assert word in flat, shown
    assert all(len(line) <= 100 for line in shown.splitlines()), shown
    earlier = Path("job-out/sheets.pdf")
    assert earlier.read_bytes() == b"earlier"
    assert [p.name for p in Path("job-out").iterdir()] == ["sheets.pdf"]


JOB = ["make", "job.toml"]


def test_wrong_path_of_the_job(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench)
    fails(capsys, ["make", "jbo.toml"], ExitCode.JOB, "no such file", "did you mean 'job.toml'?")
    fails(capsys, ["make", "attic/job.toml"], ExitCode.JOB, "there is no folder 'attic'")
    fails(capsys, ["measure", "job.toml", "bilge.pngg"], ExitCode.INPUT, "no such file")


def test_a_folder_for_a_job(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fails(capsys, ["make", "."], ExitCode.JOB, "is a folder")


def test_an_artwork_for_a_job(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    start = "'decalprep new bilge.svg' starts a job"
    fails(capsys, ["make", "bilge.svg"], ExitCode.JOB, "an SVG artwork, not a job file", start)
    fails(capsys, ["part", "holes", "bilge.svg", "bilge"], ExitCode.JOB, start)
    Image.new("RGB", (40, 30), "#223").save(bench / "bilge.png")
    fails(capsys, ["make", "bilge.png"], ExitCode.JOB, "a picture", "'decalprep new bilge.png'")
    with pikepdf.new() as pdf:
        pdf.add_blank_page(page_size=(200, 100))
        pdf.save(bench / "one.pdf")
    told = ("'decalprep new one.pdf'", "'decalprep unpack one.pdf FOLDER'")
    fails(capsys, ["make", "one.pdf"], ExitCode.JOB, *told)


def test_a_part_for_a_job(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = Path(decalprep.__file__).parent / "data" / "demo" / "searchlight-face.stl"
    (bench / "plate.stl").write_bytes(source.read_bytes())
    fails(capsys, ["make", "plate.stl"], ExitCode.JOB, "is a part (STL)", "decalprep new")


def test_a_job_file_that_is_no_toml(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, "width = 60,5")
    fails(capsys, JOB, ExitCode.JOB, "line 7, column 11", "decimal comma", '"60.5 mm"')


def test_wrong_path_of_the_artwork(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, artwork="blige.svg")
    near = "did you mean 'bilge.svg'?"
    fails(capsys, JOB, ExitCode.JOB, "job.toml:6", "blige.svg is not there", near)


def test_a_unit_that_is_none(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, 'width = "12 fathom"')
    fails(capsys, JOB, ExitCode.JOB, "unknown unit")


def test_a_size_without_unit(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, "width = 60")
    fails(capsys, JOB, ExitCode.JOB, '"60 mm"')


def test_a_size_in_inches_that_was_meant_in_mm(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job(bench, 'width = "60 in"')
    fails(capsys, JOB, ExitCode.FIT, "1524", "fits no sheet")


def test_no_size_anywhere(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (bench / "bare.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40">'
        '<rect width="60" height="40"/></svg>'
    )
    job(bench, artwork="bare.svg")
    fails(capsys, JOB, ExitCode.INPUT, "true size", 'width = "')


def test_a_picture_without_density(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Image.new("RGB", (400, 300), "#223").save(bench / "bare.png")
    job(bench, artwork="bare.png")
    fails(capsys, JOB, ExitCode.INPUT, "bare.png", "width")


def test_a_decal_larger_than_the_sheet(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, 'width = "400 mm"')
    fails(capsys, JOB, ExitCode.FIT, "bilge", "larger sheet")


def test_zero_copies(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, "copies = 0")
    fails(capsys, JOB, ExitCode.JOB, "copies", "from 1")


def test_more_copies_than_sheets(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, "copies = 60", "available = 1")
    fails(capsys, JOB, ExitCode.FIT, "run out")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench)
    locked = bench / "locked"
    locked.mkdir()
    locked.chmod(stat.S_IRUSR | stat.S_IXUSR)
    fails(capsys, [*JOB, "--to", "locked"], ExitCode.OUTPUT, "cannot be written")


def test_a_file_where_the_folder_should_go(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench)
    (bench / "there").write_text("a file")
    fails(capsys, [*JOB, "--to", "there"], ExitCode.OUTPUT, "there")
    assert (bench / "there").read_text() == "a file"


def test_a_corrupt_pdf(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (bench / "torn.pdf").write_bytes(b"%PDF-1.7\n" + bytes(range(256)) * 4)
    job(bench, artwork="torn.pdf")
    fails(capsys, JOB, ExitCode.INPUT, "torn.pdf")


def test_a_pdf_with_a_password(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pikepdf.new() as pdf:
        pdf.add_blank_page(page_size=(200, 100))
        pdf.save(bench / "kept.pdf", encryption=pikepdf.Encryption(owner="o", user="secret"))
    job(bench, artwork="kept.pdf")
    fails(capsys, JOB, ExitCode.INPUT, "kept.pdf", "password")


def test_a_pdf_page_that_is_not_there(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pikepdf.new() as pdf:
        pdf.add_blank_page(page_size=(200, 100))
        pdf.save(bench / "one.pdf")
    job(bench, "page = 3", artwork="one.pdf")
    fails(capsys, JOB, ExitCode.JOB, "job.toml:4:", "one.pdf", "no page 3", "only page 1")


def test_an_empty_svg(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (bench / "empty.svg").write_text("")
    job(bench, artwork="empty.svg")
    fails(capsys, JOB, ExitCode.INPUT, "empty.svg", "empty")


def test_an_svg_that_draws_nothing(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (bench / "blank.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm"/>'
    )
    job(bench, artwork="blank.svg")
    fails(capsys, JOB, ExitCode.INPUT, "blank.svg", "draws nothing")


def test_a_text_file_called_svg(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (bench / "note.svg").write_text("port engine panel, 60 by 40")
    job(bench, artwork="note.svg")
    fails(capsys, JOB, ExitCode.INPUT, "note.svg")


def test_a_picture_of_a_billion_pixels(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wide, high = 40_000, 30_000
    packer = zlib.compressobj(1)
    rows = bytes(1000 * (1 + wide // 8))  # each begins with its filter, none
    data = b"".join(packer.compress(rows) for _ in range(high // 1000)) + packer.flush()
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", wide, high, 1, 0, 0, 0, 0)),
        (b"pHYs", struct.pack(">IIB", 23622, 23622, 1)),  # 600 dpi
        (b"IDAT", data),
        (b"IEND", b""),
    )
    (bench / "huge.png").write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + b"".join(
            struct.pack(">I", len(part)) + name + part + struct.pack(">I", zlib.crc32(name + part))
            for name, part in parts
        )
    )
    job(bench, artwork="huge.png")
    fails(capsys, JOB, ExitCode.INPUT, "huge.png", "pixels")


def test_a_part_given_as_artwork(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = Path(decalprep.__file__).parent / "data" / "demo" / "searchlight-face.stl"
    (bench / "plate.stl").write_bytes(source.read_bytes())
    job(bench, artwork="plate.stl")
    fails(capsys, JOB, ExitCode.INPUT, "plate.stl", "part")


def test_a_layer_that_is_not_there(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    layers = "".join(f'<g id="{n}"><path d="M1 1H9V9H1Z"/></g>' for n in ("holes", "guides", "cut"))
    (bench / "bilge.svg").write_text(
        SVG.format(w="60mm", h="40mm").replace("<rect", layers + "<rect")
    )
    for key in ('outline_layer = "ctu"', 'hide_layers = ["ctu"]', 'hole_layer = "ctu"'):
        job(bench, key)
        fails(capsys, JOB, ExitCode.JOB, "job.toml:7:", "'ctu'", "'cut', 'guides', 'holes'")


def test_a_printer_never_calibrated(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench, sheet='printer = "office laser"')
    fails(capsys, JOB, ExitCode.JOB, "job.toml:3:", "office laser", "none", "calibration page")
    fails(capsys, [*JOB, "--printer", "inkjet"], ExitCode.USAGE, "'inkjet'", "calibration page")


def test_a_printer_and_a_part_misspelt(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for printer in ("office laser", "desk inkjet"):
        save_printer(bench / "records", PrinterRecord(printer, "plain paper"))
    save_part(bench / "records", PartRecord("bilge plate"))
    job(bench, sheet='printer = "ofice laser"')
    near = "there are: 'office laser / plain paper', 'desk inkjet / plain paper'"
    fails(capsys, JOB, ExitCode.JOB, "job.toml:3:", near)
    job(bench, 'part_record = "bilge plat"')
    fails(capsys, JOB, ExitCode.JOB, "job.toml:7:", "there are: 'bilge plate'")


def test_readings_of_a_page_that_the_dialog_scaled(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    args = [
        "calibrate",
        "enter",
        "--printer",
        "office laser",
        "across1=164.9 across2=164.9 down1=247.3 down2=247.4",
    ]
    fails(capsys, args, ExitCode.READINGS, "dialog", "100 %", "add --accept dialog-scaling")


def test_readings_that_are_no_lengths(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    args = ["calibrate", "enter", "--printer", "office laser", "across1=l69.8"]
    fails(capsys, args, ExitCode.USAGE, "across1")


def test_a_command_that_is_none(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fails(capsys, ["mkae", "job.toml"], ExitCode.USAGE, "did you mean 'make'")


def test_an_option_that_is_none(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fails(capsys, ["make", "job.toml", "--out", "x"], ExitCode.USAGE, "--out")


def test_a_job_file_that_is_there_already(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(bench)
    before = (bench / "job.toml").read_bytes()
    fails(capsys, ["new", "bilge.svg"], ExitCode.USAGE, "there already")
    assert (bench / "job.toml").read_bytes() == before


def test_a_new_job_of_missing_files(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    near = "did you mean 'bilge.svg'?"
    fails(capsys, ["new", "blige.svg"], ExitCode.USAGE, "no such file", near)
    fails(capsys, ["look", "blige.svg"], ExitCode.INPUT, "there is no such file", near)


def test_interrupted_runs_say_so_and_leave_everything(
    bench: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    job(bench)
    monkeypatch.setattr("decalprep.jobs.make.written", stop)
    fails(capsys, JOB, ExitCode.INTERRUPTED, "earlier output is as it was")


@pytest.mark.parametrize("x", ["300 mm", "-3 mm", "59 mm"])
def test_a_hole_off_the_decal(bench: Path, capsys: pytest.CaptureFixture[str], x: str) -> None:
    job(bench, f'[[panel.hole]]\nx = "{x}"\ny = "20 mm"\ndiameter = "5 mm"')
    fails(capsys, JOB, ExitCode.INPUT, "does not lie inside the cut outline")
