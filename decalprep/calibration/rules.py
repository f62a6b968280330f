"""How far a rule or a caliper may be wrong, and how well a hand reads it."""

import math
from dataclasses import dataclass
from enum import StrEnum


class RuleClass(StrEnum):
    """Classes of length measures: directive 2014/32/EU, annex X (MI-008), from memory."""

    I = "I"  # noqa: E741 - the class is called so
    II = "II"
    III = "III"
    UNMARKED = "unmarked"


_LIMITS = {RuleClass.I: (0.1, 0.1), RuleClass.II: (0.3, 0.2), RuleClass.III: (0.6, 0.4)}


def limit_mm(rule: RuleClass, length_mm: float) -> float:
    """Largest error in mm allowed over a length: a + b L, L in whole metres rounded up.

    A rule that shows no class is taken as class III.

    >>> limit_mm(RuleClass.I, 250), limit_mm(RuleClass.II, 250), limit_mm(RuleClass.III, 1500)
    (0.2, 0.5, 1.4)
    """
    a, b = _LIMITS[RuleClass.III if rule is RuleClass.UNMARKED else rule]
    return a + b * math.ceil(length_mm / 1000)


def rule_uncertainty(rule: RuleClass, length_mm: float = 250.0) -> float:
    """Standard uncertainty of a rule's own scale in parts of one, over ``length_mm``.

    The limit taken as a rectangular distribution (JCGM 100:2008, 4.3.7).

    >>> round(rule_uncertainty(RuleClass.I) * 1e6)
    462
    """
    return limit_mm(rule, length_mm) / math.sqrt(3) / length_mm


@dataclass(frozen=True)
class Hand:
    """Standard deviation in mm of one reading, and how many readings that knowledge is worth."""

    sigma_mm: float
    worth: float = 8.0


PLAIN = Hand(0.2)
"""A length read to the nearest mark or half mark at both ends (measured in simulation)."""
VERNIER = Hand(0.07)
"""A length read with the printed verniers at both ends (measured in simulation)."""
