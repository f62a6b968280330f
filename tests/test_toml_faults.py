"""Job files that are no TOML: the place in plain words, and the usual cause."""

import tomllib
from pathlib import Path

import pytest

from decalprep.errors import JobProblem
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.toml_faults import toml_fault

HEAD = '[job]\ntitle = "Console"\n'

CASES = {
    "width = 3,5": ("line 3, column 10", 'decimal comma; write "3.5 mm"'),
    "price = 0,45   # each": ("line 3", "decimal comma; write 0.45"),
    "gap = 3,5 mm": ("line 3", "decimal comma", 'write "3.5 mm"'),
    "gap = 3 mm": ("line 3", 'in quotes; write "3 mm"'),
    "gap = 3mm": ("line 3", 'write "3 mm"'),
    'gap = 3"': ("line 3", 'write "3 in"'),
    "title2 = engine room": ("line 3, column 10", 'text is written in quotes; write "engine room"'),
    'artwork = "C:\\panels\\engine.svg"': ("line 3", "/ or in single quotes"),
    'hide_layers = ["a\\c"]': ("line 3", "single quotes"),
    'artwork = "engine.svg': ("line 3", 'closing quote " is missing'),
    'artwork = "engine.svg  # port': ("line 3", 'closing quote " is missing'),
    "artwork = 'engine.svg": ("line 3", "closing quote ' is missing"),
    'artwork = engine.svg"': ("line 3", "opening quote is missing"),
    "artwork = \u201cengine.svg\u201d": ("line 3", "straight quotes"),
    'title = "again"': ("line 3", '"title" is given twice', "line 2"),
    '[job]\ngap = "3 mm"': ("line 3", "[job] stands twice", "line 1"),
    '[panel]\nname = "a"\n[panel]': ("line 5", "[[panel]]"),
    '[panel]\nname = "a"\n[[panel]]': ("line 5", "one bracket"),
    "[[panel]": ("line 3", "write [[panel]]"),
    "[sheet.grid": ("line 3", "write [sheet.grid]"),
    'outline layer = "cut"': ("line 3", "no blanks; write outline_layer"),
    'name: "engine"': ("line 3", "not a colon"),
    "the port engine": ("line 3", "neither a key"),
    "; port engine": ("line 3", "comment begins with #"),
    "tile = True": ("line 3", "write true"),
    "tile = no": ("line 3", "write false"),
    "copies = two": ("line 3", "write it as in copies = 1"),
    "copies = ": ("line 3", "nothing stands after ="),
    "copies == 2": ("line 3", "one = is enough"),
    "copies = 02": ("line 3", "does not begin with 0"),
    "price = .5": ("line 3", "a digit before and after"),
    'name = "engine",': ("line 3", "no , at the end"),
    'name = "engine" port': ("line 3", "after the value"),
    'name = "The "best""': ("line 3", "quotes inside quotes"),
    'hide_layers = ["a" "b"]': ("line 3", "comma between its values"),
    'hide_layers = ["a",\n"b"\ncopies = 2': ("line 3", 'closing "]"'),
    "hide_layers = [cut, holes]": ("line 3", "in a list are written in quotes"),
}


@pytest.mark.parametrize("lines", CASES)
@pytest.mark.parametrize("end", ["", '\n[[sheet]]\nsize = "A4"\n'])
def test_the_place_and_the_cause_are_told(lines: str, end: str) -> None:
    text = HEAD + lines + end
    with pytest.raises(tomllib.TOMLDecodeError) as told:
        tomllib.loads(text)
    words = toml_fault("job.toml", text, str(told.value))
    assert words.startswith("job.toml: ")
    for part in CASES[lines]:
        assert part in words


def test_what_has_no_usual_cause_is_told_in_the_readers_words() -> None:
    words = toml_fault("job.toml", "seed = 1_", "Expected newline (at line 1, column 9)")
    assert words.startswith("job.toml: line 1, column 9: seed = 1_: expected newline;")


def test_an_empty_file_has_a_place() -> None:
    assert "line 1, column 1" in toml_fault("job.toml", "", "Odd (at end of document)")


def test_what_a_file_holds_cannot_steer_the_terminal(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text('[job]\ntitle = "a\x1b[31mred\x07"\n', encoding="utf-8")
    with pytest.raises(JobProblem) as told:
        read_job(tmp_path / "job.toml")
    assert str(told.value).startswith('job.toml: line 2, column 11: title = "a [31mred "')
    assert str(told.value).isprintable()
    assert JobProblem(["bow\x9b31m"]).faults == ["bow 31m"]
