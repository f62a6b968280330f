"""The checker looks at every answer: a layout that breaks the rules ends the run, nothing written.

The engine is made to err in each of four ways, as a fault in it might.
"""

from dataclasses import replace
from pathlib import Path

import pytest
from lay_cases import decal, job, panel
from stock_cases import make, plate

from decalprep.errors import DecalprepError, ExitCode
from decalprep.jobs.groups import Effort
from decalprep.jobs.lay import lay_out
from decalprep.model import Placement, Turns
from decalprep.nesting import engine

TEXT = "[job]\npasses = 2\n" + panel("engine", 'copies = 3\nturns = "upright"')
RIGHT = engine._placement
ERRORS = {
    "too near": lambda p: replace(p, x_mm=20.0, y_mm=20.0 + 61.5 * p.copy),
    "off the sheet": lambda p: replace(p, y_mm=p.y_mm - 30.0),
    "turned": lambda p: replace(p, turn_deg=90.0, x_mm=p.x_mm + 70.0) if p.copy == 3 else p,
    "laid twice": lambda p: replace(p, copy=1),
}


@pytest.mark.parametrize("error", ERRORS)
def test_an_answer_that_breaks_a_rule_is_never_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: str
) -> None:
    def wrong(*told: object) -> Placement:
        return ERRORS[error](RIGHT(*told))  # type: ignore[arg-type]

    found = job(tmp_path, TEXT)
    decals = [decal("engine", 90, 60, 3, turns=Turns.NONE)]
    assert len(lay_out(decals, found, None, Effort(lambda words: None)).placements) == 3
    monkeypatch.setattr(engine, "_placement", wrong)
    with pytest.raises(DecalprepError, match="the layout breaks its own rules"):
        lay_out(decals, found, None, Effort(lambda words: None))


def test_the_run_fails_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "job.toml"
    plate(tmp_path / "engine.pdf", 90, 60)
    path.write_text(TEXT.replace("copies", 'outline_from = "page"\ncopies'))
    monkeypatch.setattr(engine, "_placement", lambda *told: ERRORS["too near"](RIGHT(*told)))
    assert make(path) == ExitCode.OTHER
    assert "nothing was written" in capsys.readouterr().err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["engine.pdf", "job.toml"]
