"""Joins the mesh, removes what is not the piece, fills holes and open undersides, and reduces very dense meshes."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.mesh import holes
from ...core.mesh.clipping import cropped
from ...core.mesh.rims import oriented
from ...core.mesh.spikes import in_their_plane, settled_among_neighbours, steady_vertices, unfolded
from ...core.mesh.topology import degenerate_faces, submesh, welded
from ...core.mesh.triangles import TriangleMesh, face_areas, signed_volume
from ...core.scan.loose import NEAR, parts
from ...core.scan.quality.measuring import measured
from ...core.scan.quality.verdict import complaints
from ...core.scan.table import find_table, is_bare, without_table
from ...job.decisions import Decision
from ...job.errors import SubjectError
from ...job.files.aside import aside
from ...job.notes import several
from ...job.step import Progress, Result, Run
from ...scene.meshes import make_object, read_mesh
from ...scene.scan import scan_quality
from ...scene.scan.decimation import THINNED_FROM, decimated
from ...scene.scan.questions.cleanup_choices import loose_decision, pieces_decision, table_decision
from ...scene.scan.rim_colour import usual_place
from ...scene.scan.tessellate import tessellate
from ...scene.stage import Stage
from ...scene.thumbnails import Paint, paint_of
from .declared.cleanup import Settings

if TYPE_CHECKING:
    import bpy

    from ...core.mesh.holes import Rim

FEWEST = 4
"""The fewest triangles of a closed body."""
MOST_LOOSE_PERCENT = 90.0
"""Share of the surface in loose pieces beyond which there is no main part (a guess, far beyond the dirt of any scan)."""
MOST_WITH_MAP, MOST_WITHOUT_MAP = 500_000, 2_000_000
"""Triangles that are kept of a scan with UVs, whose relief map keeps the fine form of the others, and of a first scan that
has none. The true owl of the demo, 1.4 million triangles without UVs, loses 1.6 degrees of its normals (median; a tenth of them
4.7 and more) when it is thinned to the first, and takes half as long again by the second before anything is rendered."""
NEAR_ON_TABLE = 0.02
"""Gap over diagonal within which a large part belongs to the piece after the table was removed; targets and boxes are farther
away."""
KEPT_PROPERTIES = ("bozzetto_scan_role", "bozzetto_file", "bozzetto_unit_known", "bozzetto_mm_per_unit")


def run(stage: Stage, settings: Settings) -> Run:
    """Clean every scan; the step's result is that of the first."""
    first = _Findings()
    scans = list(stage.find_all("scan"))
    for place, key in enumerate(scans):
        findings = _Findings()
        for progress in _cleaned(stage, settings, key, findings):
            yield Progress((place + progress.fraction) / len(scans), progress.words, progress.blocking)
        if place == 0:
            first = findings
        else:
            first.figures.update({f"{name}_{key}": value for name, value in findings.figures.items()})
    return Result("; ".join(first.said), first.figures, tuple(first.decisions))


@dataclass
class _Findings:
    """The results of cleaning one scan: sentences, figures, decisions."""

    said: list[str] = field(default_factory=list)
    figures: dict[str, Any] = field(default_factory=dict)
    decisions: list[Decision] = field(default_factory=list)


