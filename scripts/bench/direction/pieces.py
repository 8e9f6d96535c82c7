"""Which twelve pieces does the series show? Six made up, six labelled scans, of the sizes that lie on such benches."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh

from ..decisions import standing_scans as scans

MOST_FACES = 60_000
"""Faces that a scan is thinned to: outlines and masks of 240 pixels show no more."""


@dataclass(frozen=True)
class SeriesPiece:
    """A piece of the series: its name, the made-up figure or the scan's folder that it comes from, its longest side, mm."""

    name: str
    source: str
    made_up: bool
    size_mm: float


SERIES = (
    SeriesPiece("person", "person_disc", True, 84.0),
    SeriesPiece("bust", "bust_socle", True, 110.0),
    SeriesPiece("sitting cat", "cat", True, 74.0),
    SeriesPiece("bird", "bird_rock", True, 66.0),
    SeriesPiece("elephant", "elephant", True, 96.0),
    SeriesPiece("jug", "jug", True, 150.0),
    SeriesPiece("koala", "koala", False, 90.0),
    SeriesPiece("skull", "skull", False, 120.0),
    SeriesPiece("lion", "lion", False, 140.0),
    SeriesPiece("eagle", "eagle", False, 180.0),
    SeriesPiece("nefertiti", "nefertiti", False, 320.0),
    SeriesPiece("dancer", "dancer", False, 200.0),
)


def mesh_of(piece: SeriesPiece) -> TriangleMesh:
    """The piece in mm, upright on z = 0, its front towards -Y, its longest side as the series says."""
    if piece.made_up:
        from scripts.truth.pieces.figures import figures, scanned

        mesh = scanned(next(figure for figure in figures() if figure.name == piece.source))
    else:
        found = next(scan for scan in scans.labelled_scans() if scan.name == piece.source)
        mesh = _imported(found)
    points = np.asarray(mesh.vertices, float)
    points = points - [*(0.5 * (points.min(axis=0) + points.max(axis=0)))[:2], points[:, 2].min()]
    return replace(mesh, vertices=points * (piece.size_mm / float(np.ptp(points, axis=0).max())))


def _imported(scan: scans.LabelledScan) -> TriangleMesh:
    """A scan's triangles without its textures, turned as its label says; thinned where it is very fine."""
    import bpy

    before = set(bpy.data.objects)
    suffix, path = scan.path.suffix.lower(), str(scan.path)
    read: dict[str, Any] = {
        ".obj": bpy.ops.wm.obj_import, ".ply": bpy.ops.wm.ply_import, ".fbx": bpy.ops.import_scene.fbx,
        ".glb": bpy.ops.import_scene.gltf,
    }  # fmt: skip
    read[suffix](filepath=path)
    items = [item for item in bpy.data.objects if item not in before]
    vertices, faces, first = [], [], 0
    for item in items:
        if item.type != "MESH":
            continue
        if len(item.data.polygons) > MOST_FACES:
            item.modifiers.new("thin", "DECIMATE").ratio = MOST_FACES / len(item.data.polygons)
        shown = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
        mesh = shown.to_mesh()
        mesh.calc_loop_triangles()
        points = np.zeros(3 * len(mesh.vertices), np.float32)
        corners = np.zeros(3 * len(mesh.loop_triangles), np.int32)
        mesh.vertices.foreach_get("co", points)
        mesh.loop_triangles.foreach_get("vertices", corners)
        matrix = np.array(item.matrix_world, float)
        vertices.append(points.reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3])
        faces.append(corners.reshape(-1, 3) + first)
        first += len(vertices[-1])
        shown.to_mesh_clear()
    for item in items:
        bpy.data.objects.remove(item)
    turn = scans.labelled_turn(scan.label, scans.Pose())
    points, place = np.unique(np.round(np.concatenate(vertices) @ turn.T, 7), axis=0, return_inverse=True)  # seams welded
    welded = place.reshape(-1)[np.concatenate(faces)]
    whole = (welded != np.roll(welded, 1, axis=1)).all(axis=1)
    return TriangleMesh(points, welded[whole])
