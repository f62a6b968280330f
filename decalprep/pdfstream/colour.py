"""Colours as a page states them, and about how they look.

``rgb`` is an approximation for telling white from black and one paint from another: ICC profiles
are not applied, CMYK is taken as (1-c)(1-k), a spot colour by its own alternate.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pikepdf

from decalprep.pdfstream.functions import evaluate

RGB = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Colour:
    """A colour: the family of its space, its numbers, about its looks, and its spot name."""

    space: str
    values: tuple[float, ...] = ()
    rgb: RGB | None = None
    spot: str | None = None


BLACK = Colour("DeviceGray", (0.0,), (0.0, 0.0, 0.0))
_DEVICE = {1: "DeviceGray", 3: "DeviceRGB", 4: "DeviceCMYK"}
_SHORT = {
    "/G": "DeviceGray",
    "/RGB": "DeviceRGB",
    "/CMYK": "DeviceCMYK",
    "/DeviceGray": "DeviceGray",
    "/DeviceRGB": "DeviceRGB",
    "/DeviceCMYK": "DeviceCMYK",
    "/CalGray": "DeviceGray",
    "/CalRGB": "DeviceRGB",
    "/Pattern": "Pattern",
}


def space_family(space: Any) -> str:
    """The family of a colour space: DeviceRGB, ICCBased, Separation, Pattern and so on."""
    head = space[0] if isinstance(space, pikepdf.Array) and len(space) else space
    text = str(head)
    return _SHORT.get(text, text.lstrip("/")) if text not in ("/CalGray", "/CalRGB") else text[1:]


def component_count(space: Any) -> int:
    """How many numbers a colour of this space has; 0 where that cannot be told."""
    family = space_family(space)
    if family in ("DeviceGray", "CalGray", "Separation", "Indexed", "I"):
        return 1
    if family in ("DeviceRGB", "CalRGB", "Lab"):
        return 3
    if family == "DeviceCMYK":
        return 4
    try:
        if family == "ICCBased":
            return int(space[1]["/N"])
        if family == "DeviceN":
            return len(space[1])
    except (KeyError, IndexError, TypeError, ValueError, AttributeError):
        pass
    return 0


def colour_in(space: Any, values: Sequence[float]) -> Colour:
    """The colour that ``values`` stand for in ``space``; rgb None where its look is unknown."""
    family = space_family(space)
    numbers = tuple(values)
    spot = None
    try:
        if family == "Separation":
            spot = str(space[1])[1:]
        elif family == "DeviceN":
            spot = " + ".join(str(name)[1:] for name in space[1].as_list())
        rgb = _looks(space, numbers)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, RecursionError):
        rgb = None
    return Colour(family, numbers, rgb, spot)


def initial_colour(space: Any) -> Colour:
    """The colour in force right after a space is chosen (ISO 32000-1, 8.6.8)."""
    family = space_family(space)
    if family == "Pattern":
        return Colour("Pattern")
    count = component_count(space)
    if family in ("Separation", "DeviceN"):
        return colour_in(space, (1.0,) * count)
    if count == 4:
        return colour_in(space, (0.0, 0.0, 0.0, 1.0))
    return colour_in(space, (0.0,) * count)


def device_colour(values: Sequence[float]) -> Colour:
    """The colour of g, rg or k, by how many numbers there are.

    >>> device_colour([0, 0, 0, 1]).rgb
    (0.0, 0.0, 0.0)
    """
    family = _DEVICE.get(len(values), "unknown")
    return Colour(family, tuple(values), _device_looks(family, values))


def _unit(value: float) -> float:
    return min(max(float(value), 0.0), 1.0)


def _device_looks(family: str, values: Sequence[float]) -> RGB | None:
    v = [_unit(value) for value in values]
    if family in ("DeviceGray", "CalGray") and len(v) == 1:
        return v[0], v[0], v[0]
    if family in ("DeviceRGB", "CalRGB") and len(v) == 3:
        return v[0], v[1], v[2]
    if family == "DeviceCMYK" and len(v) == 4:
        return tuple((1 - c) * (1 - v[3]) for c in v[:3])  # type: ignore[return-value]
    return None


def _looks(space: Any, values: Sequence[float]) -> RGB | None:
    family = space_family(space)
    if family == "ICCBased":
        return _device_looks(_DEVICE.get(int(space[1]["/N"]), ""), values)
    if family in ("Separation", "DeviceN"):
        if str(space[1]) == "/None":
            return None
        return _looks(space[2], evaluate(space[3], values))
    if family in ("Indexed", "I"):
        count = component_count(space[1])
        table = space[3]
        raw = table.read_bytes() if isinstance(table, pikepdf.Stream) else bytes(table)
        at = int(min(max(values[0], 0), int(space[2]))) * count
        return _looks(space[1], [byte / 255 for byte in raw[at : at + count]])
    if family == "Lab":
        return _lab_looks(space[1], values)
    return _device_looks(family, values)


def _lab_looks(settings: Any, values: Sequence[float]) -> RGB:
    """CIE Lab to sRGB primaries, the white point taken as white (ISO 32000-1, 8.6.5.4)."""
    del settings
    m = (values[0] + 16) / 116
    parts = (m + values[1] / 500, m, m - values[2] / 200)
    x, y, z = (t**3 if t >= 6 / 29 else 108 / 841 * (t - 4 / 29) for t in parts)
    x, z = x * 0.9505, z * 1.089
    linear = (
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    )
    shaped = (
        12.92 * c if c <= 0.0031308 else 1.055 * c ** (1 / 2.4) - 0.055
        for c in (_unit(value) for value in linear)
    )
    red, green, blue = (_unit(c) for c in shaped)
    return red, green, blue
