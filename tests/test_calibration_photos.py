"""Photographs of the page: camera and page solved for, uncertainty told, the useless refused."""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from virtual.hand import Press, read
from virtual.pages import parts
from virtual.phone import Curl, Phone, Shot, disc_centroids, five_shots, photograph
from virtual.prints import drawn

from decalprep.calibration import (
    PhotoPoints,
    coverage_factor,
    photos,
    plain_rule_u,
    shape_from_photos,
)
from decalprep.calibration.bundle import Taken, solved, start
from decalprep.calibration.photos import _view
from decalprep.cli import run
from decalprep.errors import ReadingsRefused
from decalprep.records import find_printer
from decalprep.scan import ScanImage, find_page_in_photo

LAYOUT = parts()[0]
DISCS = np.array(LAYOUT.discs)
HALF = np.array([105.0, 148.5])
COLUMNS = sorted(set(np.round(DISCS[:, 0], 3)))
PRESS = Press(scale_x=0.003, scale_y=-0.004, skew=0.0015, bow_mm=0.01, ripple_mm=0.01)
TRUTH = np.array([0.996 / 1.003 - 1, 0.0015 / 0.9995])
STEADY = Phone(breathing=0.0001, wobble_px=0.3)
ROUND = tuple(Shot(30, 90 * k, 0, 400) for k in range(4))


def points(
    shots: tuple[Shot, ...],
    *,
    curl: Curl = Curl(0.5, 90, 0.2),  # noqa: B008 - frozen
    phone: Phone = STEADY,
    press: Press = PRESS,
    seed: int = 3,
    noise: float = 1.0,
) -> list[PhotoPoints]:
    """Photo points without drawing; focus and image middle move as the phone's do."""
    rng = np.random.default_rng(seed)
    toner = rng.normal(0, 0.01 * noise, DISCS.shape)
    found = []
    for k, shot in enumerate(shots):
        moved = replace(
            shot,
            focal=1 + rng.normal(0, phone.breathing),
            shift_px=tuple(rng.normal(0, phone.wobble_px, 2)),
        )
        px = disc_centroids(
            press, curl, phone, moved, DISCS, rng, toner=toner, sigma_px=0.03 * noise
        )
        wide, high = phone.width_px, phone.height_px
        inside = np.all((px > 20) & (px < np.array([wide, high]) - 20), axis=1)
        image = np.column_stack([px[:, 0] - wide / 2, high / 2 - px[:, 1]])[inside]
        found.append(
            PhotoPoints(
                f"photo {k}",
                tuple(map(tuple, (DISCS - HALF)[inside].tolist())),
                tuple(map(tuple, image.tolist())),
                tuple(np.array(LAYOUT.disc_rows)[inside].tolist()),
                tuple(COLUMNS.index(round(x, 3)) for x in DISCS[inside][:, 0]),
                (wide, high),
                "A4",
            )
        )
    return found


def shape(photos: list[PhotoPoints]):
    return shape_from_photos(photos, disc_mm=5.0, rule_u=plain_rule_u(LAYOUT))


@pytest.mark.parametrize(
    ("phone", "goal"), [(STEADY, 150e-6), (Phone(breathing=0.001, wobble_px=2.0), 500e-6)]
)
def test_a_page_flat_to_a_millimetre_is_known_better_than_by_a_rule(
    phone: Phone, goal: float
) -> None:
    rng = np.random.default_rng(2)
    fit = shape(points(tuple(five_shots(rng, phone)), phone=phone))
    u = np.sqrt(np.diag(np.array(fit.shape.covariance)))
    error = np.array([fit.shape.ratio, fit.shape.skew]) - TRUTH
    assert np.all(np.abs(error) < coverage_factor(fit.shape.freedom) * u)
    assert np.all(u < goal)
    assert np.all(u < plain_rule_u(LAYOUT))
    assert 0.3 < fit.bend_mm < 1.0
    # Residuals are toner, ripple and places in the picture, a hundredth of a millimetre each.
    assert 0.005 < fit.scatter_mm < 0.02


@cache
def steady_four() -> list[PhotoPoints]:
    """Four photographs from all around by a steady camera; not to be changed."""
    return points(ROUND)


def test_a_restless_camera_is_noticed_and_costs_uncertainty() -> None:
    steady = shape(steady_four())
    restless = shape(points(ROUND, phone=Phone(breathing=0.001, wobble_px=2.0)))
    assert restless.unrest > 2 * steady.unrest
    assert restless.shape.covariance[0][0] > 4 * steady.shape.covariance[0][0]
    assert [round(t) for t in steady.tilts_deg] == [30, 30, 30, 30]


def test_the_middle_of_a_discs_picture_is_not_the_picture_of_its_middle() -> None:
    views = [_view(p) for p in points(ROUND, curl=Curl(), phone=STEADY, press=Press(), noise=0.0)]
    worst = {}
    for rho in (2.5, 0.01):
        _, linear = solved(start(views), views, Taken(rho, 1e-6))
        worst[rho] = max(float(np.abs(e).max()) * 4000 for e in linear.residuals)
    # In pixels: what the lens adds over a disc is left, and that is next to nothing.
    assert worst[2.5] < 0.004
    assert worst[0.01] > 3 * worst[2.5]


def refusal(photos: list[PhotoPoints]) -> str:
    with pytest.raises(ReadingsRefused) as refused:
        shape(photos)
    return str(refused.value)


