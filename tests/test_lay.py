"""Laying a job out: kept places, kinds of sheet, part-used sheets, and limits on how many."""

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lay_cases import apart, areas, decal, job, lay, panel, places
from shapely.geometry import box

from decalprep.errors import DoesNotFit, JobProblem
from decalprep.jobs.groups import Effort
from decalprep.jobs.lay import placement_file, placement_text, read_placements
from decalprep.model import Turns
from decalprep.nesting import label_boxes

HEAD = "[job]\npasses = 6\n"
A4 = '[[sheet]]\nname = "A4"\nsize = "A4"\n'
A5 = '[[sheet]]\nname = "A5"\nsize = "A5"\n'


def keep(found, laid, decals) -> None:  # type: ignore[no-untyped-def]
    placement_file(found).write_bytes(placement_text(laid, decals, found))


def again(found, decals):  # type: ignore[no-untyped-def]
    kept, notices = read_placements(found)
    return lay(found, decals, kept), notices


def test_a_panel_more_moves_nothing(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine") + panel("winch"))
    first = [decal("engine", 120, 90, 2), decal("winch", 80, 60)]
    before = lay(found, first)
    keep(found, before, first)
    found = job(tmp_path, HEAD + A4 + panel("bilge") + panel("engine") + panel("winch"))
    more = [decal("bilge", 150, 100, 3), *first]
    after, notices = again(found, more)
    assert places(before).items() <= places(after).items()
    assert (after.kept, len(after.placements), notices) == (3, 6, ())
    apart(after, more)


def test_a_changed_outline_lays_only_that_panel_again(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine") + panel("winch"))
    first = [decal("engine", 90, 60, 2), decal("winch", 80, 60)]
    before = lay(found, first)
    keep(found, before, first)
    changed = [first[0], decal("winch", 82, 60)]
    after, _ = again(found, changed)
    assert after.kept == 2
    assert {k: v for k, v in places(before).items() if k[0] == "engine"}.items() <= places(
        after
    ).items()
    apart(after, changed)


def test_fewer_copies_and_a_dropped_panel_leave_the_rest_in_place(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine") + panel("winch"))
    first = [decal("engine", 90, 60, 3), decal("winch", 80, 60)]
    before = lay(found, first)
    keep(found, before, first)
    found = job(tmp_path, HEAD + A4 + panel("engine"))
    after, _ = again(found, [decal("engine", 90, 60, 2)])
    assert places(after).items() <= places(before).items()
    assert after.kept == 2


def test_another_gap_or_size_of_sheet_lays_all_again(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine"))
    first = [decal("engine", 90, 60, 3)]
    keep(found, lay(found, first), first)
    wider = job(tmp_path, HEAD + 'gap = "6 mm"\n' + A4 + panel("engine"))
    after, _ = again(wider, first)
    assert after.kept == 0
    apart(after, first, 6.0)


@pytest.mark.parametrize(
    "damage",
    [
        b"",
        b"\xff\xfe",
        b"[]",
        b'{"decalprep placements": 2}',
        b'{"decalprep placements": 1, "sheets": [], "placements": [{"decal": "engine"}]}',
        b'{"decalprep placements": 1, "sheets": 3, "placements": []}',
        b"[" * 100_000,
    ],
)
def test_a_placement_file_that_cannot_be_read_is_told_and_not_fatal(
    tmp_path: Path, damage: bytes
) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine"))
    placement_file(found).write_bytes(damage)
    after, notices = again(found, [decal("engine", 90, 60)])
    assert [n.code for n in notices] == ["placements-unread"]
    assert "nested anew" in notices[0].text
    assert len(after.placements) == 1


def edited(found, change) -> None:  # type: ignore[no-untyped-def]
    data = json.loads(placement_file(found).read_text())
    change(data)
    placement_file(found).write_text(json.dumps(data))


def test_places_edited_by_hand_to_overlap_are_told_and_nested_anew(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine"))
    decals = [decal("engine", 90, 60, 2)]
    keep(found, lay(found, decals), decals)

    def onto_each_other(data) -> None:  # type: ignore[no-untyped-def]
        for key in ("x_mm", "y_mm"):
            data["placements"][1][key] = data["placements"][0][key] + 1

    edited(found, onto_each_other)
    after, _ = again(found, decals)
    assert "placements-unused" in [n.code for n in after.notices]
    assert after.kept == 0
    apart(after, decals)


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("x_mm", 1e9, "out of range"),
        ("sheet", 7, "names no sheet"),
        ("copy", 2, "laid twice"),
        ("x_mm", "nan", "out of range"),
    ],
)
def test_numbers_that_cannot_be_are_told(tmp_path: Path, key, value, words) -> None:  # type: ignore[no-untyped-def]
    found = job(tmp_path, HEAD + A4 + panel("engine"))
    decals = [decal("engine", 90, 60, 2)]
    keep(found, lay(found, decals), decals)
    edited(found, lambda data: data["placements"][0].update({key: value}))
    after, notices = again(found, decals)
    assert words in notices[0].text
    assert len(after.placements) == 2


# ---------------------------------------------------------------- kinds of sheet


def test_a_step_of_turning_holds_for_its_panel_and_lays_it_anew_when_changed(
    tmp_path: Path,
) -> None:
    rules = 'turns = "any angle"\nturn_step = 36\n'
    found = job(tmp_path, HEAD + A5 + panel("rail", rules))
    assert found.panels[0]["turn_step"] == 36
    free = {"turns": Turns.FREE, "turn_step_deg": 36.0}
    first = [decal("rail", 120, 8, 3, **free)]
    before = lay(found, first)
    assert all(p.turn_deg % 36 == 0 for p in before.placements)
    keep(found, before, first)
    assert again(found, first)[0].kept == 3
    assert again(found, [decal("rail", 120, 8, 3, **(free | {"turn_step_deg": 45.0}))])[0].kept == 0


def test_panels_with_less_choice_come_first_and_share_their_sheets(tmp_path: Path) -> None:
    text = HEAD + A4 + A5 + panel("horn") + panel("engine", 'sheets = ["A4"]')
    found = job(tmp_path, text)
    decals = [decal("horn", 60, 40, 2), decal("engine", 150, 100)]
    laid = lay(found, decals)
    assert [s.name for s in laid.sheets] == ["A4"]
    assert laid.bound_text == "1 sheet, proved fewest"
    apart(laid, decals)


def test_the_number_of_sheets_there_are_holds_over_all_panels(tmp_path: Path) -> None:
    one = A4 + "available = 1\n"
    text = HEAD + one + A5 + panel("horn") + panel("engine", 'sheets = ["A4"]')
    found = job(tmp_path, text)
    decals = [decal("horn", 180, 120), decal("engine", 180, 200)]
    laid = lay(found, decals)
    assert sorted(s.name for s in laid.sheets) == ["A4", "A5"] or len(laid.sheets) == 1
    assert [s.name for s in laid.sheets].count("A4") == 1
    with pytest.raises(DoesNotFit, match=r"sheets run out: .*--anew"):
        lay(found, [decal("horn", 40, 20), decal("engine", 180, 200, 2)])


def test_sheets_of_two_kinds_with_limits_are_all_used(tmp_path: Path) -> None:
    text = HEAD + A4 + "available = 2\n" + A5 + "available = 3\n" + panel("engine")
    found = job(tmp_path, text)
    decals = [decal("engine", 125, 110, 7)]
    laid = lay(found, decals)
    names = [s.name for s in laid.sheets]
    assert names.count("A4") == 2
    assert names.count("A5") == 3
    apart(laid, decals)
    with pytest.raises(DoesNotFit, match='raise "available"'):
        lay(found, [decal("engine", 125, 110, 8)])


def test_kept_sheets_count_among_those_there_are(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + "available = 2\n" + panel("engine"))
    decals = [decal("engine", 180, 200, 2)]
    keep(found, lay(found, decals), decals)
    after, _ = again(found, decals)
    assert (after.kept, len(after.sheets)) == (2, 2)
    with pytest.raises(DoesNotFit, match="run out"):
        again(found, [decal("engine", 180, 200, 3)])


def test_a_decal_that_fits_no_sheet_names_the_key_for_tiles(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine"))
    with pytest.raises(DoesNotFit, match="tile = true"):
        lay(found, [decal("engine", 200, 290)])


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(
        st.tuples(
            st.floats(15, 120), st.floats(15, 120), st.integers(1, 2), st.sampled_from(["", "A4"])
        ),
        min_size=1,
        max_size=5,
    )
)
def test_any_job_keeps_its_rules_and_its_bound(tmp_path: Path, rows) -> None:  # type: ignore[no-untyped-def]
    text = "[job]\npasses = 1\n" + A4 + A5 + "available = 1\n"
    decals = []
    for k, (wide, high, copies, only) in enumerate(rows):
        text += panel(f"p{k}", f'sheets = ["{only}"]' if only else "")
        decals.append(decal(f"p{k}", wide, high, copies))
    found = job(tmp_path, text)
    laid = lay(found, decals)
    apart(laid, decals)
    assert len(laid.placements) == sum(row[2] for row in rows)
    assert 1 <= laid.lower_bound <= len(laid.sheets)
    assert [s.name for s in laid.sheets].count("A5") <= 1
    for p in laid.placements:
        if rows[int(p.decal[1:])][3]:
            assert laid.sheets[p.sheet_index].name == "A4"


# ---------------------------------------------------------------- part-used and die-cut sheets

GONE = 'gone = [["0 mm", "150 mm", "210 mm", "147 mm"]]\n'


def test_only_the_first_sheet_is_part_used_and_a_later_run_keeps_it_so(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + GONE + panel("engine"))
    decals = [decal("engine", 180, 110, 4)]
    laid = lay(found, decals)
    assert [bool(s.gone) for s in laid.sheets].count(True) == 1
    apart(laid, decals)
    keep(found, laid, decals)
    after, _ = again(found, decals)
    assert places(after) == places(laid)
    assert after.kept == 4


def test_where_the_part_used_sheet_is_another_only_its_pieces_move(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + GONE + panel("engine"))
    decals = [decal("engine", 180, 110, 4)]
    laid = lay(found, decals)
    keep(found, laid, decals)
    part_used = next(k for k, s in enumerate(laid.before) if s.gone)
    there = [p for p in laid.placements if p.sheet_index == part_used]
    found = job(tmp_path, HEAD + A4 + GONE.replace("150", "120") + panel("engine"))
    after, _ = again(found, decals)
    assert after.kept == 4 - len(there)
    apart(after, decals)


GRID = """[[sheet]]
name = "labels"
size = "A4"
stock = "die-cut label stock"
[sheet.grid]
rows = 4
columns = 2
label_width = "98 mm"
label_height = "67 mm"
left = "4.67 mm"
top = "5.8 mm"
pitch_x = "102.67 mm"
pitch_y = "72.8 mm"
corner_radius = "2 mm"
"""


def with_start(words: str) -> str:
    return GRID.replace("[sheet.grid]", f"{words}\n[sheet.grid]")


def test_a_decal_never_crosses_a_die_line_and_gone_labels_stay_empty(tmp_path: Path) -> None:
    text = HEAD + with_start("start_at = 4\ngone_labels = [6]") + panel("lamp")
    found = job(tmp_path, text)
    decals = [decal("lamp", 40, 28, 20)]
    laid = lay(found, decals)
    labels = label_boxes(laid.sheets[0])
    used: dict[int, set[int]] = {}
    for sheet, area, _ in areas(laid, decals):
        inside = [
            n
            for n, b in enumerate(labels, 1)
            if box(b.x0 + 1, b.y0 + 1, b.x1 - 1, b.y1 - 1).buffer(0.001).contains(area)
        ]
        assert len(inside) == 1
        used.setdefault(sheet, set()).update(inside)
    part_used = next(k for k, s in enumerate(laid.before) if s.gone_labels)
    assert used[part_used] <= {4, 5, 7, 8}
    apart(laid, decals)


def test_a_decal_larger_than_a_label_does_not_fit(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + GRID + panel("lamp"))
    with pytest.raises(DoesNotFit):
        lay(found, [decal("lamp", 97.5, 50)])


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"102.67 mm"', '"110 mm"', "beyond the sheet across"),
        ('"72.8 mm"', '"60 mm"', "labels overlap down"),
        ("rows = 4", "rows = 5", "beyond the sheet down"),
    ],
)
def test_a_grid_that_does_not_close_is_a_fault_of_the_job_file(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    with pytest.raises(JobProblem, match=words) as caught:
        job(tmp_path, HEAD + GRID.replace(old, new) + panel("lamp"))
    assert all(f.startswith("job.toml:") for f in caught.value.faults)


# ---------------------------------------------------------------- effort


def test_a_limit_in_seconds_is_told_as_not_repeatable(tmp_path: Path) -> None:
    found = job(tmp_path, "[job]\npasses = 1000\n" + A4 + panel("engine"))
    decals = [decal("engine", 101, 63, 13)]
    laid = lay(found, decals, seconds=0.1)
    (notice,) = [n for n in laid.notices if n.code == "nested-by-the-clock"]
    assert "another run may lay the pieces otherwise" in notice.text
    assert len(laid.placements) == 13
    apart(laid, decals)


def test_the_same_job_is_laid_the_same(tmp_path: Path) -> None:
    found = job(tmp_path, HEAD + A4 + panel("engine") + panel("winch"))
    decals = [decal("engine", 90, 60, 3), decal("winch", 80, 45, 3)]
    assert places(lay(found, decals)) == places(lay(found, decals))


def test_progress_tells_sheets_bound_and_pass(tmp_path: Path) -> None:
    from decalprep.jobs.lay import lay_out

    found = job(tmp_path, HEAD + A4 + panel("engine"))
    told: list[str] = []
    lay_out([decal("engine", 101, 63, 9)], found, None, Effort(told.append))
    assert told
    assert all(words.startswith("nesting: ") and "at least" in words for words in told)
