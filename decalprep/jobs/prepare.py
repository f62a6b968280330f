"""One panel, from its files to a decal: taken in, cleaned, outlined, its holes classed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import TYPE_CHECKING

from decalprep.errors import DoesNotFit, InputProblem, NoSize
from decalprep.geometry import Affine, Box, Circle, Path, circle_path
from decalprep.jobs.job_faults import job_names
from decalprep.jobs.spec import Job, PanelSpec, Values
from decalprep.model import (
    Artwork,
    Decal,
    EvidenceRank,
    Hole,
    HoleKind,
    Notice,
    PartFace,
    PartRecord,
    Severity,
    Turns,
)

if TYPE_CHECKING:
    from decalprep.cleaning import Change, Cleaned, HairlineSettings, StrokeRow
    from decalprep.intake.options import KnownDistance
    from decalprep.outline import FoundHoles, FoundOutline, OutlineSettings
    from decalprep.outline.bleed import Bleed
    from decalprep.pdfstream import PageContents

DIRECTIONS = {
    "largest": None,
    "top": "+z",
    "bottom": "-z",
    "front": "-y",
    "back": "+y",
    "left": "-x",
    "right": "+x",
}
SAME_SIZE = 0.002
"""Sizes that differ by no more than this share are told as one."""
NEAR_MM = 1.0
"""A hole named by its place is the one whose centre is within its own radius plus this."""


@dataclass(frozen=True)
class Prepared:
    """One panel ready for nesting, and everything found on the way.

    ``taken`` is the artwork as taken in, less the layers that are not printed; the decal's own
    artwork is that after cleaning. ``sources`` are lines for the report; places in ``notices``
    are in decal mm. Of a panel in tiles, ``tiles`` are their names; of a tile, ``bare`` is what of
    its outline shows no artwork (tabs, parts of holes) and ``ticks`` are its match ticks, both in
    the decal frame. ``stripped`` is the artwork as it was when its hairlines were gone, before
    anything else changed; None where no hairline was stripped.
    """

    decal: Decal
    taken: Artwork
    face: PartFace | None
    back: PartFace | None
    contents: PageContents
    changes: tuple[str, ...]
    notices: tuple[Notice, ...]
    sources: tuple[str, ...]
    strokes: tuple[StrokeRow, ...] = ()
    stripped: Artwork | None = None
    tiles: tuple[str, ...] = ()
    bare: tuple[Path, ...] = ()
    ticks: tuple[Path, ...] = ()

    @property
    def printed(self) -> tuple[str, ...]:
        """Names of what is printed of it: its tiles, or the decal."""
        return self.tiles or (self.decal.name,)


def prepare_panel(
    panel: PanelSpec, job: Job, part_record: PartRecord | None, say: Callable[[str], None]
) -> Prepared:
    """The decal of one panel, with what was found and changed.

    Raises:
        DecalprepError: the artwork or part cannot be used; the message names the file.
        JobProblem: the job file names a layer, page or the like that the artwork has not.
    """
    from decalprep.intake.options import stated_limits
    from decalprep.pdfstream.kept import pages_kept_open

    stated_limits()  # a fault of the environment, not of the job
    with job_names(job, "panel", job.panels.index(panel)), pages_kept_open():
        return _prepared(panel, job, part_record, say)


def _prepared(
    panel: PanelSpec, job: Job, part_record: PartRecord | None, say: Callable[[str], None]
) -> Prepared:
    from decalprep.outline import (
        class_holes,
        find_holes,
        find_outline,
        hole_classes,
        wide_screws,
    )
    from decalprep.pdfstream import read_page

    say(f"{panel.name}: reading {panel['artwork']}")
    face, back = _faces(panel, job)
    whole = _take_in(panel, job, face)
    contents = read_page(whole.page_pdf)
    settings = _outline_settings(panel)
    found = find_outline(whole, contents, face, settings)
    _check_size(found, panel, job)
    holes = find_holes(whole, contents, face, found, settings)
    classed, hole_notices = _with_user_holes(class_holes(holes.holes), panel, found)
    hole_notices += wide_screws(classed, panel.name)
    say(f"{panel.name}: cleaning")
    taken = _printed_artwork(panel, whole, found, holes)
    stripped, cleaned, changes = clean(taken, job)
    say(f"{panel.name}: bleed")
    bleed = _bleed(panel, cleaned.artwork, found, classed)
    decal = Decal(
        name=panel.name,
        panel=panel.name,
        artwork=bleed.artwork,
        outline=found.outline,
        outline_from=found.source,
        holes=classed,
        copies=panel["copies"],
        bleed_mm=panel["bleed"],
        bleed_into_holes=panel["bleed_into_holes"],
        turns=Turns(panel["turns"]),
        turn_step_deg=panel["turn_step"] or 0.0,
        decal_from_artwork=found.decal_from_artwork,
        bleed_artwork=bleed.bleed_artwork,
        decal_from_bleed=bleed.decal_from_bleed,
        edge_colours=bleed.edge_colours,
        fitted_from_decal=part_record.fitted_from_decal if part_record else Affine(),
    )
    contents = read_page(bleed.artwork.page_pdf)
    notices = (
        *whole.notices,
        *(n for plate in (face, back) if plate for n in plate.notices),
        *found.notices,
        *_page_and_decal(whole, found, panel),
        *holes.notices,
        *hole_notices,
        *in_decal((*stripped.notices, *cleaned.notices), found.decal_from_artwork),
        *bleed.notices,
        *_safe_margin(panel, decal, contents),
        *in_decal(_legibility(cleaned.artwork, job), found.decal_from_artwork),
    )
    sources = (
        f"size of the whole page {whole.width_mm:.3f} x {whole.height_mm:.3f} mm: "
        + (whole.evidence[0].reason if whole.evidence else "as given"),
        f"outline {found.outline.box.width:.3f} x {found.outline.box.height:.3f} mm: "
        f"{found.source}",
        _hole_words(holes, panel, whole),
        *(f"holes by size: {words}" for words in hole_classes(classed)),
        *_fit_words(decal, part_record),
    )
    own = tuple(replace(n, subject=_subject(n.subject, panel, job)) for n in notices)
    before = stripped.artwork if any(row.stripped for row in stripped.strokes) else None
    return Prepared(
        decal, taken, face, back, contents, changes, own, sources, stripped.strokes, before
    )


def _subject(subject: str, panel: PanelSpec, job: Job) -> str:
    """The panel where nothing is named; files by their names in the job's folder."""
    path = PurePath(subject or panel.name)
    return path.relative_to(job.folder).as_posix() if path.is_relative_to(job.folder) else str(path)


