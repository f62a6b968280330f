"""A virtual printer seen through a rule: plain numpy, places of lines typed in, all seeded."""

import math
from dataclasses import dataclass, replace

import numpy as np

# Baselines of the A4 page as anyone would measure them off the drawing, mm from the page's corner.
A4_LINES = {
    "across1": ((15.5, 236.0), (185.5, 236.0)),
    "across2": ((15.5, 61.0), (185.5, 61.0)),
    "down1": ((33.0, 16.5), (33.0, 271.5)),
    "down2": ((177.0, 16.5), (177.0, 271.5)),
    "diag1": ((24.0, 36.0), (186.0, 261.0)),
    "diag2": ((186.0, 36.0), (24.0, 261.0)),
}
EIGHT = ("across1", "across2", "down1", "down2", "diag1", "diag1", "diag2", "diag2")


@dataclass(frozen=True)
class Press:
    """What a printer does to a point: (x, y) mm from the middle of the sheet to where ink falls.

    ``ripple`` is one roller out of round; ``feed`` (amplitude mm, period mm, phase) all else that
    the feed does by chance along the sheet, as a sum of waves.
    """

    scale_x: float = 0.0
    scale_y: float = 0.0
    skew: float = 0.0
    bow_mm: float = 0.0
    ripple_mm: float = 0.0
    ripple_period_mm: float = 37.0
    ripple_phase: float = 0.0
    half_height_mm: float = 148.5
    feed: tuple[tuple[float, float, float], ...] = ()

    def lands(self, x: float, y: float) -> tuple[float, float]:
        """Where the ink for (x, y) falls."""
        u = y / self.half_height_mm
        wave = math.sin(2 * math.pi * y / self.ripple_period_mm + self.ripple_phase)
        wave *= self.ripple_mm
        for size, period, phase in self.feed:
            wave += size * math.sin(2 * math.pi * y / period + phase)
        across = x + self.scale_x * x + self.skew * y + self.bow_mm * (u * u - 1 / 3)
        return across, y + self.scale_y * y + wave


def draw_press(rng: np.random.Generator, spread: float = 0.004) -> Press:
    """A printer with honest errors."""
    sx, sy, k = rng.normal(0, spread, 3)
    return Press(
        scale_x=float(np.clip(sx, -0.009, 0.009)),
        scale_y=float(np.clip(sy, -0.009, 0.009)),
        skew=float(k / 2),
    )


def uneven_press(rng: np.random.Generator, feed_mm: float = 0.015, **more: float) -> Press:
    """A printer with honest errors that also bows, ripples and feeds unevenly."""
    periods = np.exp(rng.uniform(math.log(15), math.log(125), 6))
    waves = [
        (feed_mm * math.sqrt(2 / 6), float(p), float(rng.uniform(0, 2 * math.pi))) for p in periods
    ]
    values = {
        "bow_mm": float(rng.normal(0, 0.02)),
        "ripple_mm": float(abs(rng.normal(0, 0.015))),
        "ripple_period_mm": float(rng.uniform(25, 100)),
        "ripple_phase": float(rng.uniform(0, 2 * math.pi)),
        "feed": tuple(waves),
    }
    return replace(draw_press(rng), **{**values, **more})


def true_length(
    press: Press, ends: tuple[tuple[float, float], tuple[float, float]], drawn_by: np.ndarray
) -> float:
    """Length in mm between printed ends; ``drawn_by`` is the 2 x 2 correction the page had."""
    places = []
    for x, y in ends:
        cx, cy = drawn_by @ np.array([x - 105.0, y - 148.5])
        places.append(press.lands(float(cx), float(cy)))
    return math.dist(*places)


def read(
    press: Press,
    rng: np.random.Generator,
    *,
    sigma_mm: float = 0.2,
    step_mm: float = 0.1,
    rule_error: float = 0.0,
    lines: tuple[str, ...] = EIGHT,
    drawn_by: np.ndarray | None = None,
) -> list[tuple[str, float]]:
    """What a hand writes down for each line: true length, rule error, noise, rounding."""
    use = np.eye(2) if drawn_by is None else drawn_by
    out = []
    for name in lines:
        length = true_length(press, A4_LINES[name], use) / (1 + rule_error)
        seen = length + rng.normal(0, sigma_mm)
        out.append((name, round(round(seen / step_mm) * step_mm, 6)))
    return out


def one_digit_wrong(rng: np.random.Generator, value: float) -> float:
    """The value with one of its figures before the decimal point typed as another figure."""
    text = f"{value:.1f}"
    at = int(rng.integers(0, text.index(".")))
    others = [d for d in "0123456789" if d != text[at]]
    return float(text[:at] + str(rng.choice(others)) + text[at + 1 :])
