"""Job files: every fault at once, each with its line; nothing bad gets through."""

from dataclasses import astuple
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from decalprep.errors import ExitCode, JobProblem
from decalprep.jobs.jobfile import line_map, read_job
from decalprep.jobs.manual import manual
from decalprep.jobs.schema import TABLES
from decalprep.model import StockKind
from decalprep.nesting import example_grids


def job(folder: Path, text: str, *files: str) -> Path:
    for file in files:
        (folder / file).write_bytes(b"x")
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder: Path, text: str, *files: str) -> list[str]:
    with pytest.raises(JobProblem) as caught:
        read_job(job(folder, text, *files))
    assert caught.value.exit_code == ExitCode.JOB
    return caught.value.faults


GOOD = '[[panel]]\nname = "winch"\nartwork = "winch.svg"\n'


def test_smallest_job(tmp_path: Path) -> None:
    read = read_job(job(tmp_path, GOOD, "winch.svg"))
    assert [p.name for p in read.panels] == ["winch"]
    assert read.sheets[0].sheet.width_mm == 210.0
    assert read["hairline"] == 0.1


def test_all_faults_at_once_with_their_lines(tmp_path: Path) -> None:
    text = (
        '[job]\ngap = 3\nhairlin = "0.1 mm"\n'
        '[[sheet]]\nsize = "A9"\n'
        '[[panel]]\nname = "winch"\nartwork = "missing.svg"\ncopies = 0\nwidth = "4 furlong"\n'
    )
    found = faults(tmp_path, text)
    assert [f.split(": ")[0] for f in found] == [
        "job.toml:2",
        "job.toml:3",
        "job.toml:5",
        "job.toml:8",
        "job.toml:9",
        "job.toml:10",
    ]
    assert 'did you mean "hairline"' in found[1]
    assert '"3 mm"' in found[0]


def test_unknown_tables_and_doubled_names_are_told_with_their_lines(tmp_path):
    panel = '[[panel]]\nname = "{}"\nartwork = "a.svg"\n'
    source = tmp_path / "job.toml"
    source.write_text(panel.format("helm") + panel.format("Helm") + "[[panels]]\n[shet]\n")
    (tmp_path / "a.svg").write_text("<svg/>")
    with pytest.raises(JobProblem) as caught:
        read_job(source)
    told = "\n".join(caught.value.faults)
    assert 'job.toml:5: two panels are called "Helm" (the other in line 2)' in told
    assert 'job.toml:7: unknown table "panels"' in told
    assert 'job.toml:8: unknown table "shet"' in told


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("copies = 0", "from 1 to"),
        ("copies = 1.5", "whole number"),
        ("copies = true", "whole number"),
        ('width = "120"', "has no unit"),
        ("width = 120", '"120 mm"'),
        ('width = "-5 mm"', "above zero"),
        ('width = "1e999 mm"', "finite"),
        ('width = "9000 mm"', "beyond"),
        ("scale = nan", "finite"),
        ("scale = inf", "finite"),
        ('bleed = "-1 mm"', "negative"),
        ('turns = "sideways"', "must be one of"),
        ('turns = "any angle"\nturn_step = 50', "divide 360"),
        ("turn_step = 45", 'goes with turns = "any angle"'),
        ('part = "../plate.stl"', "inside the job file's folder"),
        ('part = "/etc/plate.stl"', "inside the job file's folder"),
        ('part = "C:\\\\plates\\\\plate.stl"', "inside the job file's folder"),
        ('part_record = "a/b"', "without"),
        ('sheets = ["no such"]', "no [[sheet]] is called"),
        ('back_part = "winch.svg"', 'needs "part"'),
        ('colour = "red"', "unknown key"),
        ('hide_layers = "guides"', "square brackets"),
        ('scale = 2.0\nwidth = "3 mm"', "not both"),
    ],
)
def test_each_fault_is_named(tmp_path: Path, line: str, words: str) -> None:
    found = faults(tmp_path, GOOD + line + "\n", "winch.svg")
    assert any(words in f for f in found), found
    assert all(f.startswith("job.toml:") for f in found)


