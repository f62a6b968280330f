"""The torture table of stroke rules, drawn and compared in up to three renderers."""

import io
import pathlib
import shutil
import subprocess

import numpy as np
import pikepdf
import pypdfium2
import pytest
from hairline_cases import CASES, Case, artwork_of, page_bytes

from decalprep.cleaning import Cleaned, strip_hairlines

DPI = 144


def stripped(case: Case) -> Cleaned:
    return strip_hairlines(
        artwork_of(page_bytes(case.before, case.dress, 0), case.size_pt), case.settings
    )


def pdfium_picture(pdf: bytes) -> np.ndarray:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return np.array(document[0].render(scale=DPI / 72).to_numpy())
    finally:
        document.close()


def joined(pages: list[bytes]) -> bytes:
    with pikepdf.new() as whole:
        for page in pages:
            with pikepdf.open(io.BytesIO(page)) as part:
                whole.pages.append(part.pages[0])
        out = io.BytesIO()
        whole.save(out)
    return out.getvalue()


def test_the_table_is_long_enough() -> None:
    assert len(CASES) >= 45
    assert len({case.name for case in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_case(case: Case) -> None:
    result = stripped(case)
    expected = page_bytes(case.after, case.dress, 1)
    ours, theirs = pdfium_picture(result.artwork.page_pdf), pdfium_picture(expected)
    assert np.array_equal(ours, theirs)
    rows = result.strokes
    fates = (
        sum(r.stripped for r in rows),
        sum(r.thickened for r in rows),
        sum(r.kept_lone for r in rows),
    )
    assert case.fates is None or fates == case.fates
    assert not case.notice or case.notice in [n.code for n in result.notices]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_second_pass_changes_nothing(case: Case) -> None:
    once = stripped(case).artwork
    again = strip_hairlines(once, case.settings)
    assert again.artwork.page_pdf == once.page_pdf


def hidden_layers_kept(case: Case) -> bool:
    """Joining pages loses the document's layer table, so such cases are judged in pdfium only."""
    return "hidden layer" not in case.name


@pytest.mark.parametrize("tool", ["pdftoppm", "mutool"])
def test_in_a_second_renderer(tool: str, tmp_path: pathlib.Path) -> None:
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed")
    cases = [case for case in CASES if hidden_layers_kept(case)]
    pictures = []
    for which, pages in enumerate(
        (
            [stripped(case).artwork.page_pdf for case in cases],
            [page_bytes(case.after, case.dress, 1) for case in cases],
        )
    ):
        source = tmp_path / f"{which}.pdf"
        source.write_bytes(joined(pages))
        target = tmp_path / f"{which}-"
        command = {
            "pdftoppm": ["pdftoppm", "-r", str(DPI), str(source), str(target)],
            "mutool": [
                "mutool",
                "draw",
                "-q",
                "-r",
                str(DPI),
                "-o",
                f"{target}%03d.ppm",
                str(source),
            ],
        }[tool]
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        pictures.append([p.read_bytes() for p in sorted(tmp_path.glob(f"{which}-*.ppm"))])
    assert len(pictures[0]) == len(pictures[1]) == len(cases)
    wrong = [c.name for c, a, b in zip(cases, *pictures, strict=True) if a != b]
    assert wrong == []
