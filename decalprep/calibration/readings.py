"""What a person typed about one calibration page, taken apart and nothing guessed.

One line holds everything: ``across1=169.8 across2=169,9 down1=12.3..267.1 diag1=267,2 mm``.
A decimal comma is a decimal point; ``a..b`` is the far reading less the near one; a unit after a
value holds for that value, ``unit=in`` for all that have none. The same name may come again.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from decalprep.calibration.rules import PLAIN, VERNIER, Hand, RuleClass
from decalprep.errors import UsageProblem
from decalprep.model import Baseline, Margins
from decalprep.units import MM_PER_IN

EDGES = ("left", "bottom", "right", "top")
_UNITS = {"mm": 1.0, "cm": 10.0, "in": MM_PER_IN, "inch": MM_PER_IN, "inches": MM_PER_IN}
_NUMBER = r"\d+(?:[.,]\d+)?"
_ENTRY = re.compile(
    rf"(?P<key>[A-Za-z][A-Za-z0-9_-]*)\s*[=:]\s*"
    rf"(?:(?P<near>{_NUMBER})\s*\.\.\s*)?(?P<value>{_NUMBER}|[A-Za-z0-9]+)"
    rf"(?![.,]?\d)\s*(?P<unit>mm\b|cm\b|in\b|inch\b|inches\b|\")?(?=[\s,;]|$)\s*[,;]?\s*"
)


@dataclass(frozen=True)
class Reading:
    """One length read along one baseline, in mm; ``typed`` as the person wrote it."""

    line: str
    length_mm: float
    typed: str = ""


@dataclass(frozen=True)
class PageReadings:
    """All that was read from one page. ``edges_mm``: paper edge to line 10 of its ladder."""

    lengths: tuple[Reading, ...]
    rule: RuleClass = RuleClass.UNMARKED
    hand: Hand = PLAIN
    edges_mm: tuple[tuple[str, float], ...] = ()
    margins: Margins | None = None
    code: str = ""


@dataclass(frozen=True)
class Prompt:
    """One thing to ask for: the name of the line and the words to say."""

    line: str
    text: str


def parse_readings(text: str, baselines: Sequence[Baseline]) -> PageReadings:
    """The readings of one page from one line of text, lengths in mm.

    Besides the lines' names it knows ``rule=I|II|III``, ``method=plain|vernier``,
    ``unit=mm|cm|in``, ``edge_left=`` and so on, ``margin_left=`` and so on, ``code=``.
    Does not judge the values: ``estimate_printer`` does.

    Raises:
        UsageProblem: something that is none of these, or a name that the page does not have.

    >>> lines = [Baseline("across1", (0, 0), (170, 0)), Baseline("down1", (0, 0), (0, 255))]
    >>> parse_readings("across1=169,8, down1=12.3..267.1 mm", lines).lengths[1].length_mm
    254.8
    """
    entries = _entries(text)
    words = {key: value for key, _, value, _ in entries}
    unit = words.get("unit", "mm").lower()
    if unit not in _UNITS:
        raise UsageProblem(f"unit={unit} is not known", do="use unit=mm, unit=cm or unit=in")
    names = {b.name for b in baselines}
    lengths, edges, margins = [], {}, {}
    for key, near, value, own_unit in entries:
        factor = _UNITS[own_unit or unit]
        if key in names:
            length = (_number(key, value) - (_number(key, near) if near else 0.0)) * factor
            typed = f"{near}..{value}" if near else value
            lengths.append(Reading(key, round(length, 9), f"{typed} {own_unit or unit}"))
        elif key.startswith("edge_") and key[5:] in EDGES:
            edges[key[5:]] = _number(key, value) * factor
        elif key.startswith("margin_") and key[7:] in EDGES:
            margins[key[7:]] = _number(key, value) * factor
        elif key not in ("unit", "rule", "method", "code"):
            raise UsageProblem(
                f"the page has no line called {key!r}",
                do="the lines are " + ", ".join(b.name for b in baselines),
            )
    return PageReadings(
        tuple(lengths),
        _rule(words.get("rule", "")),
        _hand(words.get("method", "plain")),
        tuple(edges.items()),
        _margins(margins),
        words.get("code", "").upper(),
    )


def _entries(text: str) -> list[tuple[str, str, str, str]]:
    entries, at = [], len(text) - len(text.lstrip())
    while at < len(text):
        match = _ENTRY.match(text, at)
        if match is None:
            raise UsageProblem(
                f"cannot read {text[at:].strip()[:40]!r} among the readings",
                do='write name=value, as in "across1=169.8 down1=254,6", one decimal mark a value',
            )
        unit = (match["unit"] or "").replace('"', "in")
        entries.append((match["key"].lower(), match["near"] or "", match["value"], unit))
        at = match.end()
    if not entries:
        raise UsageProblem("no readings were given", do='write them as in "across1=169.8 ..."')
    return entries


def _number(key: str, text: str) -> float:
    if re.fullmatch(_NUMBER, text) is None:
        raise UsageProblem(f"{key}={text} is not a length", do=f"write a number, as in {key}=169.8")
    return float(text.replace(",", "."))


def _rule(text: str) -> RuleClass:
    by_figure = {"1": "I", "2": "II", "3": "III", "": "unmarked", "UNMARKED": "unmarked"}
    name = by_figure.get(text.upper(), text.upper())
    try:
        return RuleClass(name)
    except ValueError:
        raise UsageProblem(
            f"rule={text} is not a class of rule",
            do="use rule=I, II or III as printed on the rule, or leave it out",
        ) from None


def _hand(text: str) -> Hand:
    hands = {"plain": PLAIN, "vernier": VERNIER}
    if text.lower() not in hands:
        raise UsageProblem(f"method={text} is not known", do="use method=plain or method=vernier")
    return hands[text.lower()]


def _margins(seen: dict[str, float]) -> Margins | None:
    if not seen:
        return None
    missing = [edge for edge in EDGES if edge not in seen]
    if missing:
        raise UsageProblem(
            "the margins are given for some edges only",
            do="add " + ", ".join(f"margin_{edge}=" for edge in missing),
        )
    return Margins(seen["left"], seen["bottom"], seen["right"], seen["top"])


def prompts_for(baselines: Sequence[Baseline]) -> tuple[Prompt, ...]:
    """What to ask for, one reading at a time: each line once, the diagonals twice."""
    asked = []
    for again in (False, True):
        for b in baselines:
            if again and not b.name.startswith("diag"):
                continue
            lead = "once more, laid anew: " if again else ""
            asked.append(Prompt(b.name, f"{lead}{b.name}: {b.lay}. Read from {b.read}, in mm"))
    return tuple(asked)
