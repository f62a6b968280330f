"""SVG to Artwork. The door of this kind: ``read_svg``.

Own root: the page's size is read by ``svg_size`` alone and written into a plain root; a converter
only draws. See ``svg_prepass`` for what is made plain, ``svg_convert`` for the routes.
"""

from pathlib import Path

from decalprep.errors import NoSize
from decalprep.intake.evidence import SettledSize, settle_size
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg_convert import Target, convert, drawn_extent
from decalprep.intake.svg_page import PageSize
from decalprep.intake.svg_prepass import Prepared, lay_ground, prepare, root_size, write_plain_root
from decalprep.intake.svg_size import RootSize
from decalprep.intake.svg_xml import parse_svg, read_bytes
from decalprep.model import Artwork, EvidenceRank, Notice
from decalprep.units import PT_PER_IN, PX_PER_IN, format_mm, pt_from_mm

PT_PER_PX = PT_PER_IN / PX_PER_IN


def read_svg(path: Path, options: IntakeOptions) -> Artwork:
    """The artwork of an SVG (or svgz) file at its true size in mm.

    Follows no reference outside the file but pictures in its own folder. Does not run scripts or
    animations. A family that is not installed is refused, unless ``options.allow_missing_fonts``:
    then what stands in is told as a danger.

    Raises:
        InputProblem: not SVG, or nothing in it. NoSize: one side alone and no viewBox.
        TooMuch: beyond a limit of size, depth or time. Unfaithful: a feature, font or picture that
        cannot be reproduced. UsageProblem: no such layer.
    """
    name = path.name
    root = parse_svg(read_bytes(path, options.limits), name)
    root_size(root, name)  # a size that cannot be read is told before anything else
    prepared = prepare(root, options, name=name, folder=path.parent)
    size = root_size(root, name)
    if size is None:
        size = root_size(root, name, drawn_extent(prepared, options, name))
    if size is None:
        raise NoSize("states no size", where=name, do="add a viewBox to <svg>")
    page_size = (size.width_px * PT_PER_PX, size.height_px * PT_PER_PX)
    settled = settle_size([size.claim], options, page_size=page_size, name=name)
    root_px = write_plain_root(root, size)
    if prepared.ground:
        lay_ground(root, size, prepared.ground)
    target = _target(root_px, settled, prepared.smooth)
    made = convert(prepared, target, options=options, name=name)
    return Artwork(
        name=path.stem,
        source=name,
        kind="svg",
        page_pdf=made.page_pdf,
        page_width_pt=target.page.width_pt,
        page_height_pt=target.page.height_pt,
        width_mm=settled.width_mm,
        height_mm=settled.height_mm,
        evidence=settled.evidence,
        notices=_all_notices(prepared, size, settled, made.notices, name=name),
        layers=prepared.layers,
    )


def _target(root_px: tuple[float, float], settled: SettledSize, smooth: bool) -> Target:
    """The page at true points; its shape stays the file's own, for the root must fill it."""
    width_pt = pt_from_mm(settled.width_mm)
    page = PageSize(width_pt, width_pt * root_px[1] / root_px[0], smooth)
    return Target(root_px, page, settled.width_mm, settled.height_mm)


def _all_notices(
    prepared: Prepared,
    size: RootSize,
    settled: SettledSize,
    made: tuple[Notice, ...],
    *,
    name: str,
) -> tuple[Notice, ...]:
    notices = [*settled.notices, *size.notices, *prepared.notices, *made]
    if settled.evidence[0].rank is EvidenceRank.FILE_DENSITY:
        text = (
            f"states its size without a physical unit: {settled.evidence[0].reason} gives "
            f"{format_mm(settled.width_mm)} x {format_mm(settled.height_mm)}; some programs mean "
            "72 or 90 px/in, so check one length you know"
        )
        notices.insert(0, Notice("size-from-pixels", text, name))
    return tuple(notices)
