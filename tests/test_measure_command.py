"""``decalprep measure``: printed sheets of a job judged in scans, through the command line."""

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps
from print_jobs import A5, BED, SCANNER, made_job, save_scan, scan_pair, sheet_picture
from virtual.hand import Press
from virtual.prints import grown

from decalprep.cli import run
from decalprep.errors import InputProblem
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import MakeOptions
from decalprep.jobs.measure import Shown, measure_job, read_scans, sheet_shown
from decalprep.jobs.prints import Prints, prints_for, read_prints, rebuilt
from decalprep.model import PrinterRecord
from decalprep.records import save_printer, save_scanner
from decalprep.scan import ScanImage

PRESS = Press(
    scale_x=-0.0027, scale_y=0.0011, skew=0.0006, ripple_mm=0.01, half_height_mm=A5[1] / 2
)
RECORD = PrinterRecord(
    "office laser",
    "plain paper",
    scale_x=-0.0027,
    scale_y=0.0011,
    skew=0.0006,
    u_scale_x=2e-4,
    u_scale_y=2e-4,
    u_skew=1e-4,
    measured_on="2026-05-30",
    weight_sheets=2.0,
    scatter_scale_x=1e-4,
    scatter_scale_y=1e-4,
    scatter_skew=1e-4,
)


def remembering(shown: Callable[..., Shown]) -> Callable[..., Shown]:
    """``shown`` with what it found for each file: it is slow, and the good scans come often."""
    found: dict[tuple, Shown] = {}

    def sheet_shown(prints: Prints, scan: ScanImage, only: int | None = None) -> Shown:
        key = (scan.name, scan.claimed_dpi, only)
        if key not in found:
            found[key] = shown(prints, scan, only)
        return found[key]

    return sheet_shown


