"""Time and memory of hairline stripping, and no-op passes over real files.

Run by hand: ``python tests/bench/bench_streams.py``. Goals on a 2-core machine: 50,000 paths in
1.0 s and 100 MiB, 300,000 in 6 s and 300 MiB (memory over that of the loaded program). With
DECALPREP_PDF_CORPUS set to a folder, every PDF under it is walked, rewritten with an empty list
of edits and drawn before and after: no picture may change. Then near-white is made bare in each:
no pixel may change by more than a tint, and a second pass must find nothing.
"""

import io
import os
import pathlib
import random
import subprocess
import sys
import time

import numpy as np
import pikepdf
import pypdfium2

from decalprep.cleaning import make_white_bare, strip_hairlines
from decalprep.cleaning.edits import StreamEdits, rewrite_page, saved
from decalprep.cleaning.rendering import dpi_within, picture_of, whole_box
from decalprep.errors import DecalprepError
from decalprep.intake import IntakeOptions
from decalprep.intake.pdf import read_pdf
from decalprep.model import Artwork
from decalprep.pdfstream import Frame, GraphicsState, Walker, page_content
from decalprep.units import MM_PER_PT

GOALS = {50_000: (1.0, 100.0), 300_000: (6.0, 300.0)}
TINT = 8
KINDS = ("fill and hairline", "fill, then hairline", "mixed with lone lines")


def drawing(paths: int, kind: str) -> bytes:
    """A page of small four-sided shapes, some with curves, as drawing programs write them."""
    rng = random.Random(7)
    parts = [b"0.2 w 1 0 0 RG 0 0 0 rg\n"]
    for i in range(paths):
        x, y = rng.uniform(0, 190), rng.uniform(0, 90)
        shape = (
            f"{x:.3f} {y:.3f} m {x + 3:.3f} {y:.3f} l {x + 4:.3f} {y + 1:.3f} {x + 4:.3f} "
            f"{y + 2:.3f} {x + 3:.3f} {y + 3:.3f} c {x:.3f} {y + 3:.3f} l h\n"
        ).encode()
        if kind == KINDS[0]:
            parts.append(shape + b"B\n")
        elif kind == KINDS[1]:
            parts.append(shape + (b"f\n" if i % 2 else b"S\n"))
        else:
            parts.append(shape + (b"f\n", b"B\n", b"S\n", b"q 2 w S Q\n")[i % 4])
    with pikepdf.new() as document:
        page = document.add_blank_page(page_size=(200, 100))
        page.obj.Contents = document.make_stream(b"".join(parts))
        out = io.BytesIO()
        document.save(out)
    return out.getvalue()


def peak_mib() -> float:
    """The most memory this program has had; getrusage hands the parent's peak down."""
    status = pathlib.Path("/proc/self/status").read_text(encoding="utf-8").split("VmHWM:")[1]
    return int(status.split()[0]) / 1024


def measure(paths: int, kind: str) -> None:
    """One measurement, in a process of its own."""
    page = drawing(10, kind)
    artwork = Artwork("b", "b.pdf", "pdf", page, 200, 100, 200 * MM_PER_PT, 100 * MM_PER_PT)
    strip_hairlines(artwork)
    page = pathlib.Path(sys.argv[3]).read_bytes()
    artwork = Artwork("b", "b.pdf", "pdf", page, 200, 100, 200 * MM_PER_PT, 100 * MM_PER_PT)
    before, start = peak_mib(), time.process_time()
    cleaned = strip_hairlines(artwork)
    seconds, memory = time.process_time() - start, peak_mib() - before
    goal_s, goal_mib = GOALS[paths]
    said = "ok" if seconds <= goal_s and memory <= goal_mib else "OVER THE GOAL"
    count = sum(change.count for change in cleaned.changes)
    print(f"{paths:>7} {kind:<22} {seconds:6.2f} s {memory:6.0f} MiB  {count} stripped  {said}")


def corpus(folder: pathlib.Path) -> None:
    """No-op pass over every PDF: counts of files read, refused by name, changed."""
    counts = {"same": 0, "refused": 0, "changed": 0, "not drawn": 0}
    for path in sorted(folder.rglob("*.pdf")):
        try:
            before = path.read_bytes()
            with pikepdf.open(io.BytesIO(before)) as document:
                page = document.pages[0]
                frame = Frame(page_content(page), page.resources, GraphicsState())
                Walker(document).walk(frame)
                rewrite_page(document, page, frame, StreamEdits())
                after = saved(document)
        except (DecalprepError, pikepdf.PdfError, pikepdf.PasswordError, IndexError) as problem:
            counts["refused"] += 1
            print(f"refused {path.name}: {problem}")
            continue
        try:
            # Twice: pdfium draws a font that is not there otherwise the first time.
            same = any(np.array_equal(picture(before), picture(after)) for _ in range(2))
        except pypdfium2.PdfiumError:
            counts["not drawn"] += 1
            continue
        counts["same" if same else "changed"] += 1
        if not same:
            print(f"CHANGED {path}")
    print(counts)


def white_corpus(folder: pathlib.Path) -> None:
    """Near-white made bare over real files: how many change by more than a tint, or twice.

    A file whose large JPEG pdfium draws at reduced size until it is stored otherwise differs too.
    """
    counts = {"as it was": 0, "changed": 0, "changed by more": 0, "twice": 0, "refused": 0}
    for path in sorted(folder.rglob("*.pdf")):
        try:
            before = read_pdf(path, IntakeOptions())
            after = make_white_bare(before).artwork
            again = make_white_bare(after).artwork
            box = whole_box(before)
            dpi = dpi_within(box, 72, 700_000)
            one, two = (picture_of(a, box, dpi).astype(int) for a in (before, after))
        except DecalprepError:
            counts["refused"] += 1
            continue
        counts["as it was" if after is before else "changed"] += 1
        if np.abs(one - two).max() > TINT:
            counts["changed by more"] += 1
            print(f"CHANGED BY {np.abs(one - two).max()} {path}")
        if again is not after:
            counts["twice"] += 1
            print(f"CHANGED TWICE {path}")
    print("near-white", counts)


def picture(pdf: bytes) -> np.ndarray:
    """First page at 72 dpi, without annotations and form fields, which are never taken in."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return np.array(
            document[0].render(scale=1, draw_annots=False, may_draw_forms=False).to_numpy()
        )
    finally:
        document.close()


def main() -> None:
    """All measurements."""
    if len(sys.argv) == 4:
        measure(int(sys.argv[1]), sys.argv[2])
        return
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        for paths in GOALS:
            for kind in KINDS:
                source = pathlib.Path(folder) / "drawing.pdf"
                source.write_bytes(drawing(paths, kind))
                subprocess.run(
                    [sys.executable, __file__, str(paths), kind, str(source)], check=True
                )
    named = os.environ.get("DECALPREP_PDF_CORPUS")
    if named:
        corpus(pathlib.Path(named))
        white_corpus(pathlib.Path(named))


if __name__ == "__main__":
    main()
