"""What an SVG refers to: kept inside, read from the artwork's own folder, or left out and named.

Nothing is fetched. A picture beside the artwork (not above it, not elsewhere) is laid into the
file; any other reference is removed and told.
"""

import base64
import binascii
import re
import urllib.parse
from pathlib import Path
from typing import Any

from decalprep.errors import InputProblem, TooMuch, Unfaithful
from decalprep.intake.options import Limits
from decalprep.intake.svg_css import SheetFindings
from decalprep.intake.svg_xml import XLINK_HREF, local, parse_svg
from decalprep.model import Notice, Severity

_URL = re.compile(r"""url\(\s*(["']?)(.*?)\1\s*\)""", re.IGNORECASE)
_PICTURES = {
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"\xff\xd8\xff": "image/jpeg",
    b"GIF8": "image/gif",
}
_DRAWN = frozenset({"image", "feImage", "use", "textPath", "mpath", "tref"})


def settle_links(
    root: Any, folder: Path | None, *, name: str, limits: Limits, sheets: SheetFindings
) -> tuple[Notice, ...]:
    """Lay pictures of the artwork's folder in, take every other outside reference out.

    Changes ``root``.

    Raises:
        Unfaithful: an embedded picture that cannot be drawn. TooMuch: one beyond the limits.
    """
    outside: list[str] = []
    for element in root.iter():
        if not isinstance(element.tag, str):
            _note_instruction(element, outside)
            continue
        for key, value in list(element.attrib.items()):
            if key in ("href", XLINK_HREF):
                _settle_href(element, key, folder, name=name, limits=limits, outside=outside)
            elif key.endswith("}base"):
                del element.attrib[key]
            elif "url(" in value.lower():
                element.set(key, _URL.sub(lambda m: _settle_url(m, outside), value))
    for sibling in _before(root):
        _note_instruction(sibling, outside)
    outside += [f"style sheet {shown}" for shown in sheets.imports]
    return tuple(
        Notice(
            "external-reference",
            f"{shown} lies outside the artwork and was not read; what it shows is missing",
            name,
            Severity.DANGER,
        )
        for shown in dict.fromkeys(outside)
    )


def _before(root: Any) -> list[Any]:
    found, node = [], root.getprevious()
    while node is not None:
        found.append(node)
        node = node.getprevious()
    return found


def _note_instruction(node: Any, outside: list[str]) -> None:
    if getattr(node, "target", None) == "xml-stylesheet":
        match = re.search(r"""href\s*=\s*["']([^"']*)""", node.text or "")
        outside.append(f"style sheet {match[1] if match else '?'}")


def _settle_url(match: re.Match[str], outside: list[str]) -> str:
    target = match[2].strip()
    if target.startswith("#"):
        return f"url({target})"
    if not target.lower().startswith("data:"):
        outside.append(target)
    return "none"


def _settle_href(
    element: Any, key: str, folder: Path | None, *, name: str, limits: Limits, outside: list[str]
) -> None:
    target = (element.get(key) or "").strip()
    kind = local(element)
    if target.startswith("#"):
        return
    if kind not in _DRAWN:
        # A hyperlink or a paint server's parent: nothing that is drawn comes from outside.
        if kind in ("linearGradient", "radialGradient", "pattern", "filter") and target:
            outside.append(target)
        del element.attrib[key]
        return
    if kind not in ("image", "feImage"):
        del element.attrib[key]
        if target:
            outside.append(target)
        return
    data = data_of(target) if target.lower().startswith("data:") else None
    if data is None and not target.lower().startswith("data:"):
        data = file_beside(target, folder, limits)
        if data is None:
            del element.attrib[key]
            if target:
                outside.append(target)
            return
    if data is None:
        raise Unfaithful(
            "holds an embedded picture that cannot be decoded", where=name, do="embed it again"
        )
    laid_in = _embedded(data, name, limits)
    if laid_in.startswith("data:image/svg"):
        if target.lower().startswith("data:") and "svg" not in target.partition(",")[0]:
            raise Unfaithful(
                "holds an embedded SVG that does not say it is one, so programs leave it out",
                where=name,
                do="embed it as image/svg+xml",
            )
        _check_place(element, data, name)
    element.set(key, laid_in)