def _cleaned(stage: Stage, settings: Settings, key: str, findings: _Findings) -> Generator[Progress, None, None]:
    scan = stage.require("scan", key)
    yield Progress(0.05, f"Welding scan {key}")
    raw, file = read_mesh(scan), scan["bozzetto_file"]
    welding = Progress(0.08, f"Welding scan {key}")
    mesh = yield from aside(partial(welded, raw), welding)
    findings.figures |= {"triangles_before": len(raw.faces), "welded_vertices": len(raw.vertices) - len(mesh.vertices)}
    bad = yield from aside(partial(degenerate_faces, mesh), welding)
    mesh = yield from aside(partial(submesh, mesh, ~bad), welding)
    _refuse_lines(mesh, file)
    findings.figures["degenerate_faces"] = int(bad.sum())
    mesh, findings.figures["turned_faces"] = yield from aside(partial(oriented, mesh), welding)
    mesh = _cropped(mesh, settings, findings)
    if settings.spikes:
        mesh = yield from aside(partial(_without_spikes, mesh, findings), Progress(0.15, f"Looking for spikes in scan {key}"))
    loose = Progress(0.2, f"Looking for loose pieces in scan {key}")
    yield loose
    paint = paint_of(stage.require("scan", key))
    mesh = yield from aside(partial(_without_loose, paint, mesh, settings, findings, near=NEAR), loose)
    _refuse_crumbs(file, findings.figures)
    if settings.table:
        whole, mesh = mesh, (yield from _without_table(stage, key, mesh, paint, findings))
        if mesh is not whole:  # objects that stood beside the piece are now loose
            again = partial(_without_loose, paint, mesh, settings, findings, near=NEAR_ON_TABLE)
            mesh = yield from aside(again, loose)
    if key == "1":
        yield from _judged(stage, stage.require("scan", key), mesh, findings)
    if settings.fill_holes:
        yield Progress(0.4, f"Filling holes of scan {key}")
        materials = [slot.material for slot in stage.require("scan", key).material_slots]
        filling = Progress(0.45, f"Filling holes of scan {key}")
        anchor = usual_place(mesh, materials)
        mesh = yield from aside(partial(_closed, stage, mesh, anchor, findings), filling)
    turning = Progress(0.55, f"Turning the faces of scan {key} outwards")
    mesh = yield from aside(lambda: _outward(holes.marked(mesh), findings), turning)
    _tell_turned(stage, key, findings)
    before = len(mesh.faces)
    most = _most_triangles(settings, key, mesh)
    if before > most:
        yield Progress(0.6, f"Thinning {before:,} triangles to {most:,}", blocking=True)
        mesh = decimated(mesh, most)
        yield Progress(0.9, f"Storing scan {key}")
        findings.said.append(f"thinned from {before:,} to {len(mesh.faces):,} triangles")
    findings.figures["triangles"] = len(mesh.faces)
    scan = stage.require("scan", key)
    materials = [slot.material for slot in scan.material_slots]
    name = f"Clean {key}"
    item = make_object(name, mesh, materials=materials)
    for title in KEPT_PROPERTIES:
        if title in scan:
            item[title] = scan[title]
    item.hide_render = item.hide_viewport = True
    if len(mesh.faces) < before:
        item[THINNED_FROM] = before
    item["bozzetto_spikes_percent"] = findings.figures.get("spikes_percent", 0.0)
    stage.offer("clean", item, key=key, name=name)
    findings.said.insert(0, f"{len(mesh.faces):,} triangles")
    yield Progress(1.0, f"Scan {key} is clean")


def _which(stage: Stage, key: str) -> str:
    """A scan by the name of its file, to begin a sentence with."""
    return f'The scan "{stage.require("scan", key)["bozzetto_file"]}"'


def _tell_turned(stage: Stage, key: str, findings: _Findings) -> None:
    """Warn that a scan may be mirrored whose faces all looked inwards."""
    if findings.figures["turned_outward"]:
        stage.warn(
            f"{_which(stage, key)} was inside out: all its faces looked inwards, and were turned. Either they were written the "
            "wrong way round, which does no harm, or the scan is mirrored, left for right: compare lettering or the hands with "
            "the real piece. A mirrored scan stays so here; export it again without the mirroring"
        )


def _judged(stage: Stage, scan: bpy.types.Object, mesh: TriangleMesh, findings: _Findings) -> Generator[Progress, None, None]:
    """Warn where the main scan is not good enough for the requested pictures, with what helps."""
    length, pixels = scan_quality.length_of(scan, mesh, stage.sheet), scan_quality.asked_pixels(stage.sheet)
    picture = scan_quality.picture_of_scan(scan) if mesh.uv is not None else lambda: None
    words = "Looking whether the scan is good enough for the pictures"
    found = yield from aside(lambda: measured(mesh, picture(), length, pixels), Progress(0.35, words))
    known = {name: round(value, 3) for name, value in vars(found).items() if value == value}
    findings.figures["scan_quality"] = [f"{name} {value}" for name, value in known.items()]
    for complaint in complaints(found):
        stage.warn(complaint.words)