class Desk:
    """A folder with the made job, its sheet as drawn, and scans of it as they are asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.job = made_job(folder, printer="office laser")
        self.rgb = sheet_picture(self.job)
        self.prints = read_prints(folder / "tug-out" / "prints.json")
        self.good = scan_pair(folder, "good", self.rgb, PRESS)

    def measure(self, *args: str) -> int:
        return run(["measure", str(self.job), *args])


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("desk")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DECALPREP_HOME", str(folder / "records"))
        save_printer(folder / "records", RECORD)
        save_scanner(folder / "records", SCANNER)
        patch.setattr("decalprep.jobs.measure.sheet_shown", remembering(sheet_shown))
        yield Desk(folder)


def told(capsys: pytest.CaptureFixture[str]) -> str:
    shown = capsys.readouterr()
    return " ".join((shown.out + shown.err).split())


def blocks(out: str) -> dict[str, dict]:
    """What is told of each decal: its verdict, and (mm off, 95 % range) by word; place_up apart."""
    found: dict[str, dict] = {}
    title = ""
    for line in out.splitlines():
        row = line.split()
        if line.startswith(("    size", "    place")):
            pairs = [(row[k], (float(row[k + 1]), float(row[k + 3]))) for k in (1, 5, 9)]
            ahead = "place_" if row[0] == "place" else ""
            found[title] |= {(ahead + w if w == "up" else w): pair for w, pair in pairs}
        elif line.startswith("  ") and ": " in line:
            title, verdict = line.strip().split(": ", 1)
            found[title] = {"verdict": verdict}
    return found


def test_a_true_print_passes_before_it_is_cut(
    desk: Desk, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert desk.measure(*desk.good, "--scanner", "desk", "--to", str(tmp_path)) == 0
    shown = told(capsys)
    assert shown.count("good") == 2
    assert "cannot" not in shown
    with Image.open(tmp_path / "measured-sheet-1.png") as picture:
        assert min(picture.size) > 1000
        colours = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    # Marked as good in green, nothing in red.
    assert (colours == (0, 110, 50)).all(axis=1).sum() > 2000
    assert not (colours == (190, 0, 0)).all(axis=1).any()


def test_a_decal_too_large_by_four_tenths_fails(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    outline = np.array(next(d.outline for d in desk.prints.sheets[0].decals if d.name == "helm"))
    box = (*outline.min(axis=0), *outline.max(axis=0))
    bad = scan_pair(desk.folder, "bad", grown(desk.rgb, A5, box, 1.004), PRESS)
    assert desk.measure(*bad, "--scanner", "desk") == 6
    found = blocks(capsys.readouterr().out)
    assert found["helm #1"]["verdict"] == "bad (width)"
    across, range_across = found["helm #1"]["across"]
    up, range_up = found["helm #1"]["up"]
    assert across == pytest.approx(0.4, abs=range_across)
    assert up == pytest.approx(0.28, abs=range_up + 0.02)
    assert found["pump #1"]["verdict"] == "good"


def test_one_scan_says_what_it_cannot_know(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    assert desk.measure(desk.good[0]) == 7
    shown = told(capsys)
    assert shown.count("cannot tell") == 3
    assert "one scan alone cannot tell the scanner's error" in shown
    assert "the overall size rests on the dpi that the scan claims and the record" in shown
    # The scanner's own record stands in for the second scan.
    assert desk.measure(desk.good[0], "--scanner", "desk") == 0
    assert "the scanner's own error is taken from its record" in told(capsys)


def test_check_bars_tell_the_size(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    assert desk.measure(*desk.good, "bar1=100,1 bar2=100.0") == 0
    assert "rests on" not in told(capsys)
    assert desk.measure(*desk.good, "bar1=102.0") == 7
    assert "bar1=102.0 mm says that the sheet is +2.00 % off" in told(capsys)
    assert desk.measure(*desk.good, "bar1=10.0") == 7
    assert "cannot be: the bar is 100 mm long" in told(capsys)
    assert desk.measure(*desk.good, "bar3=100") == 2


def test_a_sheet_scaled_by_the_dialog_is_named(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    press = replace(PRESS, scale_x=PRESS.scale_x - 0.03, scale_y=PRESS.scale_y - 0.03)
    scan = save_scan(desk.folder / "scaled.png", desk.rgb, press, turn_deg=0.3)
    assert desk.measure(str(scan), "--scanner", "desk") == 6
    shown = told(capsys)
    assert shown.count("bad") == 2
    assert "the print dialog has scaled it" in shown


def test_another_sheet_is_refused(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    blank = desk.folder / "blank.png"
    Image.fromarray(np.full((1290, 915), 240, np.uint8)).save(blank, dpi=(BED.dpi, BED.dpi))
    assert desk.measure(str(blank)) == 3
    assert "does not show any sheet of the job" in told(capsys)
    other = np.full_like(desk.rgb, 255)
    for at, size in (((220, 300), (680, 1120)), ((1050, 750), (520, 520))):
        cv2.rectangle(other, at, (at[0] + size[0], at[1] + size[1]), (0, 120, 200), 2)
    scan = save_scan(desk.folder / "other.png", other, PRESS, turn_deg=0.2)
    assert desk.measure(str(scan)) == 3
    assert desk.measure(desk.good[0], "--sheet", "2") == 2


def test_mirrored_and_photographed_are_refused_by_reason(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    with Image.open(desk.good[0]) as scan:
        ImageOps.mirror(scan).save(desk.folder / "mirrored.png", dpi=(BED.dpi, BED.dpi))
        picture = np.asarray(scan)
    assert desk.measure(str(desk.folder / "mirrored.png")) == 3
    assert "shows the sheet mirrored" in told(capsys)
    high, wide = picture.shape[:2]
    square = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    slant = square + np.array([[68, 60], [-82, 68], [-38, -45], [30, -75]], np.float32)
    seen = cv2.warpPerspective(
        picture,
        cv2.getPerspectiveTransform(square, slant),
        (wide, high),
        borderValue=(60, 50, 40),
    )
    Image.fromarray(seen).save(desk.folder / "phone.jpg")
    assert desk.measure(str(desk.folder / "phone.jpg")) == 3
    shown = told(capsys)
    assert "is a photograph taken at an angle" in shown
    assert "use a flatbed scanner" in shown


def test_what_should_be_seen_is_worked_out_again_if_it_was_not_kept(
    desk: Desk, tmp_path: Path
) -> None:
    job = read_job(desk.job)
    options = MakeOptions(desk.folder / "records", "2026-06-01")
    kept, is_kept = prints_for(job, desk.folder / "tug-out", options, lambda _: None)
    assert is_kept
    again = rebuilt(job, options, lambda _: None)
    assert again.tolerance_mm == kept.tolerance_mm == 0.25
    for one, two in zip(kept.sheets, again.sheets, strict=True):
        assert (one.bars, one.printer) == (two.bars, two.printer)
        assert one.mean_scale_u == pytest.approx(two.mean_scale_u)
        for a, b in zip(one.lines, two.lines, strict=True):
            assert np.allclose(a, b, atol=1e-4)
    damaged = tmp_path / "prints.json"
    damaged.write_text(json.dumps({"kind": "decalprep prints", "version": 1}))
    with pytest.raises(InputProblem, match="damaged"):
        read_prints(damaged)
    shutil.rmtree(tmp_path)


def test_a_leaning_turned_decal_is_told_so(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    outline = np.array(next(d.outline for d in desk.prints.sheets[0].decals if d.name == "helm"))
    (left, low), (right, high) = outline.min(axis=0), outline.max(axis=0)
    rgb = moved_about(desk.rgb, (left, low, right, high), lean=0.008, turn=0.009, right_mm=0.5)
    bad = scan_pair(desk.folder, "leaning", rgb, PRESS)
    assert desk.measure(*bad, "--scanner", "desk") == 6
    found = blocks(capsys.readouterr().out)
    helm = found["helm #1"]
    short, long = sorted((right - left, high - low))
    assert helm["verdict"] == "bad (lean, place, turn)"
    assert helm["lean"][0] == pytest.approx(0.008 * short, abs=helm["lean"][1])
    assert helm["turn"][0] == pytest.approx(0.009 * long, abs=helm["turn"][1])
    assert helm["right"][0] == pytest.approx(0.5, abs=helm["right"][1] + 0.05)
    assert found["pump #1"]["verdict"] == "good"


def moved_about(
    rgb: np.ndarray, box: tuple[float, ...], *, lean: float, turn: float, right_mm: float
) -> np.ndarray:
    """The picture with what lies in a box sheared, turned and shifted about its middle."""
    px = rgb.shape[1] / A5[0]
    left, right = (v * px for v in (box[0], box[2]))
    top, bottom = ((A5[1] - v) * px for v in (box[3], box[1]))
    middle = np.array([(left + right) / 2, (top + bottom) / 2])
    # Rows run down: what leans the top to the right is minus in them; so is a turn to the left.
    linear = np.array([[1, turn], [-turn, 1]]) @ np.array([[1, -lean], [0, 1]])
    warp = np.column_stack([linear, middle - linear @ middle + (right_mm * px, 0)])
    size, white = (rgb.shape[1], rgb.shape[0]), (255, 255, 255)
    other = cv2.warpAffine(rgb, warp, size, flags=cv2.INTER_CUBIC, borderValue=white)
    out, more = rgb.copy(), round(1.2 * px)
    rows = slice(round(top) - more, round(bottom) + more)
    columns = slice(round(left) - more, round(right) + more)
    out[rows, columns] = other[rows, columns]
    return out


def test_what_beginners_do_is_measured_or_named(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    with Image.open(desk.good[0]) as scan:
        scan.rotate(180).save(desk.folder / "upside.png", dpi=(BED.dpi, BED.dpi))
        scan.save(desk.folder / "tag.png", dpi=(300, 300))
        wide, high = scan.size
        scan.crop((0, 0, wide, round(0.75 * high))).save(
            desk.folder / "cropped.png", dpi=(BED.dpi, BED.dpi)
        )
    assert desk.measure(str(desk.folder / "upside.png"), desk.good[1], "--scanner", "desk") == 0
    told(capsys)
    # A wrong tag: the other scan's is gone by, and the file is named.
    assert desk.measure(str(desk.folder / "tag.png"), desk.good[1]) == 0
    assert "tag.png: the file claims 300 dpi, but was scanned at about 150" in told(capsys)
    # Cropped: what is cut off is not judged, and not passed.
    assert desk.measure(str(desk.folder / "cropped.png"), "--scanner", "desk") == 7
    verdicts = {d["verdict"] for d in blocks(capsys.readouterr().out).values()}
    assert verdicts & {"cannot tell", "not seen"}
    assert desk.measure(str(desk.folder / "tug-out" / "sheets.pdf")) == 3
    assert "a scan has one" in told(capsys)


def test_long_steps_are_told(desk: Desk) -> None:
    steps: list[str] = []
    paths = [Path(p) for p in desk.good]
    measure_job(desk.prints, read_scans(paths, steps.append), say=steps.append)
    assert steps == [
        "reading good-0.png",
        "looking which sheet good-0.png shows",
        "reading good-1.png",
        "looking which sheet good-1.png shows",
        "measuring sheet 1",
    ]


def test_an_unknown_scanner_is_named(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    assert desk.measure(*desk.good, "--scanner", "attic") == 2
    assert "there is no record of a scanner 'attic' (there are: desk)" in told(capsys)


def test_a_result_folder_that_is_none_is_named_not_replaced_by_the_job_s_own(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    """A mistyped --result must not be judged by another run's layout."""
    assert desk.measure(*desk.good, "--result", str(desk.folder / "job-again-7")) == 3
    said = told(capsys)
    assert "job-again-7" in said
    assert "no folder that 'make' wrote" in said
