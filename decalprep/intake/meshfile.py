"""Mesh files to one sound mesh in millimetres, with what was healed told."""

from __future__ import annotations

import math
import re
import warnings
import zipfile
from io import BytesIO
from typing import Any

import numpy as np
import trimesh
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from decalprep.errors import InputProblem, TooMuch, UsageProblem
from decalprep.intake.options import FaceOptions, Limits
from decalprep.model import Notice, Severity
from decalprep.units import MM_PER_IN, MM_PER_UNIT

_FILE_UNITS = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": MM_PER_IN,
    "foot": 12 * MM_PER_IN,
    "meter": 1000.0,
}
"""Units a 3MF model may state (3MF Core Specification, 3.4.1, ST_Unit; from memory)."""
JOIN_MM = 1e-3


def loaded(data: bytes, kind: str, options: FaceOptions, where: str) -> tuple[Any, list[Notice]]:
    """(trimesh mesh in mm, notices) of an STL, 3MF or OBJ file.

    Raises:
        InputProblem: unreadable, without facets, or with coordinates that are no numbers.
        TooMuch: more facets than the limit.
        UsageProblem: an unknown unit or no such body.
    """
    _check_count(data, kind, options.limits, where)
    _check_numbers(data, kind, where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            scene = trimesh.load_scene(BytesIO(data), file_type=kind)
            mesh: Any = scene.to_mesh()
    except (MemoryError, KeyboardInterrupt):
        raise
    except Exception as error:
        reason = (str(error).splitlines() or [type(error).__name__])[0][:100]
        raise InputProblem(
            f"the mesh cannot be read ({reason or type(error).__name__})",
            where=where,
            do="export it again",
        ) from None
    if not isinstance(mesh, trimesh.Trimesh) or len(mesh.faces) == 0:
        raise InputProblem("the mesh has no facets", where=where, do="export the part again")
    if len(mesh.faces) > options.limits.max_facets:
        raise _too_many(len(mesh.faces), options.limits, where)
    if mesh.vertices.shape[1:] != (3,):
        raise InputProblem(
            "the mesh has corners without three coordinates", where=where, do="export it again"
        )
    if not np.isfinite(mesh.vertices).all():
        raise InputProblem(
            "the mesh has coordinates that are no numbers", where=where, do="export it again"
        )
    any_mesh: Any = mesh
    factor, notices = _mm_per_unit(scene, kind, options, where)
    any_mesh.apply_scale(factor)
    _check_extent(mesh, options.limits, where)
    return mesh, notices


def _too_many(count: int, limits: Limits, where: str) -> TooMuch:
    return TooMuch(
        f"the mesh has {count:,} facets, more than {limits.max_facets:,}",
        where=where,
        do="export it coarser, or raise the limit",
    )


def _check_count(data: bytes, kind: str, limits: Limits, where: str) -> None:
    """Count facets, or unpacked bytes of a 3MF, before anything is built from them."""
    count = 0
    if kind == "stl" and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little"):
        count = int.from_bytes(data[80:84], "little")
    elif kind == "stl":
        count = data.count(b"endfacet")
    elif kind == "obj":
        count = len(re.findall(rb"(?m)^\s*f\s", data))
    elif kind == "3mf":
        with zipfile.ZipFile(BytesIO(data)) as archive:
            size = sum(info.file_size for info in archive.infolist())
        if size > limits.max_bytes:
            raise TooMuch(
                f"the 3MF unpacks to {size / 1e6:.0f} MB", where=where, do="make it smaller"
            )
    if count > limits.max_facets:
        raise _too_many(count, limits, where)


_NO_NUMBER = re.compile(rb"(?im)^[ \t]*v(?:ertex)?[ \t][^\r\n]*(?:nan|inf)")
_FARTHEST = 1e12


def _check_numbers(data: bytes, kind: str, where: str) -> None:
    """Refuse corners that lie nowhere; the mesh library would leave their facets out unsaid."""
    if kind == "stl" and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little"):
        facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", 9), ("more", "<u2")])
        corners = np.frombuffer(data[84:], facet)["corners"]
        wrong = corners.size and not bool((np.abs(corners) < _FARTHEST).all())
    else:
        wrong = kind in ("stl", "obj") and _NO_NUMBER.search(data) is not None
    if wrong:
        raise InputProblem(
            "the mesh has coordinates that are no numbers", where=where, do="export it again"
        )


def _mm_per_unit(
    scene: Any, kind: str, options: FaceOptions, where: str
) -> tuple[float, list[Notice]]:
    stated = str(scene.units or "").lower().rstrip("s") if kind == "3mf" else ""
    own = _FILE_UNITS.get(stated)
    if options.unit is None:
        return (own or 1.0), []
    said = MM_PER_UNIT.get(options.unit.strip().lower())
    if said is None:
        raise UsageProblem(
            f"unit {options.unit!r} is not known", where=where, do="use mm, cm or in"
        )
    if own is None or math.isclose(own, said):
        return said, []
    text = f"the file says that its unit is the {stated}; read as {options.unit}, as you said"
    return said, [Notice("unit-conflict", text, where)]


def _check_extent(mesh: Any, limits: Limits, where: str) -> None:
    longest = float(mesh.extents.max())
    if longest > limits.max_side_mm:
        raise TooMuch(
            f"the part would be {longest:,.0f} mm long, beyond {limits.max_side_mm:g} mm",
            where=where,
            do="check the unit",
        )
    if longest < limits.min_side_mm:
        raise InputProblem(
            f"the part would be only {longest:.3g} mm long", where=where, do="check the unit"
        )


def unit_doubt(mesh: Any, options: FaceOptions, kind: str, where: str) -> list[Notice]:
    """A warning where a mesh without a unit has a size that suggests inches or metres."""
    longest = float(mesh.extents.max())
    if kind == "3mf" or options.unit is not None or longest >= 12:
        return []
    text = (
        f"the part is only {longest:.2f} mm long when read in mm; were it inches it would be "
        f"{longest * MM_PER_IN:.1f} mm: say the unit"
    )
    return [Notice("unit-doubtful", text, where)]


def healed(mesh: Any, where: str) -> list[Notice]:
    """Heal the mesh in place: doubled and empty facets, gaps under 0.001 mm, facets turned over.

    What cannot be healed is told: open edges and edges of more than two facets.
    """
    notices: list[Notice] = []
    before = len(mesh.faces)
    mesh.merge_vertices()
    if len(mesh.faces):
        mesh.update_faces(mesh.nondegenerate_faces(height=1e-9))
    if len(mesh.faces) < before:
        notices.append(_healed_notice(f"{before - len(mesh.faces)} empty facets left out", where))
    before = len(mesh.faces)
    mesh.update_faces(mesh.unique_faces())
    if len(mesh.faces) < before:
        notices.append(_healed_notice(f"{before - len(mesh.faces)} doubled facets left out", where))
    if len(mesh.faces) == 0:
        raise InputProblem("the mesh has no facets with an area", where=where, do="export it again")
    if not mesh.is_watertight:
        notices += _joined(mesh, where)
    notices += _turned(mesh, where)
    return notices


def _healed_notice(what: str, where: str) -> Notice:
    return Notice("mesh-healed", f"the mesh was healed: {what}", where, Severity.NOTE)


def _joined(mesh: Any, where: str) -> list[Notice]:
    """Corners within 0.001 mm made one, where that helps; what stays open is told."""
    trial = mesh.copy()
    _join_corners(trial)
    notices = []
    if _open_edges(trial) < _open_edges(mesh):
        _join_corners(mesh)
        notices.append(_healed_notice(f"gaps under {JOIN_MM:g} mm closed", where))
    left = _open_edges(mesh)
    if left:
        text = f"the mesh is not closed: {left} edges do not join two facets; check the outline"
        notices.append(Notice("mesh-open", text, where, numbers=(("edges", float(left)),)))
    return notices


def _join_corners(mesh: Any) -> None:
    """Every chain of corners nearer than ``JOIN_MM`` becomes its first corner, in place."""
    points = np.asarray(mesh.vertices)
    pairs = cKDTree(points).query_pairs(JOIN_MM, output_type="ndarray")
    if not len(pairs):
        return
    ones = np.ones(len(pairs))
    links = coo_matrix((ones, (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    _, group = connected_components(links, directed=False)
    _, first = np.unique(group, return_index=True)
    mesh.faces = first[group][np.asarray(mesh.faces)]
    mesh.update_faces(mesh.nondegenerate_faces(height=1e-9))
    mesh.update_faces(mesh.unique_faces())
    mesh.remove_unreferenced_vertices()


def _open_edges(mesh: Any) -> int:
    _, counts = np.unique(mesh.edges_sorted, axis=0, return_counts=True)
    return int((counts != 2).sum())


def _turned(mesh: Any, where: str) -> list[Notice]:
    """Facets turned so that all look outward, where that can be told."""
    repair: Any = trimesh.repair
    before = mesh.faces.copy()
    if not mesh.is_winding_consistent:
        repair.fix_winding(mesh)
    if mesh.is_watertight:
        repair.fix_inversion(mesh, multibody=True)
    elif mesh.volume < 0:
        mesh.invert()
    turned = int((before != mesh.faces).any(axis=1).sum())
    if not turned:
        return []
    return [
        _healed_notice(f"{turned} of {len(before)} facets looked inward and were turned", where)
    ]


def one_body(mesh: Any, body: int | None, where: str) -> Any:
    """The mesh, or one of its separate bodies counted from 1, largest first.

    Raises:
        UsageProblem: no such body.
    """
    if body is None:
        return mesh
    parts = sorted(mesh.split(only_watertight=False), key=lambda part: -float(part.area))
    if not 1 <= body <= len(parts):
        raise UsageProblem(f"there is no body {body}", where=where, do=f"there are {len(parts)}")
    return parts[body - 1]
