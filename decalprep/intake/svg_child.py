"""The converters, run in a process of their own: ``python svg_child.py``, jobs on standard input.

A converter can hang, crash or eat memory; here it takes only this process with it. A job is one
line of JSON that names its folder, steps, files and caps; each step writes its file, then one line
of JSON on standard output, so that a finished step survives the death of a later one; a last line
ends the job. Nothing here reads a path that the artwork chose: the prepared files hold no outside
reference. What a library prints goes to standard error, so that none of it passes for an answer.
"""

import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

Job = dict[str, Any]


def cap_resources(seconds: float, memory_bytes: int) -> None:
    """Limit this process where the system can (POSIX); elsewhere the caller's clock must do.

    The processor time is that of the job at hand, on top of what earlier ones took.
    """
    try:
        import resource
    except ImportError:
        return
    most_s = int(time.process_time() + seconds * 2) + 2
    wanted = ((resource.RLIMIT_CPU, most_s), (resource.RLIMIT_CORE, 0))
    for which, value in (*wanted, (resource.RLIMIT_AS, memory_bytes)):
        try:
            _, hard = resource.getrlimit(which)
            ceiling = value if hard == resource.RLIM_INFINITY else min(value, hard)
            resource.setrlimit(which, (ceiling, hard))
        except (ValueError, OSError):
            continue


def draw_picture(job: Job, folder: Path) -> None:
    """The independent drawing, as PNG, exactly as many pixels as its root says."""
    import resvg_py

    fonts = [str(path) for path in sorted((folder / "fonts").iterdir())]
    picture = resvg_py.svg_to_bytes(
        svg_path=str(folder / job["picture"]),
        skip_system_fonts=True,
        font_files=fonts,
        dpi=96.0,
        languages=["en"],
    )
    (folder / job["picture_png"]).write_bytes(bytes(picture))


def draw_beyond(job: Job, folder: Path) -> None:
    """A small drawing of the page and what lies round it."""
    draw_picture({**job, "picture": "beyond.svg", "picture_png": "beyond.png"}, folder)


def convert_typst(job: Job, folder: Path) -> None:
    """A vector PDF, one page a file, each exactly ``width_pt`` by ``height_pt``."""
    import typst

    fonts = typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[str(folder / "fonts")],
    )
    size = f"width: {job['width_pt']!r}pt, height: {job['height_pt']!r}pt"
    images = [f'#image("{name}", {size}, fit: "stretch")' for name in job["pages"]]
    source = f"#set page({size}, margin: 0pt)\n#set document(date: none)\n"
    source += "\n#pagebreak()\n".join(images)
    compiler = typst.Compiler(source.encode("utf-8"), root=str(folder), font_paths=fonts)
    compiled: Any = compiler.compile(format="pdf", pdf_tags=False)
    (folder / "typst.pdf").write_bytes(bytes(compiled))


def convert_svglib(job: Job, folder: Path) -> None:
    """A vector PDF of the first file, drawn by svglib and reportlab and fitted to the page."""
    from reportlab.pdfgen import canvas
    from svglib.fonts import register_font
    from svglib.svglib import svg2rlg

    for path in sorted((folder / "fonts").iterdir()):
        register_font(path.stem, str(path))
    drawing = svg2rlg(str(folder / job["pages"][0]))
    if drawing is None:
        raise ValueError("svglib could not read it")
    width, height = job["width_pt"], job["height_pt"]
    drawing.renderScale = 1
    page = canvas.Canvas(
        str(folder / "svglib.pdf"), pagesize=(width, height), invariant=1, pageCompression=1
    )
    page.scale(width / drawing.width, height / drawing.height)
    drawing.drawOn(page, 0, 0)
    page.showPage()
    page.save()


STEPS: dict[str, Callable[[Job, Path], None]] = {
    "picture": draw_picture,
    "beyond": draw_beyond,
    "typst": convert_typst,
    "svglib": convert_svglib,
}


def work(job: Job, say: Callable[[dict[str, Any]], None]) -> None:
    """Run a job's steps in order, and tell of each and of the end.

    The end also tells whether this process is spent: not to be given another artwork.
    """
    cap_resources(job["seconds"], job["memory_bytes"])
    for step in job["steps"]:
        told = ""
        try:
            STEPS[step](job, Path(job["folder"]))
        except MemoryError:
            told = "out of memory"
        except Exception as problem:
            told = f"{type(problem).__name__}: {str(problem)[:300]}"
        say({"step": step, "problem": told})
    # svglib keeps the fonts of one artwork for the next
    spent = "svglib" in job["steps"] or _memory_bytes() > job["memory_bytes"] / 8
    say({"end": True, "spent": spent})


def _memory_bytes() -> int:
    """The most memory that this process has had; 0 where the system does not say.

    Linux hands the peak that getrusage tells down from the parent, so its own table goes first.
    """
    try:
        with open("/proc/self/status", encoding="ascii", errors="replace") as table:
            return next(int(row.split()[1]) * 1024 for row in table if row.startswith("VmHWM"))
    except (OSError, StopIteration, ValueError, IndexError):
        pass
    try:
        import resource
    except ImportError:
        return 0
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def _answers_apart() -> int:
    """The pipe for answers, with standard output turned to standard error for everything else."""
    pipe = os.dup(1)
    os.dup2(2, 1)
    return pipe


def main() -> int:
    """Work until no more jobs come."""
    with open(_answers_apart(), "w", encoding="utf-8") as pipe:

        def say(words: dict[str, Any]) -> None:
            pipe.write(json.dumps(words) + "\n")
            pipe.flush()

        for line in sys.stdin:
            work(json.loads(line), say)
    return 0


if __name__ == "__main__":
    sys.exit(main())
