"""The command line: options in, a job called, text and exit code out.

``decalprep --help`` loads click and nothing else; each command's module is loaded when it runs.
"""

import atexit
import gc
import importlib
import os
import sys
from typing import Any, NoReturn

import click

from decalprep import __version__
from decalprep.cli.groups import NearGroup
from decalprep.errors import DecalprepError, ExitCode, JobProblem

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("demo", "Make the demo console: sheets, proof and pictures."),
    "new": ("new", "Write a commented job file for your artworks."),
    "look": ("look", "Tell what one artwork or part file holds, and how large it is."),
    "make": ("make", "Make the sheets of a job, and prove them."),
    "calibrate": ("calibrate", "Measure a printer, so that its sheets come out true."),
    "part": ("part", "Record what one printed part measures."),
    "stock": ("stock", "List or forget part-used sheets, or mark what is gone from one."),
    "measure": ("measure", "Measure a scanned print before it is cut."),
    "compare": ("compare", "Compare a scanned part with its printed decal, hole by hole."),
    "unpack": ("unpack", "Write out the job that a sheets.pdf carries."),
    "job-help": ("job_help", "Explain every key of a job file."),
}
"""Command -> (module, one line of help)."""


class LazyGroup(NearGroup):
    """A group that knows its commands by name and loads one only when it is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"decalprep.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = module.command
        return command

    def line_of(self, ctx: click.Context, name: str) -> str:  # noqa: ARG002
        return COMMANDS[name][1]


EPILOG = """\b
Exit codes: 0 done and proven, 1 other, 2 usage, 3 input file, 4 job file,
5 does not fit, 6 proof or print failed, 7 readings refused, 8 cannot write,
9 helper missing, 130 interrupted.

Decals are for simulators and display only: never for equipment in flight, on
vehicles or with a safety function."""


@click.group(
    cls=LazyGroup,
    epilog=EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(__version__, prog_name="decalprep")
def group() -> None:
    """Panel decals at exactly true size: artwork in, proven sheets out.

    A job file (job.toml) says which artworks, how many of each and on what sheets. 'new' writes
    one from your files, 'make' makes its sheets; 'job-help' explains every key.

    \b
    Example:
      decalprep demo
      decalprep new engine.svg winch.pdf
      decalprep make job.toml
    """


def main(args: list[str] | None = None) -> None:
    """Run the command line and leave the process with a documented exit code."""
    from decalprep.cli.interrupts import end_tidily

    end_tidily()
    _start_lean()
    _leave(run(args))


def _start_lean() -> None:
    """Leave out what serves programs that run for long; it takes as long as preparing two panels.

    Threads of the linear algebra, which would add sums up otherwise on more cores as well; and
    looking for garbage again and again while modules are loaded, which are none.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(10_000, 10, 10)


def _leave(code: int) -> NoReturn:
    """End the process at once, when all it has to tidy up is done and all it said is out.

    To take every module down first, as Python does, takes as long as reading five panels. What
    could not be written out is left to Python, which tells of it.
    """
    try:
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
    except (OSError, ValueError, AttributeError):
        sys.exit(code)
    atexit._run_exitfuncs()
    os._exit(code)


def run(args: list[str] | None = None) -> int:
    """Exit code of one command line; messages go to stderr."""
    try:
        result: Any = group.main(args, prog_name="decalprep", standalone_mode=False)
        return int(result) if isinstance(result, int) else int(ExitCode.OK)
    except click.exceptions.Exit as leave:
        return int(leave.exit_code)
    except click.Abort:
        click.echo("decalprep: interrupted; earlier output is as it was", err=True)
        return int(ExitCode.INTERRUPTED)
    except KeyboardInterrupt:
        click.echo("decalprep: interrupted; earlier output is as it was", err=True)
        return int(ExitCode.INTERRUPTED)
    except click.exceptions.NoArgsIsHelpError as bare:
        click.echo(bare.ctx.get_help() if bare.ctx else bare.format_message(), err=True)
        return int(ExitCode.USAGE)
    except click.ClickException as problem:
        _complain(problem.format_message())
        if isinstance(problem, click.UsageError) and problem.ctx is not None:
            click.echo(f"  (try '{problem.ctx.command_path} --help')", err=True)
        return int(ExitCode.USAGE)
    except JobProblem as problem:
        for fault in problem.faults:
            _complain(fault)
        return int(problem.exit_code)
    except DecalprepError as problem:
        _complain(str(problem))
        return int(problem.exit_code)
    except SystemExit:  # click's answer where whoever reads our output has gone, as head does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(ExitCode.OK)
    except Exception as error:
        if os.environ.get("DECALPREP_TRACE"):
            raise
        _complain(
            f"a fault of decalprep itself ({type(error).__name__}: {error}); nothing was "
            "written; set DECALPREP_TRACE=1 to see where"
        )
        return int(ExitCode.OTHER)


def _complain(words: str) -> None:
    from decalprep.cli.text import wrapped

    click.echo(wrapped(f"decalprep: {words}"), err=True)
