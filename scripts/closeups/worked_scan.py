"""A bench shape's scan as the steps before the close-ups leave it: light taken out of its texture, relief read from it."""

from __future__ import annotations

import ast
import hashlib
from pathlib import Path
from typing import Any

import numpy as np

import blender_addon.core.surface as surface_room
from blender_addon.core.closeups.placing.look import Skin, Texture
from blender_addon.core.closeups.seen import Form
from blender_addon.core.mesh.triangles import shading_normals
from blender_addon.core.surface.albedo.removal import without_light
from blender_addon.core.surface.relief.recovery import Photographed, recover
from blender_addon.core.surface.textured_surface import read_surface
from blender_addon.job.runner import finish
from scripts.truth.scanner import CACHE, truth_case

Floats = Any


def worked_skin(shape: str) -> Skin:
    """The skin of a shape's scan, bare under a window; from the cache or worked out now, a minute a shape."""
    case = truth_case(shape, "window", pigment="bare")
    path = CACHE / f"worked-{shape}-{_recipe(case.truth.digest())}.npz"
    if not path.exists():
        albedo, slopes = _worked(case)
        np.savez_compressed(path.with_suffix(".part.npz"), albedo=albedo.astype(np.float16), slopes=slopes.astype(np.float16))
        path.with_suffix(".part.npz").replace(path)
    with np.load(path) as kept:
        albedo, slopes = (kept[name].astype(np.float32) for name in ("albedo", "slopes"))
    vertices = case.scan.vertices.astype(float)
    form = Form(vertices, case.scan.faces, shading_normals(vertices, case.scan.faces))
    return Skin(form, texel_mm=case.mm_a_texel, texture=Texture(case.scan.uv, albedo, slopes))


def _worked(case: Any) -> tuple[Floats, Floats]:
    """(h, w, 3) albedo and slopes, as the steps albedo and relief make them."""
    from blender_addon.core.srgb import decode

    surface = read_surface(case.scan, np.ones(len(case.scan.faces), bool), height=case.size, width=case.size)
    colours = decode(case.texture.reshape(-1, 3)[surface.texels.index] / 255)
    found = finish(recover([Photographed(surface, colours)], largest_mm=3.0))
    slopes = found.strength * found.relief.slope if found.found else 0 * found.relief.slope
    shade = found.shaded * found.relief.shade if found.found else None
    albedo = without_light(surface, colours, relief=shade).albedo
    return surface.texels.scatter(albedo), surface.texels.scatter(slopes)


def _recipe(digest: str) -> str:
    """Of the truth and of the code that works on its scan."""
    total = hashlib.sha256(digest.encode())
    for path in sorted(Path(surface_room.__file__).parent.rglob("*.py")):
        total.update(ast.dump(ast.parse(path.read_text(encoding="utf-8"))).encode())
    return total.hexdigest()[:12]
