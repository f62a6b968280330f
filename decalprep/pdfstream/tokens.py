"""Operations of a content stream as byte spans, so that a rewriter leaves all other bytes alone.

Lexical rules: ISO 32000-1:2008, 7.2 and 7.8.2; inline images 8.9.7. NUL counts as white space.
A run of path construction is one operation, PATH: drawings are mostly that, and most readers
need its numbers only now and then.
"""

import re
from collections.abc import Iterator

Operation = tuple[bytes, int, int, int]
"""(operator, first byte of the operands, first byte of the operator, byte after it)."""

PATH = b"path"
"""Stands for one or more of m l c v y h re."""
INLINE_IMAGE = b"BI"
"""The span of an inline image runs from BI through EI."""

_WS = rb"\x00\t\n\f\r "
_REGULAR = rb"[^\x00\t\n\f\r ()<>\[\]{}/%]"
_PATH_RUN = re.compile(
    rb"(?:[" + _WS + rb"0-9.+\-]*(?:[mlcvyh]|re)(?!" + _REGULAR + rb"))++", re.DOTALL
)
_OPERANDS = re.compile(
    rb"(?:[" + _WS + rb"0-9.+\-]+|/" + _REGULAR + rb"*+|\((?:[^()\\]++|\\.)*+\)"
    rb"|<[0-9A-Fa-f" + _WS + rb"]*+>|<<|>>|[\[\]{}]|%[^\r\n]*+)*+",
    re.DOTALL,
)
_WORD = re.compile(_REGULAR + rb"++")
_IMAGE_DATA = re.compile(rb"(?<!" + _REGULAR + rb")ID(?=[" + _WS + rb"])")
_IMAGE_END = re.compile(rb"[" + _WS + rb"]EI(?=[" + _WS + rb"Qq]|$)")
_IMAGE_END_CLOSE = re.compile(rb"EI(?!" + _REGULAR + rb")")
_VALUE_WORDS = frozenset((b"true", b"false", b"null"))
_PLAIN_AFTER = re.compile(rb"[\t\n\r\x20-\x7e]*")


def operations(data: bytes) -> Iterator[Operation]:
    """Every operation of ``data`` in order; operands are not parsed.

    Does not judge: unknown operators come through, stray closing brackets are skipped, operands
    after the last operator are dropped.

    >>> [op[0] for op in operations(b"q 1 0 0 1 5 5 cm 0 0 m 9 9 l S (a\\\\)b) Tj Q")]
    [b'q', b'cm', b'path', b'S', b'Tj', b'Q']
    """
    path_run, operand_run, word_at = _PATH_RUN.match, _OPERANDS.match, _WORD.match
    position, size = 0, len(data)
    while position < size:
        start = position
        found = path_run(data, position)
        if found is not None:
            position = found.end()
            yield PATH, start, position, position
            continue
        while True:
            skipped = operand_run(data, position)
            position = skipped.end() if skipped else position
            if position >= size:
                return
            word = word_at(data, position)
            if word is not None:
                if word.group() in _VALUE_WORDS:
                    position = word.end()
                    continue
                break
            position = end_of_string(data, position) if data[position] == 0x28 else position + 1
        name, at, position = word.group(), position, word.end()
        if name == INLINE_IMAGE:
            position = _end_of_inline_image(data, position)
        yield name, start, at, position


def end_of_string(data: bytes, position: int) -> int:
    """The byte after the literal string that opens at ``position``, brackets nested.

    >>> end_of_string(b"(a(b)c) Tj", 0)
    7
    """
    depth = 0
    for found in re.compile(rb"\\.|[()]", re.DOTALL).finditer(data, position):
        if found.group() == b"(":
            depth += 1
        elif found.group() == b")":
            depth -= 1
            if depth == 0:
                return found.end()
    return len(data)


def _end_of_inline_image(data: bytes, position: int) -> int:
    """The byte after EI of the image whose BI ends at ``position``."""
    found = _IMAGE_DATA.search(data, position)
    if found is None:
        return len(data)
    body = found.end() + 1
    length = _stated_length(inline_image_dict(data, position, found.start()))
    if length is not None:
        close = _IMAGE_END_CLOSE.search(data, body + length, body + length + 8)
        if close is not None:
            return close.end()
    end = body
    while True:
        close = _IMAGE_END.search(data, end - 1)
        if close is None:
            return len(data)
        following = data[close.end() : close.end() + 16]
        plain = _PLAIN_AFTER.match(following)
        if plain is not None and plain.end() == len(following):
            return close.end()
        end = close.end()


def inline_image_dict(data: bytes, start: int, end: int) -> dict[str, object]:
    """Keys and values of an inline image between BI and ID, keys as written."""
    values = operands(data, start, end)
    return {
        str(key): value
        for key, value in zip(values[::2], values[1::2], strict=False)
        if isinstance(key, PdfName)
    }


