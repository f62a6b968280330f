"""What a document says as a whole: viewer preferences, layers, title, attachments."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from xml.sax.saxutils import escape

import pikepdf
from pikepdf import Array, Dictionary, Name

import decalprep
from decalprep.errors import UsageProblem
from decalprep.export.pdf_artwork import ArtworkForms
from decalprep.model import Layer


@dataclass(frozen=True)
class PdfSettings:
    """How the file is written.

    ``date`` is a PDF date such as "D:20260101120000Z", or None for none: no clock is read.
    ``attachments`` are (file name, bytes), such as the job file. ``cut_as_spot`` writes cut
    outlines and hole guides in a separation of their own.
    """

    title: str = ""
    date: str | None = None
    attachments: tuple[tuple[str, bytes], ...] = ()
    cut_as_spot: bool = True


_DATE = re.compile(r"D:\d{4}(\d\d){0,5}(Z|[-+]\d\d'\d\d'?)?")


def pdf_date(epoch_seconds: int) -> str:
    """A PDF date (ISO 32000-1, 7.9.4) from seconds since 1970, such as SOURCE_DATE_EPOCH.

    >>> pdf_date(0)
    'D:19700101000000Z'
    """
    return datetime.fromtimestamp(epoch_seconds, UTC).strftime("D:%Y%m%d%H%M%SZ")


def check_settings(settings: PdfSettings) -> None:
    """Refuse settings that would write a wrong file.

    Raises:
        UsageProblem: the date is no PDF date, or two attachments have one name.
    """
    if settings.date is not None and not _DATE.fullmatch(settings.date):
        raise UsageProblem(
            f"{settings.date!r} is no PDF date", do='write it as in "D:20260131120000Z"'
        )
    names = [name for name, _ in settings.attachments]
    if len(set(names)) < len(names):
        raise UsageProblem("two attachments have one name", do="give each its own")


_XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:pdf="http://ns.adobe.com/pdf/1.3/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<pdf:Producer>{producer}</pdf:Producer><pdf:Trapped>False</pdf:Trapped>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="r"?>"""


def finish_document(
    pdf: pikepdf.Pdf,
    settings: PdfSettings,
    layers: Mapping[Layer, pikepdf.Object],
    artworks: ArtworkForms,
) -> None:
    """Write the document-wide entries.

    PrintScaling, Duplex and PickTrayByPDFSize are of PDF 1.6 and 1.7 (ISO 32000-1, table 150);
    Enforce is of PDF 2.0 (ISO 32000-2, table 147).
    """
    root = pdf.Root
    root.ViewerPreferences = Dictionary(
        PrintScaling=Name("/None"),
        Enforce=Array([Name.PrintScaling]),
        PickTrayByPDFSize=True,
        Duplex=Name.Simplex,
        DisplayDocTitle=True,
    )
    if layers or artworks.groups:
        root.OCProperties = _layer_properties(layers, artworks)
    _describe(pdf, settings)
    _attach(pdf, settings)


def _layer_properties(
    layers: Mapping[Layer, pikepdf.Object], artworks: ArtworkForms
) -> pikepdf.Object:
    own = [layers[layer] for layer in Layer if layer in layers]
    order = Array(own)
    theirs: list[pikepdf.Object] = []
    for name, groups in artworks.groups.items():
        if groups:
            order.append(Array([pikepdf.String(name), *groups]))
            theirs.extend(groups)
    config = Dictionary(
        Name=pikepdf.String("as printed"),
        BaseState=Name.ON,
        Order=order,
        ON=Array(own),
        OFF=Array(artworks.hidden),
    )
    if artworks.automatic:
        config.AS = Array(artworks.automatic)
    return Dictionary(OCGs=Array([*own, *theirs]), D=config)


def _describe(pdf: pikepdf.Pdf, settings: PdfSettings) -> None:
    producer = f"decalprep {decalprep.__version__}"
    xml = _XMP.format(title=escape(settings.title or "decals"), producer=escape(producer))
    stream = pdf.make_stream(xml.encode("utf-8"))
    stream.Type, stream.Subtype = Name.Metadata, Name.XML
    pdf.Root.Metadata = stream
    pdf.docinfo["/Title"] = settings.title or "decals"
    pdf.docinfo["/Producer"] = producer
    pdf.docinfo["/Trapped"] = Name("/False")
    if settings.date:
        pdf.docinfo["/CreationDate"] = settings.date
        pdf.docinfo["/ModDate"] = settings.date


def _attach(pdf: pikepdf.Pdf, settings: PdfSettings) -> None:
    if not settings.attachments:
        return
    names = Array()
    related = Array()
    for name, data in sorted(settings.attachments):
        parameters = Dictionary(Size=len(data), CheckSum=pikepdf.String(_md5(data)))
        if settings.date:
            parameters.ModDate = pikepdf.String(settings.date)
        stream = pdf.make_stream(data, Type=Name.EmbeddedFile, Params=parameters)
        spec = pdf.make_indirect(
            Dictionary(
                Type=Name.Filespec,
                F=pikepdf.String(name),
                UF=pikepdf.String(name),
                EF=Dictionary(F=stream, UF=stream),
                AFRelationship=Name.Source,
            )
        )
        names.append(pikepdf.String(name))
        names.append(spec)
        related.append(spec)
    pdf.Root.Names = Dictionary(EmbeddedFiles=Dictionary(Names=names))
    pdf.Root.AF = related


def _md5(data: bytes) -> bytes:
    """The checksum that ISO 32000-1, table 46 asks for; not for security."""
    return hashlib.md5(data, usedforsecurity=False).digest()
