"""The square codes on a calibration page: what page it is, of which design, for which record.

Patterns: the 5 x 5 dictionary of 250 codes of the ArUco library (S. Garrido-Jurado et al., Pattern
Recognition 47, 2014), as distributed with OpenCV; a test holds the table against OpenCV's own.
Six markers, each numbered place * 41 + payload: places 0 and 5 carry page size and design,
places 1 to 4 carry four base-41 digits of the page code.
"""

import hashlib
from collections.abc import Mapping
from itertools import product

from shapely import unary_union
from shapely.geometry import box

from decalprep.geometry import Affine, path_from_ring, polygon_path
from decalprep.model import FillMark, Layer, Marker

PAGE_KINDS = ("A4", "Letter", "A3", "Legal", "Tabloid")
DESIGN = 1
SIDE_MODULES = 7
_PAYLOADS = 41
_KIND_PLACES = (0, 5)
_CODE_PLACES = (1, 2, 3, 4)
_SYMBOLS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

_PATTERN_TEXT = """
    145b2bc 01c06e6 1af0edd 10395f7 1aeb524 1d4082d 0d3d7ec 0e2146b 10d6132 1313fa5 13cee03
    1a2dac0 1e62b11 05e7166 1fcfca8 051e37f 097a758 0bea26f 0f64dc4 1061de8 12dda75 150e440
    16b0ca1 0ba12de 19cd023 1a59972 1c3ce8b 0224246 03b9672 024223b 027376e 0368873 040d0ce
    04aaac8 04643ba 07a6fea 0998aac 082d101 09aad1d 0863c72 0ad2825 0a52f9e 0d849f7 0c309d9
    0da7e31 0e9627a 0e9b997 0f94806 0f59125 0f6b7d7 11b58e4 11ad279 11e380b 1169445 12ffb4a
    158cb8d 15987f0 1422fdf 14e1227 156df22 173dbf1 164c93c 17cbb86 1880a87 19147dd 184eb8a
    18d85ad 1b2cda9 1babd73 1e9d432 1e76528 0f5740a 1b11a53 018ce65 02ab219 098e981 0a8061c
    141a158 185314c 196d12c 1fad3a2 00922b5 019bce0 00b547c 002c76f 0132289 012d2a7 00c4b43
    0067bc5 00faa0d 01f1f54 038e879 0323b23 02c3647 02da51b 02e9d8d 027c562 03efdf5 0521ee0
    0448efd 0542f81 055f6c9 047e008 04f9bf8 046d558 05ef65e 0692188 06013ad 068bc21 072a5d0
    06400e2 06dce3a 0891409 089d9fd 08a3ee5 08a952a 08c277d 09d0612 08ee533 09f04fb 0b86f1b
    0b1faee 0a36ff0 0b275f6 0b53332 0a603e1 0a798cf 0a6dc02 0b64b5f 0bfab99 0cacc85 0cb8f5e
    0cc6ea2 0ce198b 0e12cbb 0f8c701 0f35752 0e47a8c 0e7cb65 1084d18 113e202 10d5dd3 11447f3
    1286ae3 1388a36 12a3f49 12d1b20 12e4d6e 1366ece 1378dc1 14134dd 148a50d 151610b 15b3684
    15fe0b1 1605cc7 1601e30 179d565 17d8899 16705f4 166b079 17e8bdc 17eac67 18875e0 199d306
    18a6601 19a44c7 18c1115 18d287e 195dd09 19f4e25 196c3c5 1a005d2 1b96e8c 1b31709 1b39d64
    1a53281 1a5a22e 1bcb4dd 1b48e85 1b67820 1b71f92 1d031c7 1ca38de 1c35c71 1db72f7 1d3c064
    1d6ba18 1dff33a 1f02202 1f00fa6 1ec0441 1ec36bf 1fd6bda 1f46671 1f49583 1ee5ee1 1efd5f9
    1fe3129 1f746bc 0d1705e 1321e17 133b04d 1c8be1d 03a20dd 0558261 06882c7 06f80e9 07e6b97
    0ad4098 0ae7073 0cd3170 0e74a2e 0fe59fb 1168fd2 14b872e 15353d6 16a336e 165b533 18983e8
    195723c 1b0df47 1bf1b1c 1cacd1f 1da8e35 1e0cf0d 00853dd 000468f 00145f6 009919c 001a5c3
    018141e 011178c 0190cb6 00b03fa 002e23c 003842b 003cee2 012537e 01a2037 01a0a30 01bda5f
    01acdbc 013e4ec 005a105 004c592 00de752 00dde46 01c7c24 01535bb
"""
_PATTERNS = _PATTERN_TEXT.split()
"""Row by row from the top left, white = 1, most significant bit first."""


