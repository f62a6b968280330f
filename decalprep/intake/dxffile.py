"""DXF files to a drawing and its unit.

DXF numbers have no unit of their own; $INSUNITS says what they count, and many files leave it at 0.
$MEASUREMENT only tells which pattern files were in use, so it is a hint and never a size.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from ezdxf import recover
from ezdxf.document import Drawing
from ezdxf.lldxf.tagger import binary_tags_loader

from decalprep.errors import InputProblem, TooMuch, UsageProblem
from decalprep.intake.files import BINARY_DXF
from decalprep.intake.options import Limits
from decalprep.model import Notice, Severity
from decalprep.units import MM_PER_IN, MM_PER_UNIT

SURVEY_FT_MM = 1200 / 3937 * 1000
INSUNITS: dict[int, tuple[str, float]] = {
    1: ("inches", MM_PER_IN),
    2: ("feet", 12 * MM_PER_IN),
    3: ("miles", 63360 * MM_PER_IN),
    4: ("millimetres", 1.0),
    5: ("centimetres", 10.0),
    6: ("metres", 1000.0),
    7: ("kilometres", 1e6),
    8: ("microinches", MM_PER_IN * 1e-6),
    9: ("thousandths of an inch", MM_PER_IN * 1e-3),
    10: ("yards", 36 * MM_PER_IN),
    11: ("angstroms", 1e-7),
    12: ("nanometres", 1e-6),
    13: ("micrometres", 1e-3),
    14: ("decimetres", 100.0),
    15: ("decametres", 1e4),
    16: ("hectometres", 1e5),
    17: ("gigametres", 1e12),
    21: ("US survey feet", SURVEY_FT_MM),
    22: ("US survey inches", SURVEY_FT_MM / 12),
    23: ("US survey yards", SURVEY_FT_MM * 3),
    24: ("US survey miles", SURVEY_FT_MM * 5280),
}
"""Name and mm of one unit by $INSUNITS code (DXF reference, header variables). The astronomical
units 18 to 20 are left out: no panel is drawn in them."""

_TABLES = 10_000
"""Layers, styles and the like that a drawing holds besides what it draws."""

_IMPERIAL = frozenset({1, 2, 3, 8, 9, 10, 21, 22, 23, 24})


@dataclass(frozen=True)
class OpenedDxf:
    """An ezdxf document, the name and mm of its unit (None: it states none), notices."""

    document: Any
    unit_name: str
    mm_per_unit: float | None
    hint: str
    notices: tuple[Notice, ...]


def opened_dxf(data: bytes, limits: Limits, where: str) -> OpenedDxf:
    """The drawing in DXF bytes, text or binary, repaired where it must be.

    Raises:
        InputProblem: not readable.
        TooMuch: more things in it than the limit.
    """
    things = len(re.findall(rb"(?m)^[ \t]*0\r?$", data))
    if things > 4 * limits.max_paths + _TABLES:
        raise TooMuch(
            f"the drawing holds {things:,} things", where=where, do="save only the part you need"
        )
    try:
        document, auditor = _loaded(data)
    except (MemoryError, KeyboardInterrupt):
        raise
    except Exception as error:
        reason = (str(error).splitlines() or [""])[0][:100] or type(error).__name__
        raise InputProblem(
            f"the DXF cannot be read ({reason})", where=where, do="save it again as DXF"
        ) from None
    notices = _repair_notices(auditor, where)
    name, mm_per_unit, hint, told = _unit_of(document, where)
    return OpenedDxf(document, name, mm_per_unit, hint, (*notices, *told))


def _loaded(data: bytes) -> tuple[Any, Any]:
    """(document, auditor); only text files can be repaired while they are read."""
    if BINARY_DXF not in data[:24]:
        return recover.read(BytesIO(data))
    document: Any = Drawing.load(binary_tags_loader(data))
    return document, document.audit()


def _repair_notices(auditor: Any, where: str) -> list[Notice]:
    found = [*auditor.errors, *auditor.fixes]
    if not found:
        return []
    first = (str(found[0].message).splitlines() or [""])[0][:100]
    text = f"the DXF had {len(found)} faults and was repaired (first: {first}); look at the proof"
    severity = Severity.WARNING if auditor.errors else Severity.NOTE
    return [Notice("dxf-repaired", text, where, severity)]


def _header(document: Any, key: str, default: int) -> int:
    try:
        return int(document.header.get(key, default))
    except (TypeError, ValueError):
        return default


def _unit_of(document: Any, where: str) -> tuple[str, float | None, str, list[Notice]]:
    code = _header(document, "$INSUNITS", 0)
    measure = _header(document, "$MEASUREMENT", -1)
    hint = {0: "inches", 1: "millimetres"}.get(measure, "")
    if code not in INSUNITS:
        return "", None, hint, []
    name, mm = INSUNITS[code]
    notices = []
    if measure in (0, 1) and (measure == 0) != (code in _IMPERIAL):
        # Metric template with inch units or the reverse: common, and a common slip.
        text = (
            f"the drawing counts in {name} ($INSUNITS {code}) but its patterns are "
            f"{'inch' if measure == 0 else 'metric'} ($MEASUREMENT {measure}); check one length"
        )
        severity = Severity.WARNING if measure == 1 else Severity.NOTE
        notices.append(Notice("dxf-unit-doubtful", text, where, severity))
    return name, mm, hint, notices


def said_unit_mm(unit: str, where: str) -> float:
    """mm in one of the unit that the user names.

    Raises:
        UsageProblem: not a known unit.
    """
    mm = MM_PER_UNIT.get(unit.strip().lower())
    if mm is None:
        raise UsageProblem(f"unit {unit!r} is not known", where=where, do="use mm, cm, m, in or pt")
    return mm
