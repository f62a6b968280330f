"""How wide a line of lettering is: the advance widths of the one typeface that marks use.

The typeface is Bitstream Vera Sans, which comes with reportlab and which export embeds; a test
holds this table against the font file. Widths are in units of 1/2048 of the type size, and the
capital height of the H is 1493 of those units. Kept as a table so that this floor reads no file.
"""

import unicodedata

UNITS_PER_SIZE = 2048
CAPITAL_UNITS = 1493
DESCENT_UNITS = 483

_LETTERS_BY_WIDTH: dict[int, str] = {
    342: "∕",
    563: "'",
    569: "ijlìíîïı",
    582: "ł",
    604: "IJÌÍÎÏİ",
    651: " ,.·‘’‚∙",
    690: "/:;\\|¦",
    721: "f",
    739: "-",
    799: "()[]",
    803: "t",
    819: "‹›",
    821: "!¡²³¹",
    842: "r",
    942: '"',
    965: "ªº",
    1012: "◊",
    1024: "*_`§¨¯°´¸ˆˇ˘˙˚˛˜˝–†‡",
    1059: "∂",
    1061: "“”„",
    1067: "sşš∫",
    1075: "zž",
    1087: "?¿",
    1126: "cçćč",
    1141: "L",
    1151: "Ł",
    1178: "F",
    1186: "k",
    1206: "π",
    1208: "•",
    1212: "vxyýÿ",
    1235: "P",
    1239: "Þ",
    1251: "TYÝŸ",
    1253: "o«»ðòóôõöø",
    1255: "aàáâãäå",
    1260: "eèéêë",
    1290: "ßﬁﬂ",
    1294: "EÈÉÊË",
    1298: "hnuñùúûü",
    1300: "SbdgpqþđğŞŠ",
    1303: "$0123456789{}¢£¤¥µ¶ƒ€",
    1305: "√",
    1343: "K",
    1370: "∆",
    1380: "∑",
    1401: "AVÀÁÂÃÄÅ",
    1403: "XZŽ",
    1405: "B",
    1423: "R",
    1430: "CÇĆČ",
    1499: "UÙÚÛÜ",
    1532: "NÑ",
    1540: "H",
    1550: "∏",
    1565: "Ω",
    1577: "D",
    1587: "GÐĞ",
    1597: "&",
    1612: "OQÒÓÔÕÖØ",
    1675: "w",
    1706: "∞",
    1716: "#+<=>^~¬±×÷−≈≠≤≥",
    1767: "M",
    1946: "%",
    1985: "¼½¾",
    1995: "mÆ",
    2011: "æ",
    2025: "W",
    2048: "@©®—…™",
    2095: "œ",
    2191: "Œ",
    2748: "‰",
}
_WIDTHS = {letter: width for width, letters in _LETTERS_BY_WIDTH.items() for letter in letters}


def type_size_mm(height_mm: float) -> float:
    """Type size in mm whose capitals are ``height_mm`` high.

    >>> round(type_size_mm(1.493), 6)
    2.048
    """
    return height_mm * UNITS_PER_SIZE / CAPITAL_UNITS


def descent_mm(height_mm: float) -> float:
    """How far in mm the lowest letter reaches under the baseline, for capitals this high."""
    return height_mm * DESCENT_UNITS / CAPITAL_UNITS


def text_width_mm(text: str, height_mm: float) -> float:
    """Width in mm of one line of text whose capitals are ``height_mm`` high.

    Letters that the typeface lacks count as a question mark, which is what is printed for them.

    >>> round(text_width_mm("HH", 1.493), 6)
    3.08
    """
    units = sum(_WIDTHS.get(letter, _WIDTHS["?"]) for letter in text)
    return units * type_size_mm(height_mm) / UNITS_PER_SIZE


def printable_text(text: str) -> tuple[str, str]:
    """(the text in letters the typeface has, the letters that became a question mark).

    A letter whose accent the typeface lacks loses the accent; spaces of any kind become a space.

    >>> printable_text("Pos\u012bcija \u4e00")
    ('Posicija ?', '\u4e00')
    """
    shown, lost = [], []
    for letter in unicodedata.normalize("NFC", text):
        if letter in _WIDTHS:
            shown.append(letter)
        elif letter.isspace():
            shown.append(" ")
        elif (plain := unicodedata.normalize("NFKD", letter)[:1]) in _WIDTHS and plain != " ":
            shown.append(plain)
        elif not unicodedata.combining(letter):
            shown.append("?")
            lost.append(letter)
    return "".join(shown), "".join(dict.fromkeys(lost))


def fitted_text(text: str, height_mm: float, width_mm: float) -> str:
    """The text, its end replaced by an ellipsis where it is wider than ``width_mm``.

    >>> fitted_text("wheelhouse console", 1.5, 15.0)
    'wheelhouse…'
    """
    if text_width_mm(text, height_mm) <= width_mm:
        return text
    while text and text_width_mm(text + "…", height_mm) > width_mm:
        text = text[:-1]
    return text.rstrip() + "…" if text else ""
