"""Are the pictures exposed as a photographer would: lights at the top, shadows open, a neutral ball neutral?

Our owl in a pale, a middling and a dark material (plaster, stoneware, bronze) in each built-in light, from its hero, and in
stoneware from its detail. `piece_p99` and `clipped_percent` (of the piece's pixels, any channel at its end) are read from the
picture as delivered, with finish and view transform; `face_p5_lightness` is the 5th percentile of L* on the face: of the hero
the upper 42 % of the outline, of the detail all of the piece, sockets included. A matt ball of 18 % takes the piece's place:
`neutral_lit_chroma` and `neutral_shadow_chroma` are C*ab of the mean colour of its lightest fifth and of its darkest quarter.
`outline_facet_px`: length on a picture of 4000 px of the edges that make the piece's outline, 95th percentile.

    python3 build.py bench tone [--cases soft,north_window/mid] [--size 3000] [--samples 20]

On two cores the thirteen pictures of 3000 px take about an hour, with --size 960 five minutes; a card is found by itself.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from blender_addon.core.colour import lab
from blender_addon.core.dressing.light_setups import SETUPS
from blender_addon.core.srgb import decode
from blender_addon.job import sheet as sheets
from blender_addon.job.runner import finish, run_job
from blender_addon.scene.delivery.output import Quality, cycles, render_picture
from blender_addon.scene.delivery.shot_state import dressed_for
from blender_addon.scene.dressing.lights import matt_material
from blender_addon.scene.surface.rendered_form import rendered_form
from blender_addon.steps import catalogue

from . import Options, Record
from .likeness.pieces import piece
from .likeness.studio import Studio, View

PIECES = {"pale": "plaster", "mid": "clay", "dark": "bronze"}
FACE = 0.42
"""Share of the owl's outline, from the top, that is its face and crown."""
BALL_MM = 20.0
LARGE = 4000


def run(record: Record, options: Options) -> None:
    """All set-ups that are wanted."""
    parser = argparse.ArgumentParser(prog="build.py bench tone")
    parser.add_argument("--size", type=int, default=3000, help="longer side, pixels")
    parser.add_argument("--samples", type=int, default=20)
    parser.add_argument("--device", default="auto", help="as render.device")
    asked = parser.parse_args(options.rest)
    if options.fast:
        asked.size, asked.samples = 480, 8
    studio = Studio(
        piece("owl", options.out), options.out, device=asked.device, settings=("tabletop.props=6", "debris.on=true")
    )
    facets(record, studio)
    for setup, *_ in SETUPS:
        if any(options.wants(f"{setup}/{name}") for name in (*PIECES, "ball")):
            _in_light(record, options, studio, setup, asked)


def _in_light(record: Record, options: Options, studio: Studio, setup: str, asked: argparse.Namespace) -> None:
    for name, kind in PIECES.items():
        if not options.wants(f"{setup}/{name}"):
            continue
        dress(studio, f"material.piece={kind}", f"lighting.setup={setup}")
        for shot in ("hero", "detail") if name == "mid" else ("hero",):
            path = options.out / f"{setup}_{name}_{shot}.png"
            picture = photographed(studio, shot, path, size=asked.size, samples=asked.samples)
            _of_piece(record, picture, outlined(studio, shot, asked.size), f"{setup}/{name}", shot)
    if options.wants(f"{setup}/ball"):
        dress(studio, "material.piece=clay", f"lighting.setup={setup}")
        lit, shadow = ball_colours(studio, options.out / f"{setup}_ball.png")
        record.add("neutral_lit_chroma", float(np.hypot(*lit[1:])), case=setup, goal="<= 3")
        record.add("neutral_shadow_chroma", float(np.hypot(*shadow[1:])), case=setup, goal="<= 8")


def _of_piece(record: Record, picture: Any, mask: Any, case: str, shot: str) -> None:
    rows = np.flatnonzero(mask.any(axis=1))
    face = mask.copy()
    if shot == "hero":
        face[rows[0] + round(FACE * (rows[-1] - rows[0])) :] = False
    dark = float(np.percentile(lab(decode(picture[face] / 255.0))[:, 0], 5))
    record.add("face_p5_lightness", dark, case=f"{case}/{shot}", unit="L*", goal=">= 12")
    bright = picture[mask].mean(axis=-1)
    record.add("piece_p50", float(np.percentile(bright, 50)), case=f"{case}/{shot}", unit="of 255")
    top = float(np.percentile(bright, 99))
    record.add("piece_p99", top, case=f"{case}/{shot}", unit="of 255", floor=">= 215" if shot == "hero" else "", goal="<= 245")
    ended = 100.0 * float((picture[mask] >= 254.5).any(axis=-1).mean())
    record.add("clipped_percent", ended, case=f"{case}/{shot}", unit="%", goal="<= 0.1")


def dress(studio: Studio, *settings: str) -> None:
    """Make material and light again by these settings."""
    stage, steps = studio.stage, catalogue()
    for setting in settings:
        sheets.override(stage.sheet, setting)
    finish(run_job([step for step in steps if step.name in ("material", "lighting")], steps, stage.sheet, stage))


def photographed(studio: Studio, shot: str, path: Path, *, size: int, samples: int) -> Any:
    """(h, w, 3) codes of a still as it is delivered, first row at the top."""
    from PIL import Image

    scene, camera = studio.stage.scene, studio.stage.require("shot", shot)
    wanted, items = studio.size(shot, size), [studio.stage.require("piece")]
    with cycles(scene, Quality(samples, 0.1), device=studio.device, seed=1), dressed_for(studio.stage, camera):
        with rendered_form(items, camera, wanted):
            render_picture(scene, path, camera=camera, size=wanted)
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"), float)


