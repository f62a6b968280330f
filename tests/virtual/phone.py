"""A virtual phone: photographs of a bent page, all seeded, nothing of the estimator in it."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.interpolate import RectBivariateSpline

from virtual.hand import Press

Points = np.ndarray


@dataclass(frozen=True)
class Phone:
    """A camera: picture size, focal length and middle in px, two lens terms, its looks."""

    width_px: int = 4000
    height_px: int = 3000
    focal_px: float = 3000.0
    middle_px: tuple[float, float] = (12.0, -9.0)
    k1: float = 0.06
    k2: float = -0.09
    breathing: float = 0.002
    wobble_px: float = 4.0
    blur_px: float = 1.0
    noise: float = 3.0
    vignette: float = 0.25


@dataclass(frozen=True)
class Shot:
    """Where the phone is for one photograph, and what it does by itself."""

    tilt_deg: float
    towards_deg: float
    roll_deg: float = 0.0
    distance_mm: float = 420.0
    aside_mm: tuple[float, float] = (0.0, 0.0)
    focal: float = 1.0
    shift_px: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Curl:
    """A page bent like a part of a cylinder across ``along_deg``: sag in mm over its length."""

    sag_mm: float = 0.0
    along_deg: float = 90.0
    third_mm: float = 0.0
    length_mm: float = 290.0

    def lies(self, x: Points, y: Points) -> Points:
        """Places in space (n, 3) of places on the flat paper; paper does not stretch."""
        c, s = math.cos(math.radians(self.along_deg)), math.sin(math.radians(self.along_deg))
        u, w = c * x + s * y, -s * x + c * y
        half = self.length_mm / 2
        z = -self.sag_mm * (u / half) ** 2 + self.third_mm * (u / half) ** 3
        # The way on the ground is shorter than the way along the paper.
        a, b = -2 * self.sag_mm / half**2, 3 * self.third_mm / half**3
        lost = (a * a * u**3 / 3 + a * b * u**4 / 2 + b * b * u**5 / 5) / 2
        u = u - lost
        return np.column_stack([c * u - s * w, s * u + c * w, z])


def draw_phone(rng: np.random.Generator, **more: float) -> Phone:
    """A phone with honest errors."""
    values = {
        "focal_px": rng.uniform(2700, 3400),
        "middle_px": tuple(rng.normal(0, 15, 2)),
        "k1": rng.normal(0, 0.05),
        "k2": rng.normal(0, 0.05),
    }
    return Phone(**{**values, **more})


def five_shots(
    rng: np.random.Generator, phone: Phone, count: int = 5, tilt: tuple[float, float] = (20, 40)
) -> list[Shot]:
    """Photographs from all sides, as a person takes them when told to."""
    shots = []
    for k in range(count):
        shots.append(
            Shot(
                rng.uniform(*tilt),
                360 * k / count + rng.normal(0, 12),
                rng.normal(0, 5) + (90 if rng.random() < 0.4 else 0),
                rng.uniform(320, 380),
                tuple(rng.normal(0, 8, 2)),
                1 + rng.normal(0, phone.breathing),
                tuple(rng.normal(0, phone.wobble_px, 2)),
            )
        )
    return shots


def camera_frame(shot: Shot) -> tuple[Points, Points]:
    """(3 x 3 rows right, down, ahead; the camera's place) above the page's middle."""
    tilt, towards = math.radians(shot.tilt_deg), math.radians(shot.towards_deg)
    off = np.array([math.sin(tilt) * math.cos(towards), math.sin(tilt) * math.sin(towards), 0])
    place = shot.distance_mm * (off + np.array([0, 0, math.cos(tilt)]))
    aim = np.array([*shot.aside_mm, 0.0])
    ahead = (aim - place) / np.linalg.norm(aim - place)
    up = np.array([0.0, 1.0, 0.0])
    right = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    roll = math.radians(shot.roll_deg)
    c, s = math.cos(roll), math.sin(roll)
    return np.array([c * right + s * down, -s * right + c * down, ahead]), place


def seen(
    press: Press, curl: Curl, phone: Phone, shot: Shot, points: Points, half: Points
) -> Points:
    """Pixel places (column, row from the top, centres at .5) of page points (mm, page corner)."""
    landed = np.array([press.lands(x - half[0], y - half[1]) for x, y in points])
    frame, place = camera_frame(shot)
    away = (curl.lies(landed[:, 0], landed[:, 1]) - place) @ frame.T
    x, y = away[:, 0] / away[:, 2], away[:, 1] / away[:, 2]
    r2 = x * x + y * y
    bend = 1 + phone.k1 * r2 + phone.k2 * r2 * r2
    f = phone.focal_px * shot.focal
    col = phone.width_px / 2 + phone.middle_px[0] + shot.shift_px[0] + f * x * bend
    row = phone.height_px / 2 + phone.middle_px[1] + shot.shift_px[1] + f * y * bend
    return np.column_stack([col, row])


def disc_centroids(
    press: Press,
    curl: Curl,
    phone: Phone,
    shot: Shot,
    discs: Points,
    rng: np.random.Generator,
    *,
    radius_mm: float = 2.5,
    toner: Points | None = None,
    sigma_px: float = 0.03,
    half: Points | None = None,
) -> Points:
    """Centroids of the discs' images without drawing: each disc is a ring of area pieces."""
    half = np.array([105.0, 148.5]) if half is None else half
    placed = discs if toner is None else discs + toner
    angles = np.arange(16) * 2 * math.pi / 16
    # Two rings of equal weight integrate the disc's area exactly up to third order.
    rings = [math.sqrt((1 - 1 / math.sqrt(3)) / 2), math.sqrt((1 + 1 / math.sqrt(3)) / 2)]
    ring = np.vstack([[(q * math.cos(a), q * math.sin(a)) for a in angles] for q in rings])
    around = (placed[:, None, :] + radius_mm * ring[None]).reshape(-1, 2)
    spots = seen(press, curl, phone, shot, around, half).reshape(len(discs), -1, 2)
    # A piece counts by the area that it has in the picture.
    step = 1e-3
    right = seen(press, curl, phone, shot, around + (step, 0), half).reshape(spots.shape)
    above = seen(press, curl, phone, shot, around + (0, step), half).reshape(spots.shape)
    a, b = right - spots, above - spots
    area = np.abs(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
    middle = np.sum(spots * area[..., None], axis=1) / np.sum(area, axis=1)[:, None]
    return middle + rng.normal(0, sigma_px, middle.shape)


def photograph(
    page: Points,
    press: Press,
    curl: Curl,
    phone: Phone,
    shot: Shot,
    *,
    seed: int = 1,
) -> Points:
    """A grey photograph of a drawn A4 page (grey, rows from the top, filling its picture)."""
    per_mm = page.shape[1] / 210.0, page.shape[0] / 297.0
    half = np.array([105.0, 148.5])
    step = 25
    columns = np.append(np.arange(0, phone.width_px, step), phone.width_px).astype(float)
    rows = np.append(np.arange(0, phone.height_px, step), phone.height_px).astype(float)
    there = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    spots = _page_places(press, curl, phone, shot, there, half).reshape(len(rows), len(columns), 2)
    every = np.arange(phone.height_px) + 0.5, np.arange(phone.width_px) + 0.5
    # Splines, not OpenCV's interpolation, which rounds places to 1/32 of a step.
    x, y = (RectBivariateSpline(rows, columns, spots[..., k])(*every) for k in (0, 1))
    x, y = x.astype(np.float32), y.astype(np.float32)
    col, row = np.meshgrid(every[1], every[0])
    soft = cv2.GaussianBlur(page, (0, 0), 0.5 * per_mm[0] * shot.distance_mm / phone.focal_px)
    seen_px = (x * per_mm[0] - 0.5, (297.0 - y) * per_mm[1] - 0.5)
    table = 120
    picture = cv2.remap(soft, *seen_px, cv2.INTER_LINEAR, borderValue=table).astype(np.float32)
    picture = cv2.GaussianBlur(picture, (0, 0), phone.blur_px)
    # Darker to the corners and to one side, as a room's light is.
    away = np.hypot(col - phone.width_px / 2, row - phone.height_px / 2) / phone.width_px
    picture *= 0.92 * (1 - phone.vignette * away**2) * (1 - 0.12 * col / phone.width_px)
    picture += np.random.default_rng(seed).normal(0, phone.noise, picture.shape)
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def _page_places(
    press: Press, curl: Curl, phone: Phone, shot: Shot, pixels: Points, half: Points
) -> Points:
    """Page places (mm, from the lower left) whose ink is seen at pixels, by repeated correction."""
    frame, place = camera_frame(shot)
    middle = np.array(
        [
            phone.width_px / 2 + phone.middle_px[0] + shot.shift_px[0],
            phone.height_px / 2 + phone.middle_px[1] + shot.shift_px[1],
        ]
    )
    bent = (pixels - middle) / (phone.focal_px * shot.focal)
    flat = bent
    for _ in range(20):
        r2 = np.sum(flat**2, axis=1)[:, None]
        flat = bent / (1 + phone.k1 * r2 + phone.k2 * r2 * r2)
    rays = np.column_stack([flat, np.ones(len(flat))]) @ frame
    ground = place[:2] - rays[:, :2] * (place[2] / rays[:, 2:])
    points = ground.copy()
    for _ in range(12):
        lands = np.array([press.lands(x, y) for x, y in np.clip(points, -300, 300)])
        there = curl.lies(lands[:, 0], lands[:, 1])
        hit = place[:2] + rays[:, :2] * ((there[:, 2:] - place[2]) / rays[:, 2:])
        points = points + (hit - there[:, :2])
    return points + half
