"""Composing and writing sheets: seconds and file sizes by number of decals.

Run: python tests/bench/bench_sheets.py
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from sheet_samples import winch_panel

from decalprep.compose import compose_sheets
from decalprep.export import preview_png, write_pdf
from decalprep.model import Placement, Sheet

A4 = Sheet("A4", 210.0, 297.0)
PER_SHEET = 18


def laid(copies: int) -> list[Placement]:
    """Rows of three panels with 2 to 3 mm between them, 18 on a sheet."""
    return [
        Placement(
            "winch panel",
            k + 1,
            k // PER_SHEET,
            12.5 + 62.5 * (k % 3),
            18 + 43 * (k % PER_SHEET // 3),
        )
        for k in range(copies)
    ]


def main() -> None:
    """Print one row for each number of copies."""
    print("copies  sheets  compose s  write s  preview s  bytes")
    for copies in (1, 10, 40, 100, 1000):
        decal, placements = winch_panel(copies=copies), laid(copies)
        sheets = [A4] * (1 + placements[-1].sheet_index)
        start = time.perf_counter()
        drawings = compose_sheets([decal], placements, sheets)
        composed = time.perf_counter()
        pdf = write_pdf(drawings)
        wrote = time.perf_counter()
        preview_png(pdf, 0, 150)
        shown = time.perf_counter()
        print(
            f"{copies:6d}  {len(sheets):6d}  {composed - start:9.3f}  {wrote - composed:7.3f}"
            f"  {shown - wrote:9.3f}  {len(pdf):7d}"
        )


if __name__ == "__main__":
    main()