def _stated_length(image: dict[str, object]) -> int | None:
    """Bytes of image data where the dictionary settles it: a length, or no filter at all."""
    for key in ("L", "Length"):
        value = image.get(key)
        if isinstance(value, float):
            return int(value)
    if "F" in image or "Filter" in image:
        return None
    width = image.get("W", image.get("Width"))
    height = image.get("H", image.get("Height"))
    bits = image.get("BPC", image.get("BitsPerComponent", 8.0))
    if image.get("IM", image.get("ImageMask")) is True:
        bits, parts = 1.0, 1
    else:
        space = image.get("CS", image.get("ColorSpace"))
        known = {"G": 1, "DeviceGray": 1, "RGB": 3, "DeviceRGB": 3, "CMYK": 4, "DeviceCMYK": 4}
        if isinstance(space, list):
            parts = 1
        elif isinstance(space, str) and space in known:
            parts = known[space]
        else:
            return None
    if not (isinstance(width, float) and isinstance(height, float) and isinstance(bits, float)):
        return None
    return int(height) * ((int(width) * parts * int(bits) + 7) // 8)


class PdfName(str):
    """A name operand without its slash, escapes resolved."""

    __slots__ = ()


_TOKEN = re.compile(
    rb"[" + _WS + rb"]+|%[^\r\n]*|(?P<number>[+\-.0-9]+)"
    rb"|/(?P<name>" + _REGULAR + rb"*)|<(?P<hex>[0-9A-Fa-f" + _WS + rb"]*)>"
    rb"|(?P<mark><<|>>|[\[\]{}])|(?P<word>" + _REGULAR + rb"+)",
    re.DOTALL,
)
_NUMBERS = re.compile(rb"[+\-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_ESCAPE = re.compile(rb"\\([0-7]{1,3}|\r\n|.)", re.DOTALL)
_ESCAPED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def numbers(data: bytes, start: int, end: int) -> list[float]:
    """The numbers between two bytes where there is nothing else but operators."""
    return [float(n) for n in _NUMBERS.findall(data, start, end)]


def operands(data: bytes, start: int, end: int) -> list[object]:
    """Operands between two bytes: float, PdfName, bytes, bool, None, list, dict.

    >>> operands(b"/F1 12 [(a) -20 <62>] <</MCID 0>>", 0, 33)
    ['F1', 12.0, [b'a', -20.0, b'b'], {'MCID': 0.0}]
    """
    stack: list[list[object]] = [[]]
    position = start
    while position < end:
        if data[position] == 0x28:
            close = min(end_of_string(data, position), end)
            stack[-1].append(_unescaped(data[position + 1 : close - 1]))
            position = close
            continue
        found = _TOKEN.match(data, position, end)
        if found is None or found.end() == position:
            position += 1
            continue
        position = found.end()
        kind = found.lastgroup
        if kind == "mark":
            _bracket(stack, found.group())
        elif kind is not None:
            stack[-1].append(_value(kind, found[kind]))
    while len(stack) > 1:
        inner = stack.pop()
        stack[-1].append(inner)
    return stack[0]


def _bracket(stack: list[list[object]], mark: bytes) -> None:
    if mark in (b"[", b"<<", b"{"):
        stack.append([])
    elif len(stack) > 1:
        inner = stack.pop()
        if mark == b">>":
            pairs = zip(inner[::2], inner[1::2], strict=False)
            stack[-1].append({str(key): value for key, value in pairs})
        else:
            stack[-1].append(inner)


def _value(kind: str, text: bytes) -> object:
    if kind == "number":
        return _number(text)
    if kind == "name":
        plain = re.sub(rb"#([0-9A-Fa-f]{2})", lambda m: bytes([int(m[1], 16)]), text)
        return PdfName(plain.decode("utf-8", "surrogateescape"))
    if kind == "hex":
        digits = re.sub(rb"[" + _WS + rb"]", b"", text)
        return bytes.fromhex((digits + b"0" * (len(digits) % 2)).decode("ascii"))
    return {b"true": True, b"false": False, b"null": None}.get(text, PdfName(text.decode("latin1")))


def _number(text: bytes) -> float:
    """A number as readers take it: ``--5`` is -5, ``1-2`` is 1, ``.`` and ``-`` are 0."""
    try:
        return float(text)
    except ValueError:
        found = re.search(rb"[0-9]*\.?[0-9]*", text.lstrip(b"+-"))
        digits = found.group() if found else b""
        size = float(digits) if digits.strip(b".") else 0.0
        return -size if text.startswith(b"-") else size


def _unescaped(text: bytes) -> bytes:
    if b"\\" not in text:
        return text

    def plain(found: re.Match[bytes]) -> bytes:
        code = found[1]
        if code[:1].isdigit() and code[:1] not in b"89":
            return bytes([int(code, 8) & 255])
        return b"" if code in (b"\n", b"\r", b"\r\n") else _ESCAPED.get(code, code)

    return _ESCAPE.sub(plain, text)
