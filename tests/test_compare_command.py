"""``decalprep compare``: a bare part against its printed decal, through the command line."""

import math
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from print_jobs import A5, BED, laid_job, line_picture, save_scan
from virtual.hand import Press

from decalprep.cli import run
from decalprep.errors import ExitCode
from decalprep.jobs.compare import Compared, LegendOffset, compared_lines, fitted_record
from decalprep.jobs.prints import PrintedDecal
from decalprep.model import PartRecord
from decalprep.records import load_part
from decalprep.scan import PartComparison

PRESS = Press(scale_x=0.0005, scale_y=0.001, half_height_mm=A5[1] / 2)


def part_picture(
    decal: PrintedDecal, error: tuple[float, float], turn_deg: float = -0.3
) -> np.ndarray:
    """The part on the bed as the decal lies on its sheet, wrong by factors along sheet x and y."""
    outline = np.array(decal.outline)
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def see(points: np.ndarray) -> np.ndarray:
        x, y = ((points - middle) * (1 + np.array(error))).T
        return np.column_stack(BED.sees(c * x - s * y + 2, s * x + c * y - 3))

    rings = [outline]
    angle = np.linspace(0, 2 * math.pi, 200)[:-1]
    for _, x, y, diameter in decal.holes:
        r = diameter / 2 - 0.1
        rings.append(np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)]))
    fine, px = 4, BED.dpi / 25.4
    shape = (round(BED.height_mm * px) * fine, round(BED.width_mm * px) * fine)
    picture = np.full(shape, 245, np.uint8)
    cv2.fillPoly(
        picture, [np.round(see(r) * fine * 16 - 8).astype(np.int32) for r in rings], 70, 8, 4
    )
    small = cv2.resize(picture, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    noisy = small + np.random.default_rng(5).normal(0, 3, small.shape)
    return np.clip(noisy, 0, 255).round().astype(np.uint8)


class Desk:
    """The made job, one printed sheet scanned, and parts scanned as they are asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.job, prints = laid_job(folder)
        self.sheet = prints.sheets[0]
        self.scan = save_scan(folder / "sheet.png", line_picture(self.sheet), PRESS, turn_deg=0.3)

    def decal(self, name: str) -> PrintedDecal:
        return next(d for d in self.sheet.decals if d.name == name)

    def part(self, name: str, error: tuple[float, float], dpi: float = BED.dpi, **more) -> str:
        path = self.folder / "part.png"
        picture = part_picture(self.decal(name), error, **more)
        Image.fromarray(picture).save(path, dpi=(dpi, dpi))
        return str(path)

    def compare(self, panel: str, part: str, *more: str) -> int:
        return run(["compare", str(self.job), panel, part, str(self.scan), *more])


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("desk")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DECALPREP_HOME", str(folder / "records"))
        yield Desk(folder)


def told(capsys: pytest.CaptureFixture[str]) -> str:
    shown = capsys.readouterr()
    return " ".join((shown.out + shown.err).split())


def test_a_part_like_its_print_fits_and_the_scanner_cancels(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    part = desk.part("helm", (PRESS.scale_x, PRESS.scale_y))
    assert desk.compare("helm", part, "--to", str(desk.folder / "seen")) == 0
    shown = told(capsys)
    assert "its error falls on both and cancels" in shown
    worst = float(shown.split("At worst ")[1].split(" mm")[0])
    assert worst < 0.05
    edge = shown.split("Edge, by ")[1]
    low, high = edge.split(" from ")[1].split(", give")[0].split(" to ")
    assert -0.08 < float(low) < float(high) < 0.08
    with Image.open(desk.folder / "seen" / "compared-helm-1.png") as picture:
        assert picture.size[0] > 1500


def test_a_shrunk_part_is_told_hole_by_hole_and_its_decal_fitted(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    part = desk.part("helm", (-0.0095, -0.008))
    assert desk.compare("helm", part, "--save", "helm plate") == 6
    rows = [line.split() for line in capsys.readouterr().out.splitlines()]
    holes = [row for row in rows if len(row) == 7 and row[2] == "+/-"]
    shown = " ".join(word for row in rows for word in row)
    # Short by 0.01 of 50 mm at either side; a fitted decal takes it out of holes and edge.
    assert "the decal hangs over the part by 0.5" in shown
    left = shown.split("A decal fitted to this part would leave ")[1].split()
    assert float(left[0]) < 0.05
    assert abs(float(left[left.index("and") + 1])) < 0.1
    assert len(holes) == 5
    # Corner holes are 42 and 27 mm from the middle, the print too large, the part too small.
    corner = math.hypot(42 * 0.010, 27 * 0.009)
    far = sorted(float(h[1]) for h in holes)
    assert far[-1] == pytest.approx(corner, abs=0.08)
    record = load_part(desk.folder / "records", "helm plate")
    assert record.scale_x == pytest.approx(-0.010, abs=5e-4)
    assert record.scale_y == pytest.approx(-0.009, abs=6e-4)
    assert record.same_rule_as_printer


def test_refusals_say_how_to_lay_the_part(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    assert desk.compare("helm", desk.part("helm", (0, 0), turn_deg=-4.5)) == 7
    assert "so lay the part" in told(capsys)
    assert desk.compare("helm", desk.part("helm", (0, 0), dpi=300)) == 7
    assert "scan both at the same setting" in told(capsys)
    # Without a tag nothing can be checked: that is said, and the rest goes on.
    with Image.open(desk.part("helm", (PRESS.scale_x, PRESS.scale_y))) as picture:
        picture.save(desk.folder / "untagged.png")
    assert desk.compare("helm", str(desk.folder / "untagged.png")) == 0
    shown = told(capsys)
    assert "untagged.png does not say at how many dots an inch it was scanned" in shown
    assert "was not checked" in shown
    assert desk.compare("wheel", desk.part("helm", (0, 0))) == 2
    assert "its panels are: helm, pump" in told(capsys)
    assert desk.compare("helm", desk.part("helm", (0, 0)), "--copy", "3") == 2
    assert desk.compare("helm", desk.part("helm", (0, 0)), "--uneven", "9 mm") == 2
    assert "choose 0 to 5 mm" in told(capsys)


def test_a_turned_decal_gets_its_fit_in_its_own_directions() -> None:
    """Turned by 90 degrees, what is across on the sheet is up on the decal; fits add up."""
    found = PartRecord("p", scale_x=0.01, scale_y=-0.002, u_scale_x=1e-4, u_scale_y=3e-4)
    turned = PrintedDecal("d", 1, "d", 90.0, (), (), (0.001, 0.002, 0.0))
    fitted = fitted_record(found, turned)
    assert fitted.scale_x == pytest.approx((1 - 0.002) * 1.001 - 1, abs=1e-9)
    assert fitted.scale_y == pytest.approx(1.01 * 1.002 - 1, abs=1e-9)
    assert fitted.skew == pytest.approx(0, abs=1e-12)
    assert (fitted.u_scale_x, fitted.u_scale_y) == pytest.approx((3e-4, 1e-4))
    leaning = fitted_record(PartRecord("p", skew=0.003), PrintedDecal("d", 1, "d", 90.0, ()))
    # A lean of the sheet's y axis to the right is, seen turned, a lean the other way.
    assert leaning.skew == pytest.approx(-0.003, abs=1e-5)


@pytest.mark.parametrize(
    ("right_mm", "words", "code"),
    [
        (0.10, "within", ExitCode.OK),
        (0.22, "too uncertain to judge by", ExitCode.READINGS),
        (0.40, "off by more than", ExitCode.PROOF),
    ],
)
def test_what_lies_within_its_uncertainty_of_the_tolerance_is_not_called_within(
    right_mm: float, words: str, code: ExitCode
) -> None:
    offset = LegendOffset("hole 1", right_mm, 0.0, 0.05, 6.1)
    decal = PrintedDecal("d", 1, "d", 0.0, ())
    found = PartComparison((), None, 0.0, (50.0, 40.0), (), ())
    compared = Compared(decal, 1, 0.25, (offset,), found, None)
    assert f"at hole 1: {words} the 0.25 mm" in " ".join(compared_lines(compared))
    assert compared.exit_code is code