def outlined(studio: Studio, shot: str, size: int) -> Any:
    """(h, w) bool, first row at the top: the piece's pixels, drawn in by a thousandth of the width for its soft rim."""
    view = View(shot, studio.size(shot, size), (0.0, 0.0, 1.0, 1.0), studio.pixel_mm(shot, size))
    from .likeness.measures import shrunk

    return shrunk(studio.outline("ours", view)[::-1], max(1, size // 1000))


def ball_colours(studio: Studio, path: Path) -> tuple[Any, Any]:
    """L*, a*, b* of the mean light and shadow of a matt ball in the piece's place, seen from the hero without its lens."""
    from PIL import Image

    stage, scene = studio.stage, studio.stage.scene
    hero = stage.require("shot", "hero")
    hidden = stage.subject()
    centre = sum((Vector(corner) for corner in stage.require("piece").bound_box), Vector()) / 8
    mesh = bpy.data.meshes.new("ball")
    ball, eye = bpy.data.objects.new("ball", mesh), bpy.data.objects.new("eye", bpy.data.cameras.new("eye"))
    _sphere(mesh, BALL_MM / 1000.0)
    mesh.materials.append(matt_material("ball", (0.18,) * 3))
    eye.data.type, eye.data.ortho_scale, eye.data.clip_start = "ORTHO", 2.1 * BALL_MM / 1000.0, 1e-4
    turn = hero.matrix_world.to_3x3().normalized()
    eye.matrix_world = Matrix.Translation(centre + 0.2 * turn.col[2]) @ turn.to_4x4()
    ball.location = centre
    for item in (ball, eye):
        scene.collection.objects.link(item)
    kept = [(item, item.hide_render) for item in hidden]
    try:
        for item in hidden:
            item.hide_render = True
        with cycles(scene, Quality(64, 0.0), device=studio.device, seed=1), dressed_for(stage, hero):
            scene.render.use_compositing = False
            render_picture(scene, path, camera=eye, size=(160, 160))
    finally:
        for item, was in kept:
            item.hide_render = was
        for item in (ball, eye):
            bpy.data.objects.remove(item)
    with Image.open(path) as picture:
        return shaded(lab(decode(np.asarray(picture.convert("RGB"), float) / 255.0)))


def shaded(seen: Any) -> tuple[Any, Any]:
    """The mean L*, a*, b* of the lightest fifth and of the darkest quarter of a ball that fills a picture (h, w, 3)."""
    down, across = np.mgrid[: seen.shape[0], : seen.shape[1]] + 0.5
    inside = np.hypot(down - seen.shape[0] / 2, across - seen.shape[1] / 2) < 0.44 * seen.shape[1]
    values = seen[inside]
    light = values[:, 0]
    return values[light >= np.quantile(light, 0.8)].mean(axis=0), values[light <= np.quantile(light, 0.25)].mean(axis=0)


def _sphere(mesh: Any, radius: float) -> None:
    import bmesh

    shape = bmesh.new()
    bmesh.ops.create_uvsphere(shape, u_segments=96, v_segments=48, radius=radius)
    shape.to_mesh(mesh)
    shape.free()
    mesh.polygons.foreach_set("use_smooth", [True] * len(mesh.polygons))


# --- facets ----------------------------------------------------------------------------------------------------------------


def facets(record: Record, studio: Studio) -> None:
    """The lengths of what makes the outline of the piece, as it is rendered, from the hero."""
    camera = studio.stage.require("shot", "hero")
    item = studio.stage.require("piece")
    with rendered_form([item], camera, studio.size("hero", LARGE)):
        points, faces = as_rendered(item)
    away = np.array(camera.matrix_world.translation)
    lengths = outline_lengths(points, faces, away) * 1000.0 / studio.pixel_mm("hero", LARGE)
    record.add("outline_facet_px", float(np.percentile(lengths, 95)), case="owl/hero", unit="px", goal="<= 6")


def as_rendered(item: Any) -> tuple[Any, Any]:
    """Vertices (n, 3) and triangles (m, 3) of an object with the modifiers that are on when it is rendered."""
    kept = [(modifier, modifier.show_viewport) for modifier in item.modifiers]
    try:
        for modifier in item.modifiers:
            modifier.show_viewport = modifier.show_render
        graph = bpy.context.evaluated_depsgraph_get()
        graph.update()
        mesh = item.evaluated_get(graph).to_mesh()
        mesh.calc_loop_triangles()
        points, faces = np.zeros(3 * len(mesh.vertices), np.float32), np.zeros(3 * len(mesh.loop_triangles), np.int32)
        mesh.vertices.foreach_get("co", points)
        mesh.loop_triangles.foreach_get("vertices", faces)
        return points.reshape(-1, 3), faces.reshape(-1, 3)
    finally:
        for modifier, was in kept:
            modifier.show_viewport = was


def outline_lengths(points: Any, faces: Any, eye: Any) -> Any:
    """(k,) lengths across the line of sight of the edges between a face that looks at the eye and one that looks away."""
    corners = points[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    ahead = np.einsum("ij,ij->i", normal, eye - corners[:, 0]) > 0
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1).astype(np.int64)
    keys = pairs[:, 0] * len(points) + pairs[:, 1]
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    owner = np.tile(ahead, 3)[order]
    edge = pairs[order][1:][same & (owner[1:] != owner[:-1])]
    middle = points[edge].mean(axis=1)
    sight = (middle - eye) / np.linalg.norm(middle - eye, axis=1, keepdims=True)
    way = points[edge[:, 1]] - points[edge[:, 0]]
    return np.linalg.norm(way - np.einsum("ij,ij->i", way, sight)[:, None] * sight, axis=1)
