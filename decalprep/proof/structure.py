"""What the file says about itself, read with pypdf: sizes, printing, layers, fonts, no actions."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, StreamObject

from decalprep.errors import InputProblem
from decalprep.proof.expected import ExpectedJob
from decalprep.proof.layers import PDF_FAULTS, page_groups, resolved
from decalprep.units import mm_from_pt

BOX_MM = 1e-3
"""How far the page size may be off: a writer that rounds points to 3 decimals stays inside."""
ACTIVE_KEYS = ("/AA", "/OpenAction", "/JS", "/JavaScript", "/Launch", "/RichMedia", "/XFA")
ACTIVE_TYPES = ("/JavaScript", "/Launch", "/SubmitForm", "/ImportData", "/URI", "/GoToR", "/Movie")
MOST_OBJECTS = 200_000


@dataclass(frozen=True)
class Finding:
    """One fact checked: ``ok`` or not, what was looked at, and what was found, in words."""

    ok: bool
    what: str
    found: str
    sheet: int | None = None


def check_structure(pdf: bytes, expected: ExpectedJob) -> tuple[Finding, ...]:
    """Every structural check with its result.

    Raises:
        InputProblem: pypdf cannot read the file at all.
    """
    try:
        reader = PdfReader(io.BytesIO(pdf))
        if reader.is_encrypted:
            return (Finding(False, "encryption", "the file is encrypted"),)
        findings = [_pages(reader, expected)]
        findings += _boxes(reader, expected)
        findings += _preferences(reader, expected)
        findings += _layers(reader, expected)
        findings.append(_actions(reader, expected))
        findings.append(_fonts(reader, expected))
    except PDF_FAULTS as fault:
        words = " ".join(str(fault).split()) or type(fault).__name__
        raise InputProblem(f"the exported PDF cannot be read back ({words})") from fault
    return tuple(findings)


def _pages(reader: PdfReader, expected: ExpectedJob) -> Finding:
    count, want = len(reader.pages), len(expected.sheets)
    return Finding(count == want, "number of sheets", f"{count}, expected {want}")


def _boxes(reader: PdfReader, expected: ExpectedJob) -> list[Finding]:
    findings = []
    for index, (page, sheet) in enumerate(zip(reader.pages, expected.sheets, strict=False)):
        box = [float(v) for v in page.mediabox]
        width, height = mm_from_pt(box[2] - box[0]), mm_from_pt(box[3] - box[1])
        off = max(abs(width - sheet.width_mm), abs(height - sheet.height_mm))
        text = f"{width:.4f} x {height:.4f} mm, expected {sheet.width_mm:g} x {sheet.height_mm:g}"
        findings.append(Finding(off <= BOX_MM, "page size", text, index))
        at_origin = abs(box[0]) < 1e-6 and abs(box[1]) < 1e-6
        findings.append(Finding(at_origin, "page origin", f"({box[0]:g}, {box[1]:g}) pt", index))
        crop = [float(v) for v in page.cropbox]
        same = max(abs(a - b) for a, b in zip(crop, box, strict=True)) < 1e-3
        findings.append(Finding(same, "crop box", "whole page" if same else f"{crop} pt", index))
        unit, turn = float(page.get("/UserUnit", 1.0)), int(page.get("/Rotate", 0) or 0)
        plain = unit == 1.0 and turn % 360 == 0
        findings.append(
            Finding(plain, "page scale and turn", f"UserUnit {unit:g}, Rotate {turn}", index)
        )
    return findings


def _preferences(reader: PdfReader, expected: ExpectedJob) -> list[Finding]:
    held = resolved(reader.root_object.get("/ViewerPreferences")) or DictionaryObject()
    findings = []
    for key, want in expected.preferences:
        found = _plain(held.get("/" + key))
        shown = "absent" if found is None else str(found)
        findings.append(Finding(found == want, f"viewer preference {key}", shown))
    return findings


def _plain(value: Any) -> object:
    """A PDF value as plain Python: names without their slash, arrays as tuples."""
    value = resolved(value)
    if value is None:
        return None
    if isinstance(value, ArrayObject):
        return tuple(_plain(v) for v in value)
    if value.__class__.__name__ == "BooleanObject":
        return bool(value.value)
    text = str(value)
    return text[1:] if text.startswith("/") else text


def _layers(reader: PdfReader, expected: ExpectedJob) -> list[Finding]:
    findings = []
    properties = resolved(reader.root_object.get("/OCProperties")) or {}
    listed = {r.idnum for r in (resolved(properties.get("/OCGs")) or []) if hasattr(r, "idnum")}
    for index, (_, sheet) in enumerate(zip(reader.pages, expected.sheets, strict=False)):
        groups = page_groups(reader, index)
        for name in sheet.layers:
            there = name in groups
            text = "present" if there else "missing"
            if there and not all(r.idnum in listed for r in groups[name]):
                there, text = False, "not listed in the catalogue, so no viewer can switch it"
            findings.append(Finding(there, f'layer "{name}"', text, index))
    return findings


def _walk(reader: PdfReader) -> Iterator[DictionaryObject]:
    """Every dictionary that can be reached from the trailer, each once."""
    seen: set[int] = set()
    waiting: list[Any] = [reader.trailer]
    count = 0
    while waiting and count < MOST_OBJECTS:
        value = waiting.pop()
        if isinstance(value, IndirectObject):
            if value.idnum in seen:
                continue
            seen.add(value.idnum)
            value = value.get_object()
        count += 1
        if isinstance(value, DictionaryObject):
            yield value
            waiting.extend(value.values())
        elif isinstance(value, ArrayObject):
            waiting.extend(value)


def _actions(reader: PdfReader, expected: ExpectedJob) -> Finding:
    found = set()
    for item in _walk(reader):
        found |= {key for key in ACTIVE_KEYS if key in item}
        if str(item.get("/S", "")) in ACTIVE_TYPES:
            found.add(str(item["/S"]))
        if item.get("/Type") == "/Filespec" and not expected.attachments_allowed:
            found.add("attachment")
        if item.get("/Subtype") in ("/Widget", "/Link", "/FileAttachment") and "/Rect" in item:
            found.add("annotation")
    text = ", ".join(sorted(found)) if found else "none"
    return Finding(not found, "scripts, actions and annotations", text)


def _fonts(reader: PdfReader, expected: ExpectedJob) -> Finding:
    bare, count = set(), 0
    for item in _walk(reader):
        if item.get("/Type") != "/Font" or item.get("/Subtype") in ("/Type0", "/Type3"):
            continue
        count += 1
        descriptor = resolved(item.get("/FontDescriptor")) or {}
        embedded = any(
            isinstance(resolved(descriptor.get(key)), StreamObject)
            for key in ("/FontFile", "/FontFile2", "/FontFile3")
        )
        if not embedded:
            bare.add(str(item.get("/BaseFont", "?")).lstrip("/"))
    text = f"not embedded: {', '.join(sorted(bare))}" if bare else f"{count}, all embedded"
    told = bare <= set(expected.bare_fonts)
    return Finding(told, "fonts", text if count else "none used")
