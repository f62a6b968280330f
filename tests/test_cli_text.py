"""What the command line says: width, examples, colour, progress, completion, interruption."""

import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from hostile_runs import Runs, shared_runs

import decalprep
from decalprep.cli import COMMANDS, group, run
from decalprep.cli.text import WIDTH, Progress
from decalprep.errors import ExitCode
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import MakeOptions, make_job, steps_of

ROOT = Path(decalprep.__file__).parent.parent
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="30mm" height="20mm" viewBox="0 0 30 20">'
    '<rect width="30" height="20" fill="#223"/><path d="M5 5H25" stroke="#fff" '
    'stroke-width="0.05"/></svg>'
)
PANEL = '[[panel]]\nname = "{}"\nartwork = "a.svg"\n'
JOB = (
    '[[sheet]]\nname = "small"\nsize = "100 x 80 mm"\n'
    + PANEL.format("bilge")
    + PANEL.format("fire")
)


def walk(
    command: click.Command, name: str = "decalprep", parent: click.Context | None = None
) -> Iterator[tuple[tuple[str, ...], click.Command, click.Context]]:
    """Every command, nested ones too, with its words and a context to format it in."""
    context = click.Context(command, info_name=name, parent=parent, **command.context_settings)
    context.terminal_width = WIDTH
    yield tuple(context.command_path.split()), command, context
    if isinstance(command, click.Group):
        for below in command.list_commands(context):
            found = command.get_command(context, below)
            assert found is not None
            yield from walk(found, below, context)


EVERY = list(walk(group))
IDS = [" ".join(names) for names, _, _ in EVERY]


GROUPS = [names for names, command, _ in EVERY if isinstance(command, click.Group)]


