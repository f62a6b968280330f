"""Does a PDF page look the same after intake? Over any folder of PDF files.

    DECALPREP_PDF_FOLDER=path/to/files python tests/bench/bench_pdf_intake.py

Draws page 1 of every file with pdfium before and after intake, and tells how many are equal to the
pixel, how many differ, how many were refused and why, and how many failed in another way.
"""

import os
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pypdfium2

from decalprep.errors import DecalprepError
from decalprep.intake import IntakeOptions
from decalprep.intake.pdf import read_pdf


def drawn(data):
    """The first page as pixels, at a scale that keeps the longer side under 1000 pixels."""
    document = pypdfium2.PdfDocument(data)
    page = document[0]
    scale = min(1.0, 1000 / max(page.get_size()))
    return page.render(scale=scale, may_draw_forms=False, draw_annots=False).to_numpy()


def judged(path):
    try:
        artwork = read_pdf(path, IntakeOptions())
    except DecalprepError as error:
        return f"refused: {error.found[:60]}"
    try:
        before = drawn(path)
    except pypdfium2.PdfiumError:
        return "read, but pdfium cannot draw the original"
    after = drawn(artwork.page_pdf)
    if any(n.code == "user-unit" for n in artwork.notices):
        return "user unit taken out (not compared)"
    if before.shape != after.shape:
        return f"DIFFERENT SIZE {before.shape} {after.shape}"
    off = int((np.abs(before.astype(int) - after).max(axis=2) > 8).sum())
    return "equal" if off == 0 else "different"


def main():
    folder = os.environ.get("DECALPREP_PDF_FOLDER")
    if not folder:
        sys.exit("set DECALPREP_PDF_FOLDER to a folder of PDF files")
    counts = Counter()
    start = time.perf_counter()
    for path in sorted(Path(folder).rglob("*.pdf")):
        try:
            verdict = judged(path)
        except Exception as error:
            verdict = f"FAILED {type(error).__name__}"
        counts[verdict] += 1
        if verdict[0].isupper() or verdict == "different":
            print(verdict, path)
    for verdict, count in counts.most_common():
        print(f"{count:6d}  {verdict}")
    print(f"{time.perf_counter() - start:.1f} s")


if __name__ == "__main__":
    main()
