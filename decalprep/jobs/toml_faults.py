"""What is wrong in a job file that is no valid TOML: place, what stands there, the usual cause.

The TOML reader names a place and a rule; a person wants to know which letters to change. The causes
are looked for in the line itself, the likeliest first.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from decalprep.jobs.kinds import distance, length, size
from decalprep.jobs.schema import TABLES

_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_HEADER = re.compile(r"\s*\[")
_KEY = re.compile(r"\s*([A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')\s*=")
_DECIMAL_COMMA = re.compile(r"=\s*(-?\d+),(\d+)\s*([a-zA-Z\"%]*)\s*(?:#.*)?$")
_UNIT = re.compile(r"=\s*(-?\d+(?:[.,]\d+)?)\s*(mm|cm|m|in|inch|inches|pt|px|\"|')\s*(?:#.*)?$")
_LENGTHS = {k.name for _, keys, _ in TABLES for k in keys if k.kind in (length, size, distance)}
_UNQUOTED = {k.name: k.example for _, keys, _ in TABLES for k in keys if k.example[0] not in '"['}
"""Keys that take a number, true or false: those are not written in quotes."""
_CURLY = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb"
_SHOWN = 60


def toml_fault(source: str, text: str, message: str) -> str:
    """One line on the fault that the TOML reader found: ``source: line, column: what; do``.

    ``message`` is the reader's own, with the place in brackets at its end.

    >>> toml_fault("job.toml", "price = 3,5", "Expected newline (at line 1, column 10)")
    'job.toml: line 1, column 10: price = 3,5: a decimal comma; write 3.5'
    """
    lines = text.replace("\r\n", "\n").split("\n")  # as TOML counts them
    number, column = _place(lines, message)
    if message.startswith(
        ("Unterminated string", 'Expected "\'"')
    ):  # it reads on to the file's end
        number = next((k for k, line in enumerate(lines, 1) if _open_quote(line)), number)
        column = len(lines[number - 1]) + 1
    for find in (_given_twice, _open_bracket):
        if found := find(lines, number, message):
            return f"{source}: {found}"
    line = lines[number - 1] if number <= len(lines) else ""
    cause = next((words for look in _CAUSES if (words := look(line))), _plain(message))
    shown = line.strip()
    shown = shown if len(shown) <= _SHOWN else shown[:_SHOWN] + " ..."
    return f"{source}: line {number}, column {column}: {shown}: {cause}"


def _place(lines: list[str], message: str) -> tuple[int, int]:
    """(line, column) from 1; the end of the last line that says anything where none is named."""
    at = _AT.search(message)
    if at and at[1]:
        number, column = int(at[1]), int(at[2])
        if number > len(lines):  # the reader counts an empty line after the last line break
            number = len(lines)
            column = len(lines[-1]) + 1 if lines else 1
        return max(number, 1), column
    last = next((k for k in range(len(lines), 0, -1) if lines[k - 1].strip()), 1)
    return last, len(lines[last - 1]) + 1 if lines else 1


def _plain(message: str) -> str:
    """The reader's own words, where no usual cause fits."""
    words = _AT.sub("", message)
    return f"{words[:1].lower()}{words[1:]}; 'decalprep job-help' shows how each key is written"


# ---------------------------------------------------------------- causes over several lines


def _given_twice(lines: list[str], number: int, message: str) -> str:
    """A key or table that stands twice; the reader names the place after the second."""
    declared = re.match(r"Cannot declare \('(.+)',\) twice", message)
    if declared:
        word = declared[1].replace("', '", ".")
        if word in ("sheet", "panel"):
            return f"line {number}: [{word}] may come many times: write [[{word}]], two brackets"
        first = next((k for k, line in enumerate(lines, 1) if line.strip() == f"[{word}]"), 1)
        return f"line {number}: [{word}] stands twice, in line {first} too; put its keys together"
    if not message.startswith("Cannot overwrite a value"):
        return ""
    if header := re.match(r"\s*\[\[\s*(\w+)", lines[number - 1]):
        return f"line {number}: [{header[1]}] stands above with one bracket; write [[{header[1]}]]"
    seen: dict[str, int] = {}
    for k, line in enumerate(lines[:number], 1):
        if _HEADER.match(line):
            seen = {}
        elif key := _KEY.match(line):
            if key[1] in seen:
                words = f'"{key[1]}" is given twice in this table, in line {seen[key[1]]} too'
                return f"line {k}: {words}; take one of them out"
            seen[key[1]] = k
    return ""


def _open_bracket(lines: list[str], number: int, message: str) -> str:
    """A list or inline table that is never closed, or that lacks a comma."""
    if not message.startswith(("Unclosed array", "Unclosed inline table")):
        return ""
    opening, bracket = "[]" if "array" in message else "{}"
    opens = [k for k in range(1, number + 1) if _value(lines[k - 1]).startswith(opening)]
    start = opens[-1] if opens else number
    words = f'needs a comma between its values and a closing "{bracket}" at its end'
    shown = lines[start - 1].strip()[:_SHOWN]
    return f"line {start}: {shown}: the list {words}"


