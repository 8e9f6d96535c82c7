"""Photographs of a whole bench shape on a table in a room that its scan was not made in, as a phone takes them."""

from __future__ import annotations

import ast
import hashlib
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene import meshes
from scripts.truth.light import lights
from scripts.truth.light.cycles_bake import surround
from scripts.truth.scanner import CACHE, baked_shape

from .phone import Picture, developed
from .placed import Placed, bent, keep, random_camera
from .render import Lens, Studio

Floats = Any
ROOMS = {"window": 5, "lamps": 3, "overcast": 2}
"""Rooms of `scripts/truth/light/lights.py` and their seeds; the scans are made under the window of seed 0."""
SAMPLES = 48
TABLE, TABLE_MM = (0.36, 0.30, 0.24), 400.0
"""Albedo of the table, a light wood, and half its side."""
BALANCED = 0.8
"""Share of the light's colour that the phone's white balance takes away: common practice is most of it, not all."""


def reference_photo(shape: str, room: str) -> Placed:
    """The photo of a shape in one of ROOMS; from the cache or rendered now, half a minute."""
    truth = baked_shape(shape).truth
    rng = np.random.default_rng((17, list(ROOMS).index(room)))
    camera = random_camera(truth, rng, whole=True)
    path = CACHE / f"reference-{shape}-{room}-{_recipe(truth.digest())}.npz"
    if not path.exists():
        studio = _Room(truth)
        studio.look(camera, Lens(0.0, 100.0))
        hit = np.linalg.norm(studio.normals(samples=1), axis=2) > 0.5
        keep(path, studio.lit(room, float(truth.vertices[:, 2].min())), hit)
    with np.load(path) as kept:
        light, hit = kept["light"].astype(np.float32), kept["hit"]
    colour = light[~hit].mean(axis=0) / TABLE  # what lies on the table is known only roughly, as to a phone
    light = bent(light / (colour / colour.mean()) ** BALANCED, camera)
    exposure = 0.75 / float(np.quantile(light[hit], 0.99))
    return Placed(developed(light, Picture(blur=0.5), exposure=exposure, seed=list(ROOMS).index(room)), camera)


class _Room(Studio):
    """The shape on a table in a room."""

    def lit(self, room: str, floor: float) -> Floats:
        """(h, w, 3) linear light, row 0 at the top. floor: height of the table's top, mm."""
        side = 0.001 * TABLE_MM
        corners = np.array([[-side, -side, 0], [side, -side, 0], [side, side, 0], [-side, side, 0]])
        corners += (0, 0, 0.001 * floor - 2e-5)
        colours = {"albedo": np.array([[*TABLE, 1.0]] * 4, np.float32)}
        table = TriangleMesh(corners.astype(np.float32), np.array([[0, 1, 2], [0, 2, 3]], np.int32), colours=colours)
        self.scene.collection.objects.link(meshes.make_object("table", table, materials=[self.shown]))
        self.lamp.hide_render = True
        surround(self.scene, lights.light(room, ROOMS[room]))
        return self._rendered(SAMPLES)


def _recipe(digest: str) -> str:
    total = hashlib.sha256(f"{SAMPLES} {TABLE} {ROOMS} {digest}".encode())
    for name, wanted in (("reference", ("_Room",)), ("placed", ("random_camera",)), ("render", ("Studio", "_matt"))):
        tree = ast.parse(Path(__file__).with_name(f"{name}.py").read_text(encoding="utf-8"))
        parts = [part for part in tree.body if getattr(part, "name", "") in wanted]
        total.update("".join(ast.dump(part) for part in parts).encode())
    return total.hexdigest()[:12]