def page_digits(record_name: str, correction: Affine) -> tuple[int, int, int, int]:
    """Four base-41 digits that stand for a record name and the correction printed with.

    One page in 2.8 million would pass for another by chance.
    """
    numbers = " ".join(f"{round(v * 1e7)}" for v in correction.as_tuple()[:4])
    digest = hashlib.sha256(f"{record_name}\n{numbers}".encode()).digest()
    value = int.from_bytes(digest[:8], "big") % _PAYLOADS**4
    return (
        value // _PAYLOADS**3,
        value // _PAYLOADS**2 % _PAYLOADS,
        value // _PAYLOADS % _PAYLOADS,
        value % _PAYLOADS,
    )


def page_code(digits: tuple[int, int, int, int]) -> str:
    """Five letters and figures a person can type, the same thing as the four digits.

    >>> page_code((0, 0, 0, 33))
    '00011'
    """
    value = 0
    for digit in digits:
        value = value * _PAYLOADS + digit
    letters = ""
    for _ in range(5):
        value, rest = divmod(value, 32)
        letters = _SYMBOLS[rest] + letters
    return letters


def marker_numbers(
    page: str, design: int, digits: tuple[int, int, int, int]
) -> tuple[int, int, int, int, int, int]:
    """Dictionary numbers of the six markers, by place."""
    kind = PAGE_KINDS.index(page) + 6 * (design - 1)
    payloads = (kind, *digits, kind)
    numbers = [place * _PAYLOADS + payload for place, payload in enumerate(payloads)]
    return (numbers[0], numbers[1], numbers[2], numbers[3], numbers[4], numbers[5])


def place_of(number: int) -> int | None:
    """Place 0 to 5 of a marker number, or None where it is not one of ours."""
    place = number // _PAYLOADS
    return place if 0 <= place < 6 else None


def read_identity(
    numbers: Mapping[int, int],
) -> tuple[str, int, tuple[int, int, int, int] | None] | None:
    """(page size, design, page digits) from marker numbers by place; None where it is not said.

    The digits are None where one of their four markers was not seen.

    >>> seen = dict(enumerate(marker_numbers("Letter", 1, (1, 2, 3, 4))))
    >>> read_identity(seen)
    ('Letter', 1, (1, 2, 3, 4))
    """
    kinds = {numbers[p] % _PAYLOADS for p in _KIND_PLACES if p in numbers}
    if len(kinds) != 1:
        return None
    design, kind = divmod(kinds.pop(), 6)
    if kind >= len(PAGE_KINDS):
        return None
    if any(p not in numbers for p in _CODE_PLACES):
        return PAGE_KINDS[kind], design + 1, None
    d = [numbers[p] % _PAYLOADS for p in _CODE_PLACES]
    return PAGE_KINDS[kind], design + 1, (d[0], d[1], d[2], d[3])


def pattern_of(number: int) -> tuple[tuple[bool, ...], ...]:
    """The 7 x 7 squares of a marker from the top, black True, its border included."""
    bits = int(_PATTERNS[number], 16)
    inner = [[not bits >> (24 - 5 * r - c) & 1 for c in range(5)] for r in range(5)]
    edge = (True,) * SIDE_MODULES
    return (edge, *((True, *row, True) for row in inner), edge)


def marker_mark(marker: Marker) -> FillMark:
    """The marker as one filled mark: a black square, its joined white areas left out (even-odd)."""
    module = marker.side_mm / SIDE_MODULES
    left, top = marker.corners[0]
    squares = pattern_of(marker.code)
    white = unary_union(
        [
            box(
                left + c * module,
                top - (r + 1) * module,
                left + (c + 1) * module,
                top - r * module,
            )
            for r, c in product(range(SIDE_MODULES), repeat=2)
            if not squares[r][c]
        ]
    )
    areas = getattr(white, "geoms", [white])
    rings = [ring for area in areas for ring in (area.exterior, *area.interiors)]
    paths = (polygon_path(marker.corners), *(path_from_ring(ring.coords) for ring in rings))
    return FillMark(Layer.TARGET, paths)
