"""What sheets.pdf carries: the job back from the PDF alone, safely, or nothing at all."""

import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest
from report_job import laid_out, save_records
from small_job import small_files

from decalprep.cli import run
from decalprep.errors import ExitCode, InputProblem, OutputProblem, TooMuch
from decalprep.export import PdfSettings, write_pdf
from decalprep.export.attached import MOST_BYTES, read_attachments
from decalprep.jobs import carry
from decalprep.jobs.carry import LIST_NAME, Unpacked, take_out, write_out
from decalprep.jobs.jobfile import read_job, with_printer
from decalprep.jobs.make import Made, MakeOptions, make_job
from decalprep.jobs.outputs import written
from decalprep.model import Drawing, Sheet
from decalprep.proof import check_structure
from decalprep.proof.expected import ExpectedJob, ExpectedSheet

JOB_TEXT = b'[[panel]]\nname = "a"\nartwork = "a.svg"\n'


SMALL_JOB = """
[[sheet]]
name = "small label"
size = "100 x 80 mm"
stock = "full-sheet label stock"
printer = "office laser"

[[panel]]
name = "winch"
artwork = "winch.svg"
part = "winch-plate.dxf"
part_record = "winch plate 1"

[[panel]]
name = "alarms"
artwork = "alarms.png"
copies = 2
"""


def small_job(folder: Path) -> Path:
    """A job of an SVG with its part as DXF, and a PNG, all small; its records under ``home``."""
    small_files(folder)
    (folder / "job.toml").write_text(SMALL_JOB, encoding="utf-8")
    save_records(folder / "home")
    return folder / "job.toml"


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("source")
    small_job(folder)
    return folder


@pytest.fixture(scope="module")
def made(source: Path) -> Made:
    return make_job(read_job(source / "job.toml"), options_for(source, "home"), lambda _: None)


def options_for(folder: Path, records: str = "records") -> MakeOptions:
    return MakeOptions(records=folder / records, today="2026-01-15")


# ---------------------------------------------------------------- there and back


def test_the_job_comes_back_word_for_word(made: Made, source: Path, tmp_path: Path) -> None:
    unpacked = take_out(made.files["sheets.pdf"], name="sheets.pdf")
    assert unpacked.job == "job.toml"
    assert unpacked.left_out == ()
    assert unpacked.printers == {"small label": "office laser"}
    write_out(unpacked, tmp_path / "back")
    for name in ("job.toml", "winch.svg", "winch-plate.dxf", "alarms.png"):
        assert (tmp_path / "back" / name).read_bytes() == (source / name).read_bytes(), name
    records = sorted(p.name for p in (tmp_path / "back" / "records").rglob("*.json"))
    assert len(records) == 2
    assert records[0].startswith("office-laser")


def test_made_again_from_the_pdf_alone_it_is_the_same_and_for_another_printer_true(
    made: Made, tmp_path: Path
) -> None:
    write_out(take_out(made.files["sheets.pdf"], name="sheets.pdf"), tmp_path)
    job = read_job(tmp_path / "job.toml")
    options = options_for(tmp_path)
    again = make_job(job, options, lambda _: None)
    assert again.laid.kept == len(again.laid.placements)
    assert again.files["sheets.pdf"] == made.files["sheets.pdf"]

    save_records(tmp_path / "home")  # the other printer's too
    other = replace(options, records=tmp_path / "home")
    new = make_job(with_printer(job, "other"), other, lambda _: None)
    assert new.proof.passed
    assert new.proof.worst_mm <= 0.02
    assert [p.x_mm for p in new.laid.placements] == [p.x_mm for p in made.laid.placements]
    assert new.drawings[0].page_from_sheet.a == pytest.approx(1 / 1.004, abs=1e-9)


def test_the_list_tells_versions_and_sums(made: Made) -> None:
    held = read_attachments(made.files["sheets.pdf"], name="sheets.pdf")
    listed = json.loads(held[LIST_NAME])
    assert listed["version"]
    assert {"python", "pikepdf", "typst"} <= listed["versions"].keys()
    assert {f["path"] for f in listed["files"]} >= {"job.toml", "job.placements.json", "winch.svg"}
    for entry in listed["files"]:
        assert hashlib.sha256(held[entry["attached"]]).hexdigest() == entry["sha256"]
        assert "/" not in entry["attached"]


def test_an_independent_reader_finds_the_files_too(made: Made) -> None:
    """pypdf, by its own reading of the name tree (ISO 32000-1, 7.11.4 and 7.9.6)."""
    import io

    from pypdf import PdfReader

    reader = PdfReader(io.BytesIO(made.files["sheets.pdf"]))
    theirs = {name: b"".join(data) for name, data in reader.attachments.items()}
    assert theirs == read_attachments(made.files["sheets.pdf"], name="sheets.pdf")


# ---------------------------------------------------------------- private