def _refuse_crumbs(file: str, figures: dict[str, Any]) -> None:
    """Refuse a mesh that consists of loose bits, such as triangles that share no vertices."""
    gone = float(figures.get("loose_area_percent", 0.0))
    if gone > MOST_LOOSE_PERCENT:
        raise SubjectError(
            f'The scan "{file}" is {figures["loose_pieces"] + figures["parts_kept"]:,} loose pieces that are not connected: '
            f"without the small ones {100.0 - gone:.2g} % of its surface would be left. Export it again as one welded mesh, or "
            "set cleanup.loose = 0 to keep them all"
        )


def _most_triangles(settings: Settings, key: str, mesh: TriangleMesh) -> int:
    """How many triangles of a scan are kept: as set, else by whether a map can keep what the others hold."""
    if settings.budget is not None:
        return settings.budget
    return MOST_WITHOUT_MAP if mesh.uv is None and key == "1" else MOST_WITH_MAP


def _refuse_lines(mesh: TriangleMesh, file: str) -> None:
    """Refuse a mesh that has no surface, or is as thin as a line, which can't be framed, lit or focused on."""
    if not len(mesh.faces):
        raise SubjectError(f'The scan "{file}" has no face with an area; export it again')
    if len(mesh.faces) < FEWEST:
        few = f"only {len(mesh.faces)} triangles with an area, too few for a thing"
        raise SubjectError(f'The scan "{file}" has {few}; export it again')
    middle = mesh.vertices.astype(float) - mesh.vertices.mean(axis=0, dtype=float)
    spread = np.linalg.eigvalsh(middle.T @ middle)
    if spread[1] < 1e-8 * spread[2]:
        raise SubjectError(f'The scan "{file}" is as thin as a line; export it again, with the same scale along all three axes')


def _outward(mesh: TriangleMesh, findings: _Findings) -> TriangleMesh:
    """The mesh with its faces turned outwards; it is inside out if its signed volume, with rims closed, is negative. A shell
    that is open as widely as it is large, as a bowl or a relief seen from one side is, has no inside: the file counts."""
    rims = holes.rims(mesh)
    volume = signed_volume(*holes.fans(mesh, rims)) if all(holes.closable(mesh, rim) for rim in rims) else 0.0
    area = float(face_areas(np.asarray(mesh.vertices, float), mesh.faces).sum())
    inside_out = volume < -1e-3 * max(float(np.prod(np.maximum(mesh.size, 1e-30))), area**1.5)  # an open sheet has no inside
    findings.figures["turned_outward"] = inside_out or bool(findings.figures.get("turned_outward"))
    if not inside_out:
        return mesh
    findings.said.append("it was inside out, and its faces have been turned")
    return replace(mesh, faces=mesh.faces[:, ::-1], uv=None if mesh.uv is None else mesh.uv[:, ::-1])


def _cropped(mesh: TriangleMesh, settings: Settings, findings: _Findings) -> TriangleMesh:
    if settings.crop_low is None and settings.crop_high is None:
        return mesh
    low = np.array(settings.crop_low if settings.crop_low is not None else [-np.inf] * 3)
    high = np.array(settings.crop_high if settings.crop_high is not None else [np.inf] * 3)
    if not (low < high).all():
        raise SubjectError("The crop box is inside out: each number of crop_low must be below that of crop_high")
    inside = cropped(mesh, np.nan_to_num(low, neginf=-1e30), np.nan_to_num(high, posinf=1e30))
    if not len(inside.faces):
        raise SubjectError("Nothing of the scan lies in the crop box: check its corners, which are in the scan's own units")
    findings.figures["cropped_faces"] = len(mesh.faces) - len(inside.faces)
    findings.said.append("cropped to the box")
    return inside


