"""Characters of the glyph names that fonts' encodings use (names as in the Adobe Glyph List)."""

import re
import unicodedata

_ASCII = [
    "space",
    "exclam",
    "quotedbl",
    "numbersign",
    "dollar",
    "percent",
    "ampersand",
    "quotesingle",
    "parenleft",
    "parenright",
    "asterisk",
    "plus",
    "comma",
    "hyphen",
    "period",
    "slash",
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "colon",
    "semicolon",
    "less",
    "equal",
    "greater",
    "question",
    "at",
]
_BRACKETS = ["bracketleft", "backslash", "bracketright", "asciicircum", "underscore", "grave"]
_BRACES = ["braceleft", "bar", "braceright", "asciitilde"]
_OTHER = {
    "degree": "°", "plusminus": "±", "mu": "µ", "multiply": "×", "divide": "÷", "minus": "−",
    "quoteleft": "‘", "quoteright": "’", "quotedblleft": "“", "quotedblright": "”",
    "endash": "–", "emdash": "—", "bullet": "•", "ellipsis": "…", "germandbls": "ß", "ae": "æ",
    "AE": "Æ", "oslash": "ø", "Oslash": "Ø", "section": "§", "Euro": "€", "fi": "fi", "fl": "fl",
    "onesuperior": "¹", "twosuperior": "²", "threesuperior": "³", "periodcentered": "·",
}  # fmt: skip
_ACCENTS = {
    "dieresis": "DIAERESIS", "acute": "ACUTE", "grave": "GRAVE", "circumflex": "CIRCUMFLEX",
    "tilde": "TILDE", "ring": "RING ABOVE", "caron": "CARON", "cedilla": "CEDILLA",
}  # fmt: skip
_NAMED = {
    **{name: chr(32 + i) for i, name in enumerate(_ASCII)},
    **{name: chr(91 + i) for i, name in enumerate(_BRACKETS)},
    **{name: chr(123 + i) for i, name in enumerate(_BRACES)},
    **_OTHER,
}
_HEX = re.compile(r"(?:uni([0-9A-F]{4})|u([0-9A-F]{4,6}))")
_ACCENTED = re.compile("([A-Za-z])(" + "|".join(_ACCENTS) + ")")


def text_of_glyph(name: str) -> str:
    """What a glyph name stands for; empty where it is none of the common ones.

    >>> [text_of_glyph(n) for n in ("A", "seven", "odieresis", "uni03A9", "g17", "A.sc")]
    ['A', '7', 'ö', 'Ω', '', 'A']
    """
    stem = name.split(".")[0]
    if len(stem) == 1 and stem.isascii() and stem.isalpha():
        return stem
    if stem in _NAMED:
        return _NAMED[stem]
    code = _HEX.fullmatch(stem)
    if code is not None:
        number = int(code[1] or code[2], 16)
        return chr(number) if number <= 0x10FFFF and not 0xD800 <= number <= 0xDFFF else ""
    accented = _ACCENTED.fullmatch(stem)
    if accented is None:
        return ""
    case = "CAPITAL" if accented[1].isupper() else "SMALL"
    words = f"LATIN {case} LETTER {accented[1].upper()} WITH {_ACCENTS[accented[2]]}"
    try:
        return unicodedata.lookup(words)
    except KeyError:
        return ""