def test_a_private_pdf_carries_nothing_and_is_proven_so(made: Made) -> None:
    options = MakeOptions(records=Path("none"), today="2026-01-15", private=True)
    inside = carry.carried(made.job, b"{}", made.records, made.part_records, options)
    assert inside.attachments == ()
    pdf = written(made.job, made.drawings, options, inside.attachments)
    assert read_attachments(pdf, name="x") == {}
    assert b"winch-plate.dxf" not in pdf
    with pytest.raises(InputProblem, match="carries no job"):
        take_out(pdf, name="sheets.pdf")


def test_the_proof_refuses_attachments_where_none_may_be(made: Made) -> None:
    sheet = made.laid.sheets[0]
    expected = ExpectedJob(
        (ExpectedSheet(sheet.width_mm, sheet.height_mm),), (), attachments_allowed=False
    )
    wrong = [f for f in check_structure(made.files["sheets.pdf"], expected) if not f.ok]
    assert any("attachment" in f.found for f in wrong)


def test_private_is_a_word_of_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The whole way by the command line, on the smallest job."""
    (tmp_path / "a.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
        '<rect width="40" height="30" fill="#223"/></svg>'
    )
    sheet = b'[[sheet]]\nname = "small"\nsize = "100 x 80 mm"\n'
    (tmp_path / "job.toml").write_bytes(sheet + JOB_TEXT)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path / "records"))
    assert run(["make", "job.toml", "--private"]) == ExitCode.OK
    assert run(["unpack", "job-out/sheets.pdf", "back"]) == ExitCode.INPUT
    assert "carries no job" in capsys.readouterr().err
    assert not Path("back").exists()
    assert run(["make", "job-out/sheets.pdf"]) == ExitCode.JOB
    assert "decalprep unpack" in " ".join(capsys.readouterr().err.split())


# ---------------------------------------------------------------- limits and links


def test_what_is_too_large_is_left_out_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = read_job(laid_out(tmp_path))
    monkeypatch.setattr(carry, "MOST_CARRIED_BYTES", 10_000)
    inside = carry.carried(job, b"{}", (), (), options_for(tmp_path))
    names = {name for name, _ in inside.attachments}
    assert "winch.svg" in names
    assert "alarms.png" not in names
    (notice,) = inside.notices
    assert "alarms.png" in notice.text
    pdf = write_pdf([Drawing(Sheet("x", 50, 50), ())], PdfSettings(attachments=inside.attachments))
    assert take_out(pdf, name="x").left_out == ("alarms.png",)


def test_what_a_drawing_links_to_is_carried_too_and_nothing_from_outside(tmp_path: Path) -> None:
    home = tmp_path / "job"
    (home / "art" / "more").mkdir(parents=True)
    (tmp_path / "secret.png").write_bytes(b"secret")
    (home / "art" / "badge 1.png").write_bytes(b"badge")
    (home / "art" / "more" / "house.css").write_text('@import "colours.css"; a { fill: red }')
    (home / "art" / "more" / "colours.css").write_text("b { fill: url(../badge%201.png) }")
    (home / "art" / "a.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg"><style>@import "more/house.css";</style>'
        '<image href="../../secret.png"/><image href="/etc/passwd"/><use href="#own"/>'
        '<image href="data:image/png;base64,AAAA"/><image href="missing.png"/></svg>'
    )
    (home / "job.toml").write_bytes(JOB_TEXT.replace(b"a.svg", b"art/a.svg"))
    inside = carry.carried(read_job(home / "job.toml"), b"{}", (), (), options_for(tmp_path))
    listed = json.loads(dict(inside.attachments)[LIST_NAME])
    assert {f["path"] for f in listed["files"]} == {
        "job.toml",
        "job.placements.json",
        "art/a.svg",
        "art/badge 1.png",
        "art/more/house.css",
        "art/more/colours.css",
    }
    assert all(data != b"secret" for _, data in inside.attachments)


def test_names_stay_apart_where_folders_are_flattened() -> None:
    names = carry._attachment_names(["a/b.svg", "a - b.svg", "A - B.svg", LIST_NAME])
    assert len({n.casefold() for n in [*names.values(), LIST_NAME]}) == 5


# ---------------------------------------------------------------- hostile files


def packed(*paths: str, job: str = "job.toml", **changes: object) -> bytes:
    """A PDF that carries files by these paths, as a stranger might make it."""
    files = [("job.toml", JOB_TEXT), *((path, b"data of " + path.encode()) for path in paths)]
    entries = [
        {
            "path": path,
            "attached": f"file {k}",
            "bytes": len(data),
            "sha256": hashlib.sha256(data).hexdigest(),
        }
        for k, (path, data) in enumerate(files)
    ]
    listed = {
        "carried": carry.SCHEMA,
        "job": job,
        "files": entries,
        "left_out": [],
        "printers": {},
        **changes,
    }
    attachments = [(f"file {k}", data) for k, (_, data) in enumerate(files)]
    attachments.append((LIST_NAME, json.dumps(listed).encode()))
    settings = PdfSettings(attachments=tuple(attachments))
    return write_pdf([Drawing(Sheet("x", 50, 50), ())], settings)


@pytest.mark.parametrize(
    "path",
    [
        "../evil.txt",
        "a/../../evil.txt",
        "/etc/evil",
        "C:/evil.txt",
        "C:evil.txt",
        "..\\evil.txt",
        "a\\b.txt",
        "\\\\server\\share",
        ".bashrc",
        "a/.hidden",
        "a//b",
        "",
        "a\nb",
        "x" * 300,
        "JOB.TOML",
    ],
)
def test_a_path_that_leaves_the_folder_is_refused(path: str, tmp_path: Path) -> None:
    with pytest.raises(InputProblem, match="cannot be written safely"):
        take_out(packed(path), name="sheets.pdf")


@pytest.mark.parametrize("path", ["CON", "a/nul.txt", "what?.txt", "trailing. "])
def test_a_name_that_some_system_refuses_is_refused_everywhere(path: str, tmp_path: Path) -> None:
    with pytest.raises(OutputProblem):
        write_out(take_out(packed(path), name="sheets.pdf"), tmp_path / "out")
    assert not list(tmp_path.rglob("job.toml"))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"carried": "decalprep carried 9"}, "newer decalprep"),
        ({"carried": None}, "newer decalprep"),
        ({"files": 3}, "damaged"),
        ({"files": [{"path": "job.toml"}]}, "damaged"),
        ({"files": []}, "job file is not among"),
        ({"printers": [1]}, "damaged"),
        ({"left_out": None}, "damaged"),
    ],
)
def test_a_list_that_is_wrong_is_refused(changes: dict[str, object], told: str) -> None:
    with pytest.raises(InputProblem, match=told):
        take_out(packed(**changes), name="sheets.pdf")


def test_a_file_changed_on_the_way_is_refused() -> None:
    entry = {"path": "job.toml", "attached": "file 0", "bytes": 3, "sha256": "0" * 64}
    with pytest.raises(InputProblem, match=re.escape("job.toml was changed")):
        take_out(packed(files=[entry]), name="sheets.pdf")


def test_a_small_file_that_unpacks_to_a_huge_one_is_refused() -> None:
    with pikepdf.new() as pdf:
        pdf.add_blank_page()
        spec = pikepdf.AttachedFileSpec(pdf, b"\0" * (MOST_BYTES + 1), filename="bomb")
        pdf.attachments["bomb"] = spec
        import io

        out = io.BytesIO()
        pdf.save(out)
    assert len(out.getvalue()) < 200_000
    with pytest.raises(TooMuch, match="64 MB"):
        read_attachments(out.getvalue(), name="bomb.pdf")


@pytest.mark.parametrize("data", [b"", b"no pdf", b"%PDF-1.7\n%%EOF"])
def test_what_is_no_pdf_is_refused(data: bytes) -> None:
    with pytest.raises(InputProblem):
        take_out(data, name="sheets.pdf")


def test_a_name_tree_that_holds_itself_ends() -> None:
    import io

    with pikepdf.new() as pdf:
        pdf.add_blank_page()
        tree = pdf.make_indirect(pikepdf.Dictionary())
        tree.Kids = pikepdf.Array([tree] * 500)
        pdf.Root.Names = pikepdf.Dictionary(EmbeddedFiles=tree)
        out = io.BytesIO()
        pdf.save(out)
    assert read_attachments(out.getvalue(), name="loop.pdf") == {}


# ---------------------------------------------------------------- writing


def unpacked(**files: bytes) -> Unpacked:
    return Unpacked({"job.toml": JOB_TEXT, **files}, "job.toml", (), {})


def test_nothing_is_overwritten_unless_asked(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("mine")
    with pytest.raises(OutputProblem, match="--force"):
        write_out(unpacked(extra=b"new"), tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["job.toml"]
    assert (tmp_path / "job.toml").read_text() == "mine"
    write_out(unpacked(extra=b"new"), tmp_path, force=True)
    assert (tmp_path / "job.toml").read_bytes() == JOB_TEXT
    write_out(unpacked(extra=b"new"), tmp_path)  # the same again harms nothing


def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    home = tmp_path / "home"
    home.mkdir()
    (home / "art").symlink_to(outside)
    files = Unpacked({"job.toml": JOB_TEXT, "art/a.svg": b"x"}, "job.toml", (), {})
    with pytest.raises(OutputProblem, match="link out of it"):
        write_out(files, home, force=True)
    assert list(outside.iterdir()) == []
    (home / "art").unlink()
    (home / "job.toml").symlink_to(outside / "elsewhere.toml")
    with pytest.raises(OutputProblem, match="--force"):
        write_out(files, home)
    write_out(files, home, force=True)
    assert list(outside.iterdir()) == []
    assert not (home / "job.toml").is_symlink()
