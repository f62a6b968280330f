"""A virtual steel rule laid on the virtual bed: marks drawn by polygons, nothing of the reader."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from virtual.scanner import Bed

_FINE = 16


@dataclass(frozen=True)
class SteelRule:
    """How a rule looks and lies: its 0 mark on the bed (mm, centred), its turn, its marks."""

    zero_mm: tuple[float, float] = (88.0, -140.0)
    turn_deg: float = 90.4
    length_mm: float = 280.0
    wide_mm: float = 15.0
    steel: float = 165.0
    mark: float = 50.0
    mark_mm: float = 0.18
    pitch_mm: float = 1.0
    halves: bool = False
    shine_mm: tuple[float, float] = (120.0, 150.0)
    noise: float = 4.0


def laid(picture: np.ndarray, bed: Bed, rule: SteelRule, seed: int = 5) -> np.ndarray:
    """The scan with the rule in it, over whatever lay there."""
    turn = math.radians(rule.turn_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    side = np.array([along[1], -along[0]])

    def px(points: list[tuple[float, float]]) -> np.ndarray:
        bed_mm = np.array([rule.zero_mm + s * along + w * side for s, w in points])
        return np.column_stack(bed.sees(bed_mm[:, 0], bed_mm[:, 1]))

    def filled(into: np.ndarray, points: list[tuple[float, float]], value: int) -> None:
        way = np.round((px(points) - 0.5) * _FINE).astype(np.int32)
        cv2.fillPoly(into, [way], value, cv2.LINE_AA, 4)

    def area(s0: float, s1: float, w0: float, w1: float) -> list[tuple[float, float]]:
        return [(s0, w0), (s1, w0), (s1, w1), (s0, w1)]

    body = np.zeros(picture.shape, np.uint8)
    filled(body, area(-4, rule.length_mm + 4, 0, rule.wide_mm), 255)
    marks = np.zeros(picture.shape, np.uint8)
    step = rule.pitch_mm / 2 if rule.halves else rule.pitch_mm
    for k in range(int(rule.length_mm / step) + 1):
        number = k / 2 if rule.halves else k
        long = 6.0 if number % 10 == 0 else 4.5 if number % 5 == 0 else 3.0
        long = long if number == int(number) else 2.0
        s = k * step
        filled(marks, area(s - rule.mark_mm / 2, s + rule.mark_mm / 2, 0, long), 255)
    shine = np.zeros(picture.shape, np.uint8)
    filled(shine, area(*rule.shine_mm, -1, rule.wide_mm + 1), 255)
    shine = cv2.GaussianBlur(shine, (0, 0), 4.0)
    rng = np.random.default_rng(seed)
    face = rule.steel + rng.normal(0, rule.noise, picture.shape).astype(np.float32)
    face += (rule.mark - face) * cv2.GaussianBlur(marks, (0, 0), 0.8) / np.float32(255)
    face += (245 - face) * shine / np.float32(255)
    share = body / np.float32(255)
    out = picture * (1 - share) + face * share
    return np.clip(np.round(out), 0, 255).astype(np.uint8)