def in_decal(notices: Sequence[Notice], decal_from_artwork: Affine) -> tuple[Notice, ...]:
    """Notices about places of the artwork, with the places in decal mm."""
    return tuple(
        replace(n, box_mm=Box.around(decal_from_artwork.apply_all(n.box_mm.corners)))
        if n.box_mm is not None
        else n
        for n in notices
    )


def _page_and_decal(whole: Artwork, found: FoundOutline, panel: PanelSpec) -> tuple[Notice, ...]:
    """Told where a stated width or height, which is of the page, is not that of the decal."""
    if panel["width"] is None and panel["height"] is None:
        return ()
    box = found.outline.box
    if all(
        abs(decal / page - 1) <= SAME_SIZE
        for decal, page in ((box.width, whole.width_mm), (box.height, whole.height_mm))
    ):
        return ()
    picture = whole.pixels is not None
    text = (
        f"the width or height in the job is that of the whole {'picture' if picture else 'page'}, "
        f"{whole.width_mm:.2f} x {whole.height_mm:.2f} mm; the decal found in it is "
        f"{box.width:.2f} x {box.height:.2f} mm"
    )
    severity = Severity.WARNING if picture else Severity.NOTE
    return (Notice("page-is-not-decal", text, panel.name, severity),)


def _fit_words(decal: Decal, record: PartRecord | None) -> tuple[str, ...]:
    """How the decal was fitted to its part, where a record says so."""
    if record is None:
        return ()
    box = decal.outline.mapped(decal.fitted_from_decal).box
    rule = (
        "the same rule measured part and printer, so its own error cancels"
        if record.same_rule_as_printer
        else "part and printer were measured with different rules, so the error of both counts"
    )
    return (
        f"fitted to its part: {box.width:.2f} x {box.height:.2f} mm (x "
        f"{100 * record.scale_x:+.3f} %, y {100 * record.scale_y:+.3f} %); {rule}",
    )