# ---------------------------------------------------------------- causes in one line


def _value(line: str) -> str:
    """What stands after the first equals sign, without blanks round it."""
    return line.partition("=")[2].strip()


def _curly(line: str) -> str:
    if any(c in _CURLY for c in line):
        return 'a word processor\'s quotes; use straight quotes, ""'
    return ""


def _header(line: str) -> str:
    stripped = line.strip()
    if not stripped.startswith("["):
        return ""
    name = re.sub(r"[^\w.]+", "", stripped.partition("#")[0])
    double = f"[[{name}]]" if name in ("panel", "sheet", "panel.hole") else f"[{name}]"
    return f"a table's name stands alone between its brackets; write {double}"


def _comment(line: str) -> str:
    if line.strip().startswith((";", "//", "--")):
        return "a comment begins with #"
    return ""


def _no_equals(line: str) -> str:
    key, equals, _ = line.partition("=")
    if not equals:
        if re.match(r"\s*[\w-]+\s*:", line):
            return "write = between the key and its value, not a colon"
        return 'neither a key with its value (as in name = "engine") nor a [table] nor a # comment'
    if re.fullmatch(r"[\w-]+(\s+[\w-]+)+", key.strip()):
        return f"a key has no blanks; write {'_'.join(key.split())}"
    if not key.strip():
        return "there is no key before ="
    return ""


def _backslash(line: str) -> str:
    value = _value(line)
    if "\\" in value and value.startswith(("[", '"')):
        return (
            "a backslash in double quotes means something else; write the path with / or in "
            "single quotes, as in 'art\\engine.svg'"
        )
    return ""


def _open_quote(line: str) -> str:
    value = _value(line)
    if value[:1] not in ('"', "'", "["):
        if value.endswith(('"', "'")) and not _UNIT.search(line):
            return "the opening quote is missing"
        return ""
    rest, quote = value, ""
    for c in rest:
        if not quote and c == "#":
            break
        if not quote and c in "\"'":
            quote = c
        elif c == quote:
            quote = ""
    if quote:
        return f"the closing quote {quote} is missing"
    return ""


def _comma(line: str) -> str:
    at = _DECIMAL_COMMA.search(line)
    if not at:
        return ""
    value = f"{at[1]}.{at[2]}"
    unit = at[3].strip('"')
    if unit:
        return f'a decimal comma, and no quotes; write "{value} {unit}"'
    if line.partition("=")[0].strip() in _LENGTHS:
        return f'a decimal comma; write "{value} mm", in quotes with its unit'
    return f"a decimal comma; write {value}"


def _bare_length(line: str) -> str:
    at = _UNIT.search(line)
    if not at:
        return ""
    unit = "in" if at[2] in ('"', "'") else at[2]
    return f'a length is written in quotes; write "{at[1]} {unit}"'


def _bare_word(line: str) -> str:
    value = _value(line).partition("#")[0].strip()
    if not value:
        return "nothing stands after ="
    word = value.lower()
    if word in ("true", "yes", "on", "false", "no", "off"):
        return f"write {'true' if word in ('true', 'yes', 'on') else 'false'}, small and unquoted"
    if re.match(r"[^\W\d]", value):
        shown = value.rstrip(",;")
        key = _KEY.match(line)
        if key and key[1] in _UNQUOTED:
            return f"no word can stand here; write it as in {key[1]} = {_UNQUOTED[key[1]]}"
        return f'a text is written in quotes; write "{shown}"'
    if value.startswith("[") and re.search(r"[\[,]\s*[^\W\d]", value):
        return 'texts in a list are written in quotes too, as in ["cut", "holes"]'
    if re.fullmatch(r"[-+]?(\.\d+|\d+\.)", value):
        return "write a digit before and after the decimal point"
    if re.fullmatch(r"0\d+(\.\d+)?", value):
        return "a number does not begin with 0"
    return ""


def _after_value(line: str) -> str:
    value = _value(line)
    if value.startswith("="):
        return "one = is enough"
    closed = re.match(r"(\"[^\"]*\"|'[^']*')\s*(.+)$", value)
    if not closed:
        return ""
    if closed[2] in (",", ";"):
        return f"no {closed[2]} at the end of a line"
    if '"' in closed[2]:
        return "quotes inside quotes; put the whole text in single quotes, ''"
    return "something stands after the value; a comment begins with #, each key has its own line"


_CAUSES: tuple[Callable[[str], str], ...] = (
    _comment,
    _curly,
    _header,
    _no_equals,
    _backslash,
    _open_quote,
    _comma,
    _bare_length,
    _after_value,
    _bare_word,
)
