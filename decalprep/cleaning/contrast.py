"""Contrast of two colours, as WCAG 2.x defines it (relative luminance; success criterion 1.4.3)."""

from functools import cache
from typing import Any

import numpy as np

RGB = tuple[float, float, float]
_WEIGHTS = (0.2126, 0.7152, 0.0722)


def relative_luminance(rgb: RGB) -> float:
    """Relative luminance 0..1 of an sRGB colour with channels 0..1.

    >>> relative_luminance((1, 1, 1)), relative_luminance((0, 0, 0))
    (1.0, 0.0)
    """
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb]
    return round(sum(w * c for w, c in zip(_WEIGHTS, linear, strict=True)), 12)


def contrast_ratio(one: RGB, other: RGB) -> float:
    """(L1 + 0.05) / (L2 + 0.05), the lighter one above; 1..21, never rounded.

    >>> round(contrast_ratio((1, 1, 1), (0x77 / 255,) * 3), 3)
    4.478
    """
    light, dark = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance_table(pixels: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
    """Relative luminance of 8-bit RGB pixels (rows, columns, 3)."""
    import cv2

    red, green, blue = (
        cv2.LUT(channel, weighed)
        for channel, weighed in zip(cv2.split(pixels), _weighed_levels(), strict=True)
    )
    result: np.ndarray[Any, Any] = np.asarray(cv2.add(cv2.add(red, green), blue))
    return result


@cache
def _weighed_levels() -> "tuple[np.ndarray[Any, Any], ...]":
    """What each level of red, green and blue adds."""
    levels = np.arange(256) / 255
    linear = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    return tuple((weight * linear).astype(np.float32) for weight in _WEIGHTS)