def _without_spikes(mesh: TriangleMesh, findings: _Findings) -> TriangleMesh:
    good = steady_vertices(mesh) | in_their_plane(mesh)
    findings.figures["spikes"] = int((~good).sum())
    findings.figures["spikes_percent"] = round(100.0 * findings.figures["spikes"] / max(len(good), 1), 3)
    if not good.all():
        findings.said.append(f"{findings.figures['spikes']:,} spikes taken back")
        mesh = settled_among_neighbours(mesh, ~good)
    mesh, findings.figures["folded_faces"] = unfolded(mesh)
    if findings.figures["folded_faces"]:
        findings.said.append(f"{findings.figures['folded_faces']:,} triangles that were folded over laid flat")
    return mesh


def _without_table(
    stage: Stage, key: str, mesh: TriangleMesh, paint: Paint, findings: _Findings
) -> Generator[Progress, None, TriangleMesh]:
    looking = Progress(0.3, f"Looking for a table in scan {key}")
    found = yield from aside(partial(find_table, mesh), looking)
    if found is not None:  # the underside of a scan that is inside out looks like a table
        mesh = yield from aside(partial(_outward, mesh, findings), looking)
        if findings.figures["turned_outward"]:
            found = yield from aside(partial(find_table, mesh), looking)
    findings.figures["table_percent"] = round(100.0 * found.share, 2) if found else 0.0
    if found is None:
        a_stand = stage.require("scan", key).get("bozzetto_scan_role") == "stand"
        if not a_stand and (yield from aside(partial(is_bare, mesh), looking)):
            findings.figures["bare"] = True
            stage.warn(
                f"{_which(stage, key)} is level and has nothing on it, as a table or a slab alone has: is there a piece in it "
                "at all? If there should be one, choose another file; a given height is taken as that of what is there"
            )
        return mesh
    findings.decisions.append((yield from aside(partial(table_decision, paint, mesh, found), looking)))
    findings.said.append(f"the table it stood on cut away ({100.0 * found.share:.0f} % of the surface)")
    return (yield from aside(partial(without_table, mesh, found), looking))


def _without_loose(paint: Paint, mesh: TriangleMesh, settings: Settings, findings: _Findings, *, near: float) -> TriangleMesh:
    found = parts(mesh, small_percent=settings.loose, near=near)
    findings.decisions = [decision for decision in findings.decisions if decision.key not in ("loose", "pieces")]
    several = pieces_decision(paint, mesh, found)
    if several is not None:
        findings.decisions.append(several)
    gone = int((~found.keep).sum())
    findings.figures["loose_pieces"] = findings.figures.get("loose_pieces", 0) + gone
    findings.figures["parts_kept"] = int(found.keep.sum())
    if gone or found.unsure.any():
        findings.decisions.append(loose_decision(paint, mesh, found, settings.loose))
    if not gone:
        return mesh
    share = 100.0 * found.areas[~found.keep].sum() / found.areas.sum()
    findings.figures["loose_area_percent"] = round(float(share), 3)
    findings.said.append(f"{gone} loose piece{'s' if gone > 1 else ''} dropped ({share:.2g} % of the surface)")
    return submesh(mesh, found.keep_faces)


def _closed(stage: Stage, mesh: TriangleMesh, anchor: Callable[[Rim], int] | None, findings: _Findings) -> TriangleMesh:
    opened = holes.openings(mesh)
    open_rims = list(opened.rims)
    safe = [rim for rim in open_rims if holes.closable(mesh, rim)]
    diagonal = float(np.linalg.norm(mesh.size))
    mesh = holes.closed(mesh, safe, tessellate, anchor=anchor, small=0.15 * diagonal)
    findings.figures |= {
        "holes_closed": len(safe), "holes_left": len(open_rims) - len(safe), "rims_bridged": opened.bridged,
        "open_edges_left": opened.left_edges,
    }  # fmt: skip
    if safe:
        filled = int(mesh.face_marks[holes.FILLED].sum())
        findings.figures["filled_faces"] = filled
        findings.said.append(f"{len(safe)} hole{'s' if len(safe) > 1 else ''} filled and marked as such")
    if len(open_rims) > len(safe):
        stage.warn(f"{several(len(open_rims) - len(safe), 'opening')} as large as the surface round them left open")
    if opened.left_edges:
        stage.note(f"{several(opened.left_edges, 'open edge')} in no closed rim, so what lies along them stays open")
    return mesh