def test_what_cannot_tell_is_refused_with_the_reason() -> None:
    four = steady_four()
    assert "one photograph tells nothing" in refusal(four[:1])
    assert "3 photographs tell nothing" in refusal(four[:3])
    assert "are the same photograph" in refusal([*four[:3], four[0]])
    assert "different pages" in refusal([*four[:3], replace(four[3], page="Letter")])
    assert "different pages" in refusal(
        [replace(four[0], code="A"), *four[1:3], replace(four[3], code="B")]
    )
    other = replace(four[3], image_size_px=(3000, 4000))
    assert "3000 x 4000 pixels" in refusal([*four[:3], other])
    named = [replace(p, camera=f"box, {4 + (k == 1)} mm") for k, p in enumerate(four)]
    assert "not of one camera, lens and zoom: box, 4 mm, box, 5 mm" in refusal(named)


ONE_SIDE = ((35, 0), (36, 4), (37, 8), (38, 12))
FLAT_ON = ((8, 0), (6, 2), (9, 180), (7, 4))
AROUND = ((30, 0), (30, 90), (30, 180), (30, 270))
ZOOMING = Phone(breathing=0.01, wobble_px=30.0)


@pytest.mark.parametrize(
    ("shots", "curl", "phone", "found"),
    [
        (ONE_SIDE, Curl(0.5), STEADY, "they are all tilted along one line"),
        (FLAT_ON, Curl(0.5, 30, 0.2), STEADY, "too few are tilted ("),
        (AROUND, Curl(0.5), ZOOMING, "focus or zoom changed"),
        (AROUND, Curl(9, 90, 3), STEADY, "the page is bent by 7 mm"),
    ],
)
def test_too_few_tilts_zoom_and_curl_are_refused_by_name(
    shots: tuple[tuple[float, float], ...], curl: Curl, phone: Phone, found: str
) -> None:
    text = refusal(points(tuple(Shot(t, a, 0, 400) for t, a in shots), curl=curl, phone=phone))
    assert found in text, text


def test_a_page_that_moved_between_photographs_is_told() -> None:
    four = steady_four()
    px = np.array(four[2].image_px)
    px[::2] += (8.0, 0.0)
    text = refusal([*four[:2], replace(four[2], image_px=tuple(map(tuple, px))), four[3]])
    assert "off any gently bent page" in text
    assert "photo 2 fits the others badly" in text


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, np.ndarray]:
    """A folder with records, and the page that was printed for them."""
    folder = tmp_path_factory.mktemp("photographs")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DECALPREP_HOME", str(folder / "records"))
        path = folder / "page.pdf"
        assert run(["calibrate", "page", "--printer", "desk", "--to", str(path)]) == 0
    return folder, drawn(path.read_bytes(), dpi=150)[:, :, 0]


def test_drawn_photographs_from_end_to_end(
    page: tuple[Path, np.ndarray],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder, picture = page
    monkeypatch.setenv("DECALPREP_HOME", str(folder / "records"))
    phone = replace(STEADY, width_px=1800, height_px=1350, focal_px=1350.0, middle_px=(5.0, -4.0))
    curl, names = Curl(0.7, 90, 0.2), []
    for k, shot in enumerate(ROUND):
        near = replace(shot, distance_mm=345, roll_deg=90)
        grey = photograph(picture, PRESS, curl, phone, near, seed=k)
        names.append(str(folder / f"p{k}.jpg"))
        exif = Image.Exif()
        exif[0x0110] = "virtual phone"
        Image.fromarray(grey).save(names[-1], quality=88, exif=exif)
        if k == 0:
            found = find_page_in_photo(ScanImage("p", grey)).points
            true = disc_centroids(
                PRESS, curl, phone, near, DISCS, np.random.default_rng(0), sigma_px=0
            )
            own = DISCS - HALF
            index = [int(np.argmin(np.hypot(*(own - m).T))) for m in found.page_mm]
            away = np.array(found.image_px) - (true[index] - (900, 675)) * (1, -1)
            assert len(index) >= 86
            assert np.sqrt(np.mean(away**2)) < 0.03
    rows = read(PRESS, np.random.default_rng(4), sigma_mm=0.07, lines=("down1", "across1"))
    readings = " ".join(f"{k}={v:.2f}" for k, v in rows) + " method=vernier"
    command = ["calibrate", "photos", "--printer", "desk", "--measured-on", "2026-05-30"]
    assert run([*command, *names, readings]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "From the photographs, camera and lens taken out (95 %)" in shown
    assert "A plain rule alone would know the shape" in shown
    record = find_printer(folder / "records", "desk")
    for name in ("scale_x", "scale_y", "skew"):
        error = getattr(record, name) - getattr(PRESS, name)
        assert abs(error) < 2.5 * getattr(record, f"u_{name}"), name
    assert dict(record.history[0])["method"] == "photos and rule"
    assert run([*command, *names[:1], readings]) == 7
    assert "one photograph tells nothing" in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize("variance", [-1e-9, math.nan])
def test_an_answer_without_an_uncertainty_is_none(
    variance: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Least squares of places that no camera sees so can end in any number, or in none."""
    four = steady_four()
    known = {"disc_mm": LAYOUT.disc_diameter_mm, "rule_u": plain_rule_u(LAYOUT)}
    fit = shape_from_photos(four, **known)
    wrong = replace(fit, shape=replace(fit.shape, covariance=((variance, 0.0), (0.0, 1e-9))))
    monkeypatch.setattr(photos, "_finding", lambda *_: wrong)
    monkeypatch.setattr(photos, "_first", lambda *_: (None, 1.0))
    monkeypatch.setattr(photos, "_reasons", lambda *_: [])
    with pytest.raises(ReadingsRefused, match="no camera and no page explain"):
        shape_from_photos(four, **known)
