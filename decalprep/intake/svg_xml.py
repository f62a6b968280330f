"""An SVG file's bytes to an XML tree, without entities from outside, network or bombs."""

import gzip
import io
import zlib
from pathlib import Path
from typing import Any

from lxml import etree

from decalprep.errors import InputProblem, TooMuch, Unfaithful
from decalprep.intake.options import Limits

SVG = "{http://www.w3.org/2000/svg}"
XLINK_HREF = "{http://www.w3.org/1999/xlink}href"

MAX_ELEMENTS = 1_000_000
"""More elements than this take converters minutes; a full A3 panel has some thousands."""


def read_bytes(path: Path, limits: Limits) -> bytes:
    """The file's bytes, unpacked where it is gzip (.svgz).

    Raises:
        InputProblem: not readable. TooMuch: larger than ``limits.max_bytes``, packed or unpacked.
    """
    try:
        size = path.stat().st_size
        if size > limits.max_bytes:
            raise _too_large(path.name, limits)
        data = path.read_bytes()
    except OSError as problem:
        raise InputProblem(
            f"cannot be read ({problem.strerror or problem})", where=path.name, do="check the path"
        ) from problem
    if data[:2] != b"\x1f\x8b":
        return data
    try:
        with gzip.open(io.BytesIO(data)) as packed:
            data = packed.read(limits.max_bytes + 1)
    except (OSError, EOFError, zlib.error) as problem:
        raise InputProblem(
            "is packed (svgz) and damaged", where=path.name, do="save it again as plain SVG"
        ) from problem
    if len(data) > limits.max_bytes:
        raise _too_large(path.name, limits)
    return data


def _too_large(name: str, limits: Limits) -> TooMuch:
    return TooMuch(
        f"is larger than {limits.max_bytes / 1e6:.0f} MB", where=name, do="split or simplify it"
    )


def parse_svg(data: bytes, name: str) -> Any:
    """The root element of an SVG document; internal entities expanded within libxml2's guard.

    Does not read a DTD, an external entity or a style sheet. Processing instructions stay in the
    tree so that a reference to a style sheet can be named.

    Raises:
        InputProblem: not XML or not SVG. TooMuch: an entity bomb, nesting beyond 256, too many
        elements. Unfaithful: an external entity.
    """
    if not data.strip():
        raise InputProblem("is empty", where=name, do="save the artwork again")
    root = _parsed(data, name, resolve=False)
    dtd = root.getroottree().docinfo.internalDTD
    entities = list(dtd.iterentities()) if dtd is not None else []
    outside = [e for e in entities if e.system_url]
    if outside:
        raise Unfaithful(
            f"takes external entity {outside[0].name!r} from {outside[0].system_url}, "
            "which is never read",
            where=name,
            do="save a copy without it",
        )
    if entities:
        root = _parsed(data, name, resolve="internal")
    if etree.QName(root).localname != "svg":
        raise InputProblem(
            f"is XML but not SVG (its root is <{etree.QName(root).localname}>)",
            where=name,
            do="export it as SVG",
        )
    if etree.QName(root).namespace != SVG[1:-1]:
        raise InputProblem(
            "its root is not in the SVG namespace, so programs disagree on what it shows",
            where=name,
            do='add xmlns="http://www.w3.org/2000/svg" to <svg>',
        )
    if sum(1 for _ in root.iter()) > MAX_ELEMENTS:
        raise TooMuch(f"has more than {MAX_ELEMENTS:,} elements", where=name, do="simplify it")
    return root


def _parsed(data: bytes, name: str, *, resolve: bool | str) -> Any:
    parser = etree.XMLParser(
        resolve_entities=resolve,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        remove_comments=True,
        huge_tree=False,
    )
    try:
        return etree.fromstring(data, parser)
    except etree.XMLSyntaxError as problem:
        told = str(problem.msg or problem)
        if "amplification" in told or "entity reference loop" in told.lower():
            raise TooMuch(
                "its entities unfold without end", where=name, do="save a copy without entities"
            ) from problem
        if "xcessive depth" in told or "huge" in told.lower():
            raise TooMuch(
                "is nested too deeply or holds too long a value",
                where=name,
                do="ungroup or simplify it",
            ) from problem
        raise InputProblem(
            f"is not well-formed XML ({told})", where=name, do="save it again as SVG"
        ) from problem
    except ValueError as problem:
        raise InputProblem(f"is not XML ({problem})", where=name, do="save it as SVG") from problem


def local(element: Any) -> str:
    """The element's name without namespace, empty for one that is not SVG (or not an element)."""
    tag = element.tag
    if not isinstance(tag, str) or not tag.startswith(SVG):
        return ""
    return tag[len(SVG) :]