def _hole_words(holes: FoundHoles, panel: PanelSpec, artwork: Artwork) -> str:
    none = "none in the drawing"
    if artwork.pixels is not None:
        none = "none: those painted in a picture are not seen, say each in a [[panel.hole]]"
    found = f"{len(holes.holes)}, from {holes.source}" if holes.holes else none
    own = len(panel.holes)
    return f"holes: {found}" + (f"; the job file speaks of {own}" if own else "")


def _take_in(panel: PanelSpec, job: Job, face: PartFace | None) -> Artwork:
    from decalprep.intake import read_artwork
    from decalprep.intake.options import IntakeOptions

    options = IntakeOptions(
        width_mm=panel["width"],
        height_mm=panel["height"],
        scale=panel["scale"],
        known_distance=_known_distance(panel),
        circle_distance=(
            (*panel["known_circles"], panel["known_distance"]) if panel["known_circles"] else None
        ),
        allow_stretch=panel["stretch"],
        page=panel["page"],
        show_layers=panel["show_layers"],
        hide_layers=panel["hide_layers"],
        allow_missing_fonts=panel["allow_missing_fonts"],
        dpi=job["printer_dpi"],
        resample_dpi=job["printer_dpi"] if panel["resample"] else None,
        unit=panel["part_unit"] if "part_unit" in panel.keys.given else None,
    )
    artwork = read_artwork(job.folder / panel["artwork"], options, part=face)
    if artwork.evidence and artwork.evidence[0].rank is EvidenceRank.ASSUMED:
        raise NoSize(
            f"nothing states its true size ({artwork.evidence[0].reason} would give "
            f"{artwork.width_mm:.1f} x {artwork.height_mm:.1f} mm)",
            where=f"{panel.name} ({panel['artwork']})",
            do='measure one side of the drawing page and add width = "... mm" to the panel',
        )
    notices = artwork.notices
    if panel["resample"] and artwork.pixels is None:
        text = "resample = true does nothing here: it is for pictures, and this is a drawing"
        notices = (*notices, Notice("resample-unused", text, panel.name))
    return replace(artwork, name=panel.name, notices=notices)


def _known_distance(panel: PanelSpec) -> KnownDistance | None:
    from decalprep.intake.options import KnownDistance

    if not panel["known_points"]:
        return None
    x1, y1, x2, y2 = panel["known_points"]
    return KnownDistance(x1, y1, x2, y2, panel["known_distance"])


def _check_size(found: FoundOutline, panel: PanelSpec, job: Job) -> None:
    """Refuse early what no sheet can hold at any angle, before anything is drawn of it."""
    if panel["tile"]:
        return
    box = found.outline.box
    rooms = [
        s.sheet.printable
        for s in job.sheets
        if not panel["sheets"] or s.sheet.name in panel["sheets"]
    ]
    for room in rooms:
        short, long = sorted((room.width, room.height))
        if min(box.width, box.height) <= long and max(box.width, box.height) <= math.hypot(
            short, long
        ):
            return
    shown = " or ".join(f"{r.width:.1f} x {r.height:.1f} mm" for r in rooms)
    raise DoesNotFit(
        f"the decal is {box.width:.1f} x {box.height:.1f} mm and fits no sheet "
        f"(printable: {shown})",
        where=f"{panel.name} ({panel['artwork']})",
        do="check its width and unit, use a larger sheet, or add tile = true to the panel",
    )


