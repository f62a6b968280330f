"""Affine maps of the plane, in the order PDF writes them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Affine:
    """The map x' = a x + c y + e, y' = b x + d y + f (ISO 32000-1, 8.3.3).

    Name a value by what it maps to and from, ``sheet_from_decal``; then
    ``sheet_from_decal @ decal_from_artwork`` reads as it works: the right one first.

    >>> (Affine.translation(10, 0) @ Affine.rotation(90)).apply(1, 0)
    (10.0, 1.0)
    """

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    @staticmethod
    def translation(dx: float, dy: float) -> "Affine":
        """Shift by (dx, dy)."""
        return Affine(e=dx, f=dy)

    @staticmethod
    def scaling(sx: float, sy: float | None = None) -> "Affine":
        """Scale about the origin by sx across and sy up (sy = sx if not given)."""
        return Affine(a=sx, d=sx if sy is None else sy)

    @staticmethod
    def rotation(degrees: float) -> "Affine":
        """Counter-clockwise turn about the origin; exact for multiples of 90 degrees."""
        quarter = degrees / 90.0
        if quarter == round(quarter):
            cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
        else:
            cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        return Affine(cos, sin, -sin, cos)

    def about(self, x: float, y: float) -> "Affine":
        """The same map with (x, y) in the place of the origin.

        >>> Affine.scaling(2).about(5, 5).apply(5, 5)
        (5.0, 5.0)
        """
        return Affine.translation(x, y) @ self @ Affine.translation(-x, -y)

    def __matmul__(self, first: "Affine") -> "Affine":
        return Affine(
            self.a * first.a + self.c * first.b,
            self.b * first.a + self.d * first.b,
            self.a * first.c + self.c * first.d,
            self.b * first.c + self.d * first.d,
            self.a * first.e + self.c * first.f + self.e,
            self.b * first.e + self.d * first.f + self.f,
        )

    def apply(self, x: float, y: float) -> tuple[float, float]:
        """Where the point (x, y) goes."""
        return self.a * x + self.c * y + self.e, self.b * x + self.d * y + self.f

    def apply_all(self, points: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        """Where each point goes."""
        return [self.apply(x, y) for x, y in points]

    @property
    def determinant(self) -> float:
        """Signed area factor; negative for a mirroring."""
        return self.a * self.d - self.b * self.c

    def inverse(self) -> "Affine":
        """The map back.

        Raises:
            ValueError: the map flattens the plane.
        """
        det = self.determinant
        if det == 0 or not math.isfinite(det):
            raise ValueError("this affine map has no inverse")
        a, b, c, d = self.d / det, -self.b / det, -self.c / det, self.a / det
        return Affine(a, b, c, d, -(a * self.e + c * self.f), -(b * self.e + d * self.f))

    @property
    def stretch(self) -> tuple[float, float]:
        """(largest, smallest) singular value: how a small circle is stretched.

        Half the sum and half the difference of two hypotenuses: overflows for no finite map
        whose stretch is finite.

        >>> Affine.scaling(3, 2).stretch
        (3.0, 2.0)
        """
        turned = math.hypot(self.a + self.d, self.b - self.c) / 2
        mirrored = math.hypot(self.a - self.d, self.b + self.c) / 2
        return turned + mirrored, abs(turned - mirrored)

    @property
    def is_similarity(self) -> bool:
        """Whether circles stay circles (to 1e-12 of the scale)."""
        largest, smallest = self.stretch
        return largest - smallest <= 1e-12 * largest + 1e-300

    def as_tuple(self) -> tuple[float, float, float, float, float, float]:
        """(a, b, c, d, e, f)."""
        return self.a, self.b, self.c, self.d, self.e, self.f