def test_names_must_differ_and_suit_every_system(tmp_path: Path) -> None:
    two = GOOD + GOOD.replace('"winch"', '"Winch"')
    assert "two panels" in faults(tmp_path, two, "winch.svg")[0]
    for bad in ("a:b", "con", "COM1.x", "tail.", "x" * 81):
        text = f'[[panel]]\nname = "{bad}"\nartwork = "winch.svg"\n'
        assert faults(tmp_path, text, "winch.svg")


def test_links_out_of_the_folder_are_refused(tmp_path: Path) -> None:
    inside = tmp_path / "job"
    inside.mkdir()
    (tmp_path / "secret.svg").write_text("x")
    (inside / "winch.svg").symlink_to(tmp_path / "secret.svg")
    assert "links to a place outside" in faults(inside, GOOD)[0]


def test_grid_goes_with_die_cut_stock(tmp_path: Path) -> None:
    grid = (
        '[[sheet]]\nstock = "die-cut label stock"\nstart_at = 4\n[sheet.grid]\nrows = 9\n'
        'columns = 3\nlabel_width = "63.5 mm"\nlabel_height = "29.6 mm"\nleft = "7 mm"\n'
        'top = "15 mm"\npitch_x = "66 mm"\npitch_y = "29.6 mm"\n'
    )
    sheet = read_job(job(tmp_path, grid + GOOD, "winch.svg")).sheets[0].sheet
    assert sheet.stock is StockKind.DIE_CUT
    assert sheet.gone_labels == (1, 2, 3)
    plain = grid.replace("die-cut label stock", "plain paper")
    assert any("only it" in f for f in faults(tmp_path, plain + GOOD, "winch.svg"))


@pytest.mark.parametrize("data", [b"\xff\xfe\x00", b"panel = [", b"[" * 5000, b"= = ="])
def test_what_is_no_toml_is_one_line(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(data)
    with pytest.raises(JobProblem) as caught:
        read_job(path)
    assert len(caught.value.faults) == 1


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    value=st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=12),
        st.lists(st.integers(), max_size=3),
    ),
    table=st.sampled_from(TABLES),
    data=st.data(),
)
def test_no_value_breaks_a_kind(value: object, table: object, data: st.DataObject) -> None:
    from decalprep.jobs.kinds import Fault

    key = data.draw(st.sampled_from(table[1]))  # type: ignore[index]
    try:
        key.kind(value)
    except Fault as fault:
        assert str(fault)


def test_the_manual_names_every_key_and_fits_80_columns() -> None:
    lines = manual()
    assert max(map(len, lines)) <= 80
    for _, keys, _ in TABLES:
        for key in keys:
            assert any(line.strip().startswith(f"{key.name} =") for line in lines)


def test_the_manuals_grids_are_read_as_they_stand(tmp_path: Path) -> None:
    lines = manual("sheet.grid")
    assert max(map(len, lines)) <= 80
    start = next(k for k, line in enumerate(lines) if line.strip() == "[[sheet]]")
    (tmp_path / "a.svg").write_text("<svg/>")
    path = tmp_path / "job.toml"
    path.write_text(chr(10).join(lines[start:]) + '\n[[panel]]\nname = "a"\nartwork = "a.svg"\n')
    found = [spec.sheet for spec in read_job(path).sheets]
    for sheet, example in zip(found, example_grids(), strict=True):
        assert sheet.grid is not None
        assert example.grid is not None
        assert astuple(sheet.grid) == pytest.approx(astuple(example.grid), abs=1e-3)


def test_line_map_counts_tables() -> None:
    lines = line_map(
        "[job]\ntitle = 'x'\n[[sheet]]\n[sheet.grid]\nrows = 1\n[[sheet]]\nsize = 'A4'\n"
    )
    assert lines[("sheet", "0", "grid", "rows")] == 5
    assert lines[("sheet", "1", "size")] == 7
