"""Materials of the user's photographs on the set: at true size in mm on a table, or by the UVs of a backdrop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..images import opened
from ..meshes import MM
from ..nodes.builder import Tree, make_group
from .set_materials import material_of

if TYPE_CHECKING:
    import bpy


def photograph(path: Path, what: str) -> bpy.types.Image:
    """Load a picture and pack it. Raises InputError, naming `what` it is for, where it can't be read."""
    image = opened(path, f'{what} "{path.name}"', "is no picture", "as PNG or JPEG")
    image.pack()
    return image


def height_over_width(image: bpy.types.Image) -> float:
    """Height over width of an image."""
    return image.size[1] / max(image.size[0], 1)


def photo_material(name: str, image: bpy.types.Image, *, width_mm: float | None = None) -> bpy.types.Material:
    """A matt material with a picture, repeated every `width_mm` with alternate mirroring; without a width once by the UVs, and
    as light as in the picture whatever light falls on it, times the object's colour: far behind it would be dark."""

    def build(tree: Tree) -> None:
        if width_mm is None:
            place = tree.node("TexCoord")["UV"]
        else:
            across, up = MM / width_mm, MM / (width_mm * height_over_width(image))
            place = tree.vector("MULTIPLY_ADD", tree.node("TexCoord")["Object"], (across, up, 0.0), (0.5, 0.5, 0.0))
        extension = "EXTEND" if width_mm is None else "MIRROR"
        picture = tree.node("TexImage", {"Vector": place}, image=image, interpolation="Cubic", extension=extension)
        if width_mm is None:
            light = tree.toned(picture["Color"])
            tree.output("Shader", "shader", tree.node("Emission", {"Color": light, "Strength": 1.0})["Emission"])
            return
        finish = {"Base Color": picture["Color"], "Roughness": 0.6, "Specular IOR Level": 0.3}
        tree.output("Shader", "shader", tree.node("BsdfPrincipled", finish)["BSDF"])

    return material_of(name, make_group(name, build))