def _check_place(image: Any, data: bytes, name: str) -> None:
    """An SVG in an SVG without a size of its own is laid out by programs in two ways."""
    inner = parse_svg(data, name)
    aspect = (image.get("preserveAspectRatio") or "xMidYMid").split()
    plain = aspect[0] == "xMidYMid" and "slice" not in aspect
    own = inner.get("width") and inner.get("height")
    if not (image.get("width") or image.get("height")) or not (plain or own):
        raise Unfaithful(
            "holds an embedded SVG whose place programs work out differently",
            where=name,
            do="give it and its <image> a width and a height, or paste the drawing itself in",
        )


def data_of(target: str) -> bytes | None:
    """The bytes of a data URI, or None where it cannot be decoded."""
    head, comma, body = target.partition(",")
    if not comma:
        return None
    try:
        if ";base64" in head.lower():
            text = urllib.parse.unquote(body)
            return base64.b64decode("".join(text.split()), validate=False)
        return urllib.parse.unquote_to_bytes(body)
    except (binascii.Error, ValueError):
        return None


def file_beside(target: str, folder: Path | None, limits: Limits) -> bytes | None:
    """The bytes of a file in the artwork's folder or below; None for anything else."""
    if folder is None or re.match(r"[A-Za-z][A-Za-z0-9+.-]*:", target) or "\\" in target:
        return None
    relative = urllib.parse.unquote(target.split("#")[0].split("?")[0])
    if not relative or relative.startswith("/") or "\0" in relative:
        return None
    try:
        home = folder.resolve()
        path = (home / relative).resolve()
        if not path.is_relative_to(home) or not path.is_file():
            return None
        if path.stat().st_size > limits.max_bytes:
            return None
        return path.read_bytes()
    except OSError:
        return None


def _embedded(data: bytes, name: str, limits: Limits) -> str:
    """A data URI for a picture that was looked at first."""
    kind = next((k for magic, k in _PICTURES.items() if data.startswith(magic)), None)
    if kind is None and data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        kind = "image/webp"
    if kind is None:
        _check_inner_svg(data, name)
        kind = "image/svg+xml"
    else:
        _check_picture(data, name, limits)
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _check_picture(data: bytes, name: str, limits: Limits) -> None:
    import io

    from PIL import Image

    try:
        with Image.open(io.BytesIO(data)) as picture:
            pixels = picture.width * picture.height
            if pixels > limits.max_pixels:
                raise TooMuch(
                    f"holds a picture of {pixels:,} pixels", where=name, do="make it smaller"
                )
            picture.load()
    except TooMuch:
        raise
    except Exception as problem:
        # Converters drop a picture they cannot read; Pillow's decoders raise many types for one.
        raise Unfaithful(
            f"holds a damaged picture ({problem})", where=name, do="embed the picture again"
        ) from problem


def _check_inner_svg(data: bytes, name: str) -> None:
    """An SVG inside an SVG is drawn only where it has neither text nor references."""
    try:
        inner = parse_svg(data, name)
    except InputProblem as problem:
        raise Unfaithful(
            "holds an embedded picture of an unknown kind", where=name, do="embed PNG or JPEG"
        ) from problem
    for element in inner.iter():
        href = "" if not isinstance(element.tag, str) else element.get("href") or ""
        href = href or (element.get(XLINK_HREF) or "" if isinstance(element.tag, str) else "")
        if local(element) in ("text", "foreignObject", "image", "style") or (
            href and not href.startswith("#")
        ):
            raise Unfaithful(
                f"holds an embedded SVG with <{local(element)}>, which is not checked",
                where=name,
                do="paste the drawing itself in instead of embedding it",
            )
