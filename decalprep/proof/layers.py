"""One layer at a time: copies of the file in which only the asked layers are switched on.

This is what a viewer does when a person switches layers, so it also shows that the layers
work. The copy is the original bytes with a small update appended; nothing else is rewritten.
Layers of the sheet are the optional-content groups that the page itself names; groups inside
a placed artwork are left in their own state.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Collection
from functools import lru_cache
from typing import Any

from pypdf import PdfReader
from pypdf.errors import PyPdfError
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, NameObject, NumberObject

from decalprep.errors import InputProblem

PDF_FAULTS = (
    PyPdfError,
    ArithmeticError,
    AssertionError,
    AttributeError,
    LookupError,
    NotImplementedError,
    RecursionError,
    TypeError,
    ValueError,
    struct.error,
    zlib.error,
)
"""What pypdf raises over broken files; told as one line at this room's border."""


def resolved(value: Any) -> Any:
    """The object that a reference points at."""
    return value.get_object() if isinstance(value, IndirectObject) else value


def page_groups(reader: PdfReader, index: int) -> dict[str, list[IndirectObject]]:
    """Optional-content groups that page ``index`` itself names: name -> references."""
    found: dict[str, list[IndirectObject]] = {}
    resources = resolved(reader.pages[index].get("/Resources")) or {}
    properties = resolved(resources.get("/Properties")) or {}
    references = list(properties.values())
    for form in (resolved(resources.get("/XObject")) or {}).values():
        references.append(resolved(form).get("/OC"))
    for reference in references:
        group = resolved(reference)
        if not isinstance(reference, IndirectObject) or not isinstance(group, DictionaryObject):
            continue
        if group.get("/Type") == "/OCG":
            known = found.setdefault(str(group.get("/Name", "")), [])
            if reference.idnum not in [k.idnum for k in known]:
                known.append(reference)
    return found


def _unreadable(fault: BaseException) -> InputProblem:
    words = " ".join(str(fault).split()) or type(fault).__name__
    return InputProblem(f"the layers of the PDF cannot be read ({words})")


class Layered:
    """A file whose sheet layers can be shown one by one.

    Raises:
        InputProblem: pypdf cannot read it.
    """

    def __init__(self, pdf: bytes) -> None:
        self._pdf = pdf
        self._groups: dict[str, set[int]] = {}
        self._views: dict[frozenset[str], bytes] = {}
        try:
            self._reader = PdfReader(io.BytesIO(pdf))
            for index in range(len(self._reader.pages)):
                for name, references in page_groups(self._reader, index).items():
                    self._groups.setdefault(name, set()).update(r.idnum for r in references)
        except PDF_FAULTS as fault:
            raise _unreadable(fault) from fault

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the layers, sorted."""
        return tuple(sorted(self._groups))

    def only(self, layers: Collection[str]) -> bytes:
        """The file with only these sheet layers switched on.

        Raises:
            InputProblem: the file is too broken for that.
        """
        key = frozenset(layers)
        if key not in self._views:
            try:
                self._views[key] = self._switched(key)
            except PDF_FAULTS as fault:
                raise _unreadable(fault) from fault
        return self._views[key]

    def _switched(self, shown: frozenset[str]) -> bytes:
        on = {n for name, numbers in self._groups.items() if name in shown for n in numbers}
        off = {n for numbers in self._groups.values() for n in numbers} - on
        catalogue = DictionaryObject(self._reader.root_object)
        properties = resolved(catalogue.get("/OCProperties"))
        if properties is None:
            return self._pdf
        default = resolved(properties.get("/D")) or DictionaryObject()
        base = default.get("/BaseState", "/ON")
        before = {
            which: [r for r in (resolved(default.get(which)) or []) if r.idnum not in on | off]
            for which in ("/ON", "/OFF")
        }
        mine = {r.idnum: r for r in resolved(properties["/OCGs"]) if r.idnum in on | off}
        new = DictionaryObject()
        new[NameObject("/BaseState")] = NameObject(base)
        new[NameObject("/ON")] = ArrayObject(
            [*before["/ON"], *(mine[n] for n in sorted(on) if n in mine)]
        )
        new[NameObject("/OFF")] = ArrayObject(
            [*before["/OFF"], *(mine[n] for n in sorted(off) if n in mine)]
        )
        fresh = DictionaryObject(properties)
        fresh[NameObject("/D")] = new
        catalogue[NameObject("/OCProperties")] = fresh
        return self._with_catalogue(catalogue)

    def _with_catalogue(self, catalogue: DictionaryObject) -> bytes:
        """The file with another catalogue in an update (ISO 32000-1, 7.5.6 and 7.5.8)."""
        trailer = self._reader.trailer
        if "/Encrypt" in trailer:
            raise NotImplementedError("an encrypted file")
        root, size = trailer.raw_get("/Root"), int(resolved(trailer["/Size"]))
        out = io.BytesIO()
        out.write(self._pdf + b"\n")
        places = [out.tell()]
        out.write(f"{root.idnum} {root.generation} obj\n".encode())
        catalogue.write_to_stream(out)
        out.write(b"\nendobj\n")
        places.append(out.tell())
        entries = struct.pack(">BIBBIB", 1, places[0], root.generation, 1, places[1], 0)
        kept = [key for key in ("/Root", "/Info", "/ID") if key in trailer]
        table = DictionaryObject({NameObject(key): trailer.raw_get(key) for key in kept})
        last = self._pdf[self._pdf.rindex(b"startxref") + len(b"startxref") :].split()[0]
        table[NameObject("/Type")] = NameObject("/XRef")
        table[NameObject("/Size")] = NumberObject(size + 1)
        table[NameObject("/Prev")] = NumberObject(last)
        table[NameObject("/Index")] = ArrayObject(NumberObject(n) for n in (root.idnum, 1, size, 1))
        table[NameObject("/W")] = ArrayObject(NumberObject(n) for n in (1, 4, 1))
        table[NameObject("/Length")] = NumberObject(len(entries))
        out.write(f"{size} 0 obj\n".encode())
        table.write_to_stream(out)
        out.write(b"\nstream\n" + entries + b"\nendstream\nendobj\n")
        out.write(f"startxref\n{places[1]}\n%%EOF\n".encode())
        return out.getvalue()


@lru_cache(maxsize=1)
def layered(pdf: bytes) -> Layered:
    """The file's layers, read once for all who look at the same bytes; ``prove`` forgets them.

    Raises:
        InputProblem: pypdf cannot read it.
    """
    return Layered(pdf)