@pytest.mark.parametrize("names", GROUPS, ids=" ".join)
def test_a_group_without_a_command_shows_its_help_as_it_is_laid_out(
    names: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(list(names[1:])) == ExitCode.USAGE
    told = capsys.readouterr().err
    assert told.startswith(f"Usage: {' '.join(names)} [OPTIONS]")
    assert "\nCommands:\n" in told


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a small job of two panels."""
    (tmp_path / "a.svg").write_text(SVG)
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


def environment(folder: Path, **more: str) -> dict[str, str]:
    plain = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS", "TERM")}
    return {
        **plain,
        "DECALPREP_HOME": str(folder / "records"),
        "PYTHONPATH": str(ROOT),
        "TERM": "xterm",
        **more,
    }


@pytest.fixture(scope="module")
def runs() -> Runs:
    return shared_runs()


# ---------------------------------------------------------------- help


def test_there_are_nested_commands_too() -> None:
    assert len(EVERY) > len(COMMANDS) + 3


@pytest.mark.parametrize(("names", "command", "context"), EVERY, ids=IDS)
def test_help_fits_the_width_and_has_an_example_that_is_right(
    names: tuple[str, ...], command: click.Command, context: click.Context
) -> None:
    shown = command.get_help(context)
    assert max(map(len, shown.splitlines())) <= WIDTH
    assert "Example" in shown
    example = shown.partition("Example")[2].partition("Options:")[0]
    lines = [line.strip() for line in example.splitlines() if line.strip().startswith("decalprep")]
    assert lines, "the example shows no command line"
    told = " ".join(names[:2]) if len(names) > 1 else "decalprep"
    assert any(line.startswith(told) for line in lines)
    options = {o for _, c, _ in EVERY for p in c.params for o in (*p.opts, *p.secondary_opts)}
    for line in lines:
        assert {w for w in line.split() if w.startswith("--")} <= options, line


def test_no_line_of_help_is_cut_short() -> None:
    """What a command does is told in full in the list of its group."""
    for names, command, context in EVERY:
        if isinstance(command, click.Group):
            shown = command.get_help(context).partition("Commands:")[2]
            assert "..." not in shown, names


def test_a_misspelt_command_of_a_group_is_told_with_the_nearest(
    capsys: pytest.CaptureFixture[str],
) -> None:
    from decalprep.cli import run

    for words, near in ((["calibrate", "pgae"], "page"), (["stock", "frget"], "forget")):
        assert run(words) == ExitCode.USAGE
        assert f"did you mean '{near}'" in capsys.readouterr().err


def test_every_option_is_explained() -> None:
    for names, command, _ in EVERY:
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert parameter.help, (names, parameter.name)
                assert parameter.help.strip().endswith("."), (names, parameter.name)


def test_job_help_fits_the_width(capsys: pytest.CaptureFixture[str]) -> None:
    from decalprep.cli import run

    assert run(["job-help"]) == ExitCode.OK
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= WIDTH


def test_exit_codes_are_told_in_one_place(capsys: pytest.CaptureFixture[str]) -> None:
    from decalprep.cli import run

    assert run(["--help"]) == ExitCode.OK
    shown = " ".join(capsys.readouterr().out.split())
    told = set(map(int, re.findall(r"\b(\d+) [a-z]", shown.partition("Exit codes:")[2])))
    assert told == {int(code) for code in ExitCode}
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    listed = readme.partition("## Exit codes")[2].partition("##")[0]
    assert set(map(int, re.findall(r"(?:^|\xb7 )(\d+) [a-z]", listed, re.MULTILINE))) == told


def test_job_help_is_an_example_and_explains_one_key(capsys: pytest.CaptureFixture[str]) -> None:
    """Both jobs that it shows are jobs that can be read."""
    from decalprep.cli import run
    from decalprep.jobs.manual import ENDING, OPENING
    from decalprep.jobs.schema import TABLES

    known = {name: {key.name for key in keys} for name, keys, _ in TABLES}
    for text in (OPENING, ENDING):
        job = tomllib.loads("\n".join(x[4:] for x in text.splitlines() if x.startswith("    ")))
        for name, tables in job.items():
            for table in tables if isinstance(tables, list) else [tables]:
                assert set(table) <= known[name] | {"hole"}
    assert run(["job-help", "outline_layer"]) == ExitCode.OK
    shown = capsys.readouterr().out
    assert "[[panel]]" in shown
    assert len(shown.splitlines()) < 8
    assert run(["job-help", "outline_lyer"]) == ExitCode.USAGE
    assert "there are: 'outline_layer'" in " ".join(capsys.readouterr().err.split())


# ---------------------------------------------------------------- completion


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_completion_script_is_printed(shell: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "decalprep.cli"],
        env=environment(tmp_path, _DECALPREP_COMPLETE=f"{shell}_source"),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    assert "_DECALPREP_COMPLETE" in done.stdout
    assert "decalprep" in done.stdout


@pytest.mark.parametrize(
    ("words", "told"), [("decalprep un", "unpack"), ("decalprep make --pri", "--private")]
)
def test_words_are_completed(words: str, told: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "decalprep.cli"],
        env=environment(
            tmp_path,
            _DECALPREP_COMPLETE="bash_complete",
            COMP_WORDS=words,
            COMP_CWORD=str(len(words.split()) - 1),
        ),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert told in done.stdout, done.stderr


# ---------------------------------------------------------------- colour and progress


def test_colour_on_a_terminal_only_where_it_is_wanted(runs: Runs, folder: Path) -> None:
    """NO_COLOR as no-color.org has it: set and not empty means no colour."""
    (folder / "bare.svg").write_text(SVG.replace('width="30mm" height="20mm" ', ""))
    seen = {}
    for key, more in (("plain", {}), ("none", {"NO_COLOR": "1"}), ("dumb", {"TERM": "dumb"})):
        env = {"TERM": "xterm", **more}
        done = runs.run(["look", "bare.svg"], folder, env=env, terminal=True)
        seen[key] = done.out
        assert done.code == ExitCode.OK, seen[key]
        assert "warning:" in seen[key] or "note:" in seen[key], seen[key]
    assert "\x1b[" in seen["plain"]
    assert "\x1b[" not in seen["none"]
    assert "\x1b[" not in seen["dumb"]


def test_progress_on_a_terminal_counts_its_steps_and_clears_its_line(
    runs: Runs, folder: Path
) -> None:
    done = runs.run(["make", "job.toml"], folder, env={"TERM": "xterm"}, terminal=True)
    shown = done.out
    assert done.code == ExitCode.OK, shown
    steps = [tuple(map(int, m)) for m in re.findall(r"\[[# ]{20}\] (\d+)/(\d+) ", shown)]
    total = steps_of(read_job(folder / "job.toml"))
    assert {of for _, of in steps} == {total}
    numbers = [number for number, _ in steps]
    assert numbers == sorted(numbers)
    assert set(numbers) == set(range(1, total + 1))
    bars = [part for part in re.split(r"[\r\n]", shown) if part.startswith("[")]
    assert max(map(len, bars)) < WIDTH
    after = shown.rpartition("writing the files")[2]
    assert after.lstrip(" ").startswith("\r" + " " * (WIDTH - 1) + "\r")


def test_progress_is_silent_where_there_is_no_terminal(runs: Runs, folder: Path) -> None:
    done = runs.run(["make", "job.toml"], folder, env={"TERM": "xterm"})
    assert done.code == ExitCode.OK, done.err
    assert done.err == ""
    assert "\r" not in done.out
    assert max(map(len, done.out.splitlines())) <= WIDTH


def test_as_many_steps_are_told_as_are_counted(folder: Path) -> None:
    told: list[str] = []
    job = read_job(folder / "job.toml")
    progress = Progress(steps_of(job))
    progress.live = False

    def say(words: str) -> None:
        told.append(words)
        progress(words)

    make_job(job, MakeOptions(records=folder / "records", today="2026-01-15"), say)
    assert progress.step == steps_of(job) - 1  # the last is the writing, told by the command
    assert told[-1].startswith("drawing the pictures")


def test_progress_does_not_pass_its_end() -> None:
    progress = Progress(2)
    for words in ("a", "b", "nesting: 3 sheets", "nesting: 2 sheets", "c"):
        progress(words)
    assert progress.step == 2
    assert progress.line("c") == "[##########          ] 2/2 c"
    assert Progress().line("c") == "c"


# ---------------------------------------------------------------- interruption


def interrupted(runs: Runs, folder: Path, lines: str) -> tuple[int, str, str]:
    """Exit code, output and errors of a run that gets Ctrl-C when it begins to prove."""
    (folder / "job-out").mkdir()
    (folder / "job-out" / "sheets.pdf").write_bytes(b"earlier")
    first = (
        "import os, signal, sys, time, weakref\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "import decalprep.jobs.make as make\n"
        "prove = make.proven\n"
        "def told(*args, **more):\n"
        f"{lines}"
        "    return prove(*args, **more)\n"
        "make.proven = told\n"
    )
    done = runs.run(["make", "job.toml"], folder, first=first)
    return done.code, done.out, done.err


def test_ctrl_c_ends_cleanly_and_leaves_earlier_output(runs: Runs, folder: Path) -> None:
    code, shown, wrong = interrupted(runs, folder, "    os.kill(os.getpid(), signal.SIGINT)\n")
    assert code == ExitCode.INTERRUPTED, wrong
    assert shown == ""
    assert wrong.strip() == "decalprep: interrupted; earlier output is as it was"
    assert [p.name for p in (folder / "job-out").iterdir()] == ["sheets.pdf"]
    assert (folder / "job-out" / "sheets.pdf").read_bytes() == b"earlier"


def test_ctrl_c_that_a_callback_swallows_ends_the_run_at_the_next_step(
    runs: Runs, folder: Path
) -> None:
    """As when it comes while Python frees an object: it prints that and drops the exception."""
    lines = (
        "    class Thing: pass\n"
        "    thing = Thing()\n"
        "    ref = weakref.ref(thing, lambda _: (os.kill(os.getpid(), signal.SIGINT),\n"
        "                                        time.sleep(0.01)))\n"
        "    del thing\n"
    )
    code, shown, wrong = interrupted(runs, folder, lines)
    assert "Exception ignored" in wrong  # else nothing was swallowed, and this tests nothing
    assert code == ExitCode.INTERRUPTED, wrong
    assert shown == ""
    assert wrong.strip().endswith("decalprep: interrupted; earlier output is as it was")
    assert (folder / "job-out" / "sheets.pdf").read_bytes() == b"earlier"


@pytest.mark.skipif(os.name != "posix", reason="a pipe nobody reads is another error elsewhere")
def test_a_reader_that_has_gone_is_no_fault() -> None:
    """As where ``head`` has seen enough of a text."""
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "decalprep.cli", "job-help"]
    done = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")
