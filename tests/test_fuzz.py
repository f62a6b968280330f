"""A short run of every fuzz target, and the files that earlier runs found faults with.

``DECALPREP_FUZZ_SECONDS=60`` makes each target run for so long; ``tests/fuzz_targets.py`` alone
runs them as long as wanted.
"""

import os
from pathlib import Path

import pytest
from fuzz_targets import MOST_SECONDS, TARGETS, inputs, run

LEAST = {"tokens": 300, "svg root": 300, "svg": 60, "dxf": 20, "mesh": 25, "3mf model": 15}
SECONDS = float(os.environ.get("DECALPREP_FUZZ_SECONDS", "0"))


@pytest.mark.parametrize("name", TARGETS)
def test_damaged_files_are_read_or_refused(name: str, tmp_path: Path) -> None:
    least = LEAST.get(name, 40)
    assert run(name, seed=1, least=least, seconds=SECONDS, keep=tmp_path / "found") >= least


PAGES_AS_LAYERS = (
    b"\n1 0 obj<</OCProperties<</OCGs[2 0 R]>>/Pages 3 0 R/Type/Catalog>>\n2 0 obj<</Type/Pages>>\n"
    b"3 0 obj<</Kids[4 0 R]>>\n4 0 obj<</Contents 5 0 R/MediaBox[0 0 300 100]>>\n"
    b"5 0 obj<<>>stream\nmendobj\nr"
)
CIRCLE_FAR_OUT = (
    "0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\n0\n10\n1e308\n20\n5\n40\n2\n0\nENDSEC\n0\nEOF\n"
)
ODD_LAYER = (
    b"0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\n\x8fplate\n10\n18\n20\n32\n40\n6\n0\nENDSEC\n0\nEOF\n"
)
FOUND = {
    "line end in a width": ("svg root", b"6\n9|40mm||"),
    "width that has no end": ("svg root", b"|40mm|0 0 1e308 40|"),
    "error of two lines": ("svg", b"<\0"),
    "a path with another byte within": (
        "content",
        b".w 20 20m 80 20l 50 70l \xff0 0l f 20 20m 80 20 50 70l s",
    ),
    "a scale of 1e200": ("content", b"1%s 0 0 1 0 0 cm 0.1 w 0 0 9 9 re B" % (b"0" * 200)),
    "layers that are pages": ("pdf", PAGES_AS_LAYERS),
    "corners of two coordinates": ("mesh", b"v 0 0\nv 9 0\nv 0 9\nv 9 9\nf 1 2 3\nf 2 4 3\n"),
    "circle that lies nowhere": ("dxf", CIRCLE_FAR_OUT.encode()),
    "layer of a byte that is no letter": ("dxf", ODD_LAYER),
}


@pytest.mark.parametrize("name", FOUND)
def test_what_was_found_before(name: str) -> None:
    target, data = FOUND[name]
    TARGETS[target].read(data)


def test_the_same_seed_gives_the_same_files() -> None:
    def first(seed: int) -> list[bytes]:
        return [data for _, data in zip(range(60), inputs(TARGETS["svg"], seed), strict=False)]

    assert first(1) == first(1)
    assert first(1)[10:] != first(2)[10:]


@pytest.mark.parametrize("fault", ["another error", "two lines", "too long"])
def test_a_fault_is_kept_as_a_file(
    fault: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The targets can fail: another error, an answer of two lines, and one that takes too long."""
    import fuzz_targets

    from decalprep.errors import InputProblem

    def read(data: bytes) -> None:
        if fault == "another error":
            raise ValueError("odd")
        problem = InputProblem("two")
        problem.found = "two\nlines"
        if fault == "two lines":
            fuzz_targets.one_line(problem)

    clock = iter([0.0, MOST_SECONDS + 1])
    monkeypatch.setattr(fuzz_targets.time, "process_time", lambda: next(clock))
    monkeypatch.setitem(TARGETS, "svg", fuzz_targets.Target(read, lambda: (b"<svg/>",)))
    with pytest.raises(AssertionError, match="odd|not one line|took 11"):
        run("svg", seed=1, least=1, seconds=0, keep=tmp_path)
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"<svg/>"]
