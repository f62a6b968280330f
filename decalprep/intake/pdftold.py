"""What a PDF holds that does not come along, or that may not look as its maker saw it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream

from decalprep.intake.pdfpage import PageFrame
from decalprep.model import Notice, Severity
from decalprep.units import format_mm, mm_from_pt

_QUIET = frozenset({"/Link", "/Popup"})


def document_notices(document: pikepdf.Pdf, name: str) -> list[Notice]:
    """Notices about the document as a whole: what is dropped, encryption, dynamic forms."""
    root = document.Root
    dropped = [word for word, there in _dropped(root) if there]
    notices = []
    if dropped:
        text = f"left out: {', '.join(dropped)}"
        notices.append(Notice("pdf-left-out", text, name, Severity.NOTE))
    if document.is_encrypted:
        text = "the PDF is encrypted with an empty password; the result is not encrypted"
        if not document.allow.print_highres:
            text += "; its owner restricts printing: make sure that you may print it"
        notices.append(Notice("pdf-encrypted", text, name, Severity.NOTE))
    form = root.get("/AcroForm")
    if isinstance(form, Dictionary) and "/XFA" in form:
        text = "this is an XFA form; only the plain page beneath it is read: print it to a new PDF"
        notices.append(Notice("pdf-xfa", text, name))
    if "/Collection" in root:
        text = "this is a portfolio of attached files; only its cover page is read"
        notices.append(Notice("pdf-portfolio", text, name))
    return notices


def _dropped(root: Any) -> list[tuple[str, bool]]:
    names = root.get("/Names")
    table = names if isinstance(names, Dictionary) else Dictionary()
    return [
        ("scripts", "/JavaScript" in table),
        ("attached files", "/EmbeddedFiles" in table or "/AF" in root),
        ("actions", "/OpenAction" in root or "/AA" in root),
        ("bookmarks", "/Outlines" in root),
        ("its output colour profile", "/OutputIntents" in root),
    ]


def page_notices(page: Any, name: str) -> list[Notice]:
    """Notices about one page: annotations and fields not taken, a stated drawing scale."""
    notices = []
    kinds = _annotation_kinds(page)
    loud = {kind: n for kind, n in kinds.items() if kind not in _QUIET}
    if kinds:
        listed = ", ".join(f"{n} {kind[1:]}" for kind, n in sorted(kinds.items()))
        text = f"annotations are not taken ({listed})"
        if loud:
            text += "; if they belong to the picture, print the file to a new PDF first"
        severity = Severity.WARNING if loud else Severity.NOTE
        notices.append(Notice("annotations-not-taken", text, name, severity))
    dropped = [w for w, key in (("actions", "/AA"), ("a thumbnail", "/Thumb")) if key in page]
    if dropped:
        text = f"left out of the page: {', '.join(dropped)}"
        notices.append(Notice("pdf-left-out", text, name, Severity.NOTE))
    scale = _stated_scale(page)
    if scale:
        text = f"the page says that it is drawn to a scale ({scale}); its own size is taken"
        notices.append(Notice("drawn-to-scale", text, name))
    return notices


def _annotation_kinds(page: Any) -> Counter[str]:
    annotations = page.get("/Annots")
    found: list[Any] = list(annotations) if isinstance(annotations, Array) else []
    return Counter(str(a.get("/Subtype", "/unknown")) for a in found if isinstance(a, Dictionary))


def _stated_scale(page: Any) -> str:
    """The scale text of the first measuring viewport (ISO 32000-1, 12.9), if any."""
    views = page.get("/VP")
    for view in views if isinstance(views, Array) else []:
        measure = view.get("/Measure") if isinstance(view, Dictionary) else None
        if isinstance(measure, Dictionary) and "/R" in measure:
            return str(measure.R)
    return ""


def frame_notices(frame: PageFrame, name: str) -> list[Notice]:
    """Notices about boxes and units: cropped, trimmed, UserUnit taken out."""
    notices = []
    if frame.box != frame.media:
        text = f"only the visible box is taken ({_sides(frame, frame.box)}), not the media box"
        text += f" ({_sides(frame, frame.media)})"
        notices.append(Notice("pdf-cropped", text, name, Severity.NOTE))
    if frame.trim is not None and not frame.trim.contains(frame.box, 0.01):
        text = f"the page has a trim box of {_sides(frame, frame.trim)} inside the visible box of "
        text += f"{_sides(frame, frame.box)}; the whole visible box is the artwork"
        notices.append(Notice("pdf-trim-box", text, name, Severity.NOTE))
    if frame.user_unit != 1:
        text = f"the page counts in {frame.user_unit:g}/72 in (UserUnit); set to plain points"
        numbers = (("user_unit", frame.user_unit),)
        notices.append(Notice("user-unit", text, name, Severity.NOTE, None, numbers))
    return notices


def _sides(frame: PageFrame, box: Any) -> str:
    width, height = (mm_from_pt(v * frame.user_unit) for v in (box.width, box.height))
    return f"{format_mm(width)} x {format_mm(height)}"


def font_notices(target: pikepdf.Pdf, name: str, *, allow: bool) -> list[Notice]:
    """A notice that names the fonts whose glyphs the file does not carry.

    ``allow`` makes it a note: the user accepts what stands in. Does not tell whether the text is
    really shown.
    """
    dictionaries = (found for obj in target.objects for found in _dictionaries(obj))
    missing = sorted({font for font in map(_missing_font, dictionaries) if font})
    if not missing:
        return []
    text = (
        f"fonts not in the file: {', '.join(missing)}; what stands in may differ in shape and "
        "width: embed them or turn the text into outlines"
    )
    severity = Severity.NOTE if allow else Severity.WARNING
    return [Notice("fonts-not-embedded", text, name, severity)]


def _dictionaries(obj: Any) -> Iterator[Any]:
    """An object of a file, and the dictionaries written inside it."""
    if isinstance(obj, Array):
        inner = list(obj)
    elif isinstance(obj, Dictionary | Stream):
        yield obj
        inner = [value for _, value in obj.items()]
    else:
        return
    for value in inner:
        if isinstance(value, Array | Dictionary) and not value.is_indirect:
            yield from _dictionaries(value)


def _missing_font(obj: Any) -> str:
    """The name of a font dictionary without its font program, else ""."""
    if not isinstance(obj, Dictionary) or isinstance(obj, Stream) or obj.get("/Type") != Name.Font:
        return ""
    if obj.get("/Subtype") in (Name.Type3, Name.Type0):
        return ""
    descriptor = obj.get("/FontDescriptor")
    if isinstance(descriptor, Dictionary) and any(
        key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3")
    ):
        return ""
    return str(obj.get("/BaseFont", "/unnamed"))[1:]
