"""Makes the hero of a piece with the product's own steps: the picture as delivered, and which thing each pixel shows."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.job.sheet import JobSheet
from blender_addon.scene import compat, roles
from blender_addon.scene.delivery.output import Quality, cycles, render_picture
from blender_addon.scene.delivery.shot_state import dressed_for
from blender_addon.scene.dressing.set_parts import to_metres
from blender_addon.scene.meshes import make_object, read_mesh
from blender_addon.scene.nodes.builder import Tree
from blender_addon.scene.stage import Stage
from blender_addon.scene.temporary import changed
from blender_addon.steps.dressing import debris, lighting, tabletop
from blender_addon.steps.shots import camera
from blender_addon.steps.surface import material

from .._dressed import take
from ..likeness.studio import View, rendered

SIZE, SAMPLES = 240, 24
"""Longer side of the pictures, pixels, and their samples."""
BACKDROP, TABLE, PIECE, DEBRIS, FIRST_PROP = 1, 2, 3, 4, 10
"""What the pixels of the id pass say; 0 where nothing stands; each prop has a number of its own."""


def hero(
    name: str,
    mesh: TriangleMesh,
    place: int,
    folder: Path,
    *,
    size: int = SIZE,
    samples: int = SAMPLES,
    device: str = "cpu",
    **settings: dict[str, Any],
) -> None:
    """Dress and photograph one piece; place: its number in the series; settings: tables of them by step;
    device: as render.device.

    Leaves NAME.png, NAME.npz and NAME.json.
    """
    stage = dressed(name, mesh, place, settings)
    shot = stage.require("shot", "hero")
    width, height = shot["bozzetto_resolution"]
    pixels = (round(size * width / max(width, height)), round(size * height / max(width, height)))
    folder.mkdir(parents=True, exist_ok=True)
    with cycles(stage.scene, Quality(samples, 0.0), device=device, seed=1), dressed_for(stage, shot):
        render_picture(stage.scene, folder / f"{name}.png", camera=shot, size=pixels)
    ids, names = id_pass(stage, shot, pixels)
    np.savez_compressed(folder / f"{name}.npz", ids=ids)
    facts = {
        "name": name, "props": names, "boards": board_tones(stage),
        "height_mm": float(mesh.vertices[:, 2].max()),
    }  # fmt: skip
    (folder / f"{name}.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")


def dressed(name: str, mesh: TriangleMesh, place: int, settings: dict[str, dict[str, Any]]) -> Stage:
    """A scene with the piece, its shots, material, table, debris and light, as one of a series."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    stage = Stage(bpy.context.scene, JobSheet(name, Path(), {}, place=place))
    item = make_object("piece", to_metres(mesh))
    stage.scene.collection.objects.link(item)
    roles.mark(item, job=stage.job, step="separation", role="piece", key="")
    own: dict[str, dict[str, Any]] = {
        "camera": {"views": "few", "turntable": False},
        "material": {"recesses": False},
        "debris": {"count": 80, "powder": 0},
    }
    for module in (camera, material, tabletop, debris, lighting):
        step = module.__name__.rsplit(".", 1)[-1]
        take(stage, module, **(own.get(step, {}) | settings.get(step, {})))
    return stage


def id_pass(stage: Stage, shot: Any, size: tuple[int, int]) -> tuple[Any, dict[str, int]]:
    """(h, w) int, first row at the top: what each pixel shows, all of it sharp; and the number of each prop by its key."""
    props = {key: FIRST_PROP + place for place, key in enumerate(sorted(stage.find_all("prop")))}
    numbers = {"backdrop": BACKDROP, "table": TABLE, "piece": PIECE, "stand": PIECE, "debris": DEBRIS}
    for item in stage.scene.objects:
        role = item.get(roles.ROLE)
        item.pass_index = props[str(item[roles.KEY])] if role == "prop" else numbers.get(str(role), 0)
    scene, layer = stage.scene, stage.scene.view_layers[0]
    worn = _number_material()
    with cycles(scene, Quality(1, 0.0, denoise=False), device="cpu", seed=1), dressed_for(stage, shot):
        changes = [
            (layer, "material_override", worn), (shot.data.dof, "use_dof", False), (scene.cycles, "max_bounces", 0),
            (scene.render, "film_transparent", True), (scene.cycles, "filter_width", 0.01),
        ]  # fmt: skip
        with changed(changes):
            found = rendered(scene, shot, View("hero", size, (0.0, 0.0, 1.0, 1.0), 1.0))[::-1]
    return np.where(found[..., 3] > 0.5, np.rint(found[..., 0]), 0).astype(int), props


def _number_material() -> Any:
    """A material that shines with the number of the object that wears it."""
    worn = bpy.data.materials.new("number")
    nodes = compat.node_tree_of(worn)
    nodes.nodes.clear()
    tree = Tree(nodes)
    shine = tree.node("Emission", {"Color": (1.0, 1.0, 1.0, 1.0), "Strength": tree.node("ObjectInfo")["Object Index"]})
    tree.node("OutputMaterial", {"Surface": shine["Emission"]})
    return worn


def board_tones(stage: Stage) -> list[float]:
    """The tones drawn for the boards of the table, each once: the same ones say that boards were copied."""
    mesh = read_mesh(stage.require("table", ""), scale=1000.0)
    layer = mesh.colours.get("wood_board")
    return [] if layer is None else [float(tone) for tone in np.unique(np.round(np.asarray(layer, float)[:, 0], 4))]