def _faces(panel: PanelSpec, job: Job) -> tuple[PartFace | None, PartFace | None]:
    from decalprep.intake import read_face
    from decalprep.intake.options import FaceOptions

    found: list[PartFace | None] = []
    for key in ("part", "back_part"):
        if not panel[key]:
            found.append(None)
            continue
        options = FaceOptions(
            direction=DIRECTIONS[panel[f"{key}_face"]],
            unit=panel["part_unit"] if "part_unit" in panel.keys.given else None,
        )
        found.append(read_face(job.folder / panel[key], options))
    return found[0], found[1]


def _outline_settings(panel: PanelSpec) -> OutlineSettings:
    from decalprep.intake.options import stated_limits
    from decalprep.outline import HoleSource, OutlineSettings, OutlineSource

    return OutlineSettings(
        source=OutlineSource(panel["outline_from"]),
        layer=panel["outline_layer"] or "",
        spot=panel["outline_spot"] or "",
        hole_source=HoleSource(panel["holes_from"]),
        hole_layer=panel["hole_layer"] or panel["hole_spot"] or "",
        offset_mm=panel["offset"],
        corner_radius_mm=panel["round_corners"],
        most_holes=stated_limits().max_holes,
    )


def _printed_artwork(
    panel: PanelSpec, whole: Artwork, found: FoundOutline, holes: FoundHoles
) -> Artwork:
    """The artwork less what only guides the knife: the layers and spots of outline and holes."""
    from decalprep.cleaning import leave_out

    named = (found.layer, holes.layer, panel["outline_layer"], panel["hole_layer"])
    names = {*named, *panel["hide_layers"]}
    spots = {panel["outline_spot"], panel["hole_spot"], found.spot, holes.spot}
    layers = tuple(sorted(n for n in names if n and n in whole.layers))
    inks = tuple(sorted(s for s in spots if s))
    return leave_out(whole, layers=layers, spots=inks).artwork if layers or inks else whole


def clean(artwork: Artwork, job: Job) -> tuple[Cleaned, Cleaned, tuple[str, ...]]:
    """The artwork with hairlines stripped, then with near-white made bare paper; what changed."""
    from decalprep.cleaning import WhiteSettings, make_white_bare, strip_hairlines

    stripped = strip_hairlines(artwork, hairline_settings(job))
    white = make_white_bare(stripped.artwork, WhiteSettings(near_white=job["near_white"]))
    lines = tuple(change_text(change) for change in (*stripped.changes, *white.changes))
    return stripped, white, lines


def change_text(change: Change) -> str:
    """One change as a line: what, how often, and how wide."""
    width = f" of {change.width_mm:.3f} mm" if change.width_mm is not None else ""
    detail = f" ({change.detail})" if change.detail else ""
    return f"{change.what}: {change.count}{width}{detail}"


def _bleed(
    panel: PanelSpec, artwork: Artwork, found: FoundOutline, holes: tuple[Hole, ...]
) -> Bleed:
    from decalprep.outline.bleed import BleedSettings, make_bleed

    settings = BleedSettings(panel["bleed"], into_holes=panel["bleed_into_holes"])
    return make_bleed(
        artwork,
        found.outline,
        holes,
        decal_from_artwork=found.decal_from_artwork,
        settings=settings,
    )


def _safe_margin(panel: PanelSpec, decal: Decal, contents: PageContents) -> tuple[Notice, ...]:
    from decalprep.outline.safe import SafeMargins, check_safe_margin

    margin_mm = panel["safe_margin"]
    if margin_mm <= 0:
        return ()
    return check_safe_margin(
        decal.artwork,
        contents,
        decal.outline,
        decal.holes,
        decal_from_artwork=decal.decal_from_artwork,
        margins=SafeMargins(margin_mm, margin_mm),
    )


def _legibility(artwork: Artwork, job: Job) -> tuple[Notice, ...]:
    from decalprep.cleaning.legibility import LegibilitySettings, check_legibility

    settings = LegibilitySettings(
        viewing_distance_mm=job["viewing_distance"], printer_dpi=job["printer_dpi"]
    )
    return check_legibility(artwork, settings)


def hairline_settings(job: Job) -> HairlineSettings:
    """What the job says about hairlines."""
    from decalprep.cleaning import HairlineSettings, LoneHairlines

    return HairlineSettings(width_mm=job["hairline"], lone=LoneHairlines(job["lone_hairlines"]))


def _with_user_holes(
    holes: tuple[Hole, ...], panel: PanelSpec, found: FoundOutline
) -> tuple[tuple[Hole, ...], tuple[Notice, ...]]:
    """The holes after the user's words: added, renamed, put to another use, or left out."""
    result = list(holes)
    notices: list[Notice] = []
    for words in panel.holes:
        x, y = found.decal_from_artwork.apply(words["x"], words["y"])
        at = _nearest(result, x, y)
        if words["diameter"] is not None and at is None:
            result.append(_new_hole(words, x, y, len(result)))
            _check_on_decal(result[-1], words, found, panel)
            continue
        if at is None:
            raise InputProblem(
                f"there is no hole near {words['x']:g}, {words['y']:g} mm (line {words.line})",
                where=panel.name,
                do='correct x and y (mm from the lower left), or give "diameter" to add one',
            )
        if words["kind"] == "none":
            result.pop(at)
            continue
        changed = result[at]
        if words["diameter"] is not None:
            notices.append(_other_size(changed, words, panel.name, (x, y)))
            changed = replace(_new_hole(words, x, y, at), label=changed.label)
            _check_on_decal(changed, words, found, panel)
        if words["kind"]:
            changed = replace(changed, kind=HoleKind(words["kind"]), classed_by="the job file")
        result[at] = replace(changed, label=words["label"] or changed.label)
    return tuple(result), tuple(notices)


def _check_on_decal(hole: Hole, words: Values, found: FoundOutline, panel: PanelSpec) -> None:
    """Refuse a hole of the job file that does not lie inside the cut outline."""
    if not found.outline.polygon(0.01).contains(hole.contour.polygon(0.01)):
        box = found.outline.box
        raise InputProblem(
            f"the hole at {words['x']:g}, {words['y']:g} mm (line {words.line}) does not lie "
            f"inside the cut outline ({box.width:.1f} x {box.height:.1f} mm)",
            where=panel.name,
            do="correct x and y: mm from the lower left of the drawing page",
        )


def _new_hole(words: Values, x: float, y: float, number: int) -> Hole:
    from decalprep.outline import class_holes

    hole = Hole(
        circle_path(x, y, words["diameter"]),
        Circle(x, y, words["diameter"]),
        label=words["label"] or f"H{number + 1}",
    )
    if words["kind"] in (None, "none"):
        return class_holes((hole,))[0]
    return replace(hole, kind=HoleKind(words["kind"]), classed_by="the job file")


def _nearest(holes: list[Hole], x: float, y: float) -> int | None:
    best: tuple[float, int] | None = None
    for k, hole in enumerate(holes):
        box = hole.contour.box
        distance = math.dist(box.centre, (x, y))
        if distance <= max(box.width, box.height) / 2 + NEAR_MM and (
            best is None or distance < best[0]
        ):
            best = (distance, k)
    return best[1] if best else None


def _other_size(hole: Hole, words: Values, name: str, at: tuple[float, float]) -> Notice:
    box: Box = hole.contour.box
    apart = math.dist(box.centre, at)
    return Notice(
        "hole-replaced-by-user",
        f"hole {hole.label} is drawn {box.width:.2f} mm across; the job file's hole of "
        f"{words['diameter']:g} mm takes its place, its centre {apart:.2f} mm away",
        name,
        Severity.WARNING,
        box,
        (("apart_mm", apart), ("drawn_mm", box.width)),
    )
