"""Makes targets for checking light and colour: the 24-patch chart with its published values, a grey and a mirror ball."""

from __future__ import annotations

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.dressing.exposure import GREY
from ...core.surface.colour_card import CARD, CHART
from .. import compat
from ..meshes import MM
from ..nodes.builder import Tree
from .lights import facing, matt_material

PATCH = "patch"
BALL_MM, PATCH_MM = 18.0, 7.0
"""Diameter of a ball and side of a patch: small enough to stand beside a piece."""


def chart_object(name: str, patch_mm: float) -> bpy.types.Object:
    """The chart: 6 x 4 matt patches, facing along its own -Z, with dark skin at the top left."""
    vertices: list[tuple[float, float, float]] = []
    faces, colours = [], []
    for place, colour in enumerate(np.clip(CHART, 0.0, 1.0)):
        row, column = divmod(place, CARD.columns)
        left, top = 0.5 * CARD.columns - column, 0.5 * CARD.rows - row
        corners = [(left, top), (left - 1, top), (left - 1, top - 1), (left, top - 1)]
        faces.append(tuple(range(len(vertices), len(vertices) + 4)))
        vertices += [(x * patch_mm / MM, y * patch_mm / MM, 0.0) for x, y in corners]
        colours += [(*map(float, colour), 1.0)] * 4
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices, [], faces)
    layer = mesh.color_attributes.new(PATCH, "FLOAT_COLOR", "POINT")
    layer.data.foreach_set("color", np.array(colours, np.float32).ravel())
    mesh.materials.append(_chart_material())
    return bpy.data.objects.new(name, mesh)


def _chart_material() -> bpy.types.Material:
    material = bpy.data.materials.new("Colour chart")
    node_tree = compat.node_tree_of(material)
    node_tree.nodes.clear()
    tree = Tree(node_tree)
    patch = tree.node("Attribute", attribute_name=PATCH, attribute_type="GEOMETRY")["Color"]
    front = tree.node("NewGeometry")["Backfacing"]  # the chart faces along -Z, against its faces' normals; its back is plain
    shown = tree.mix(front, (GREY,) * 3, patch)
    tree.node("OutputMaterial", {"Surface": tree.node("BsdfDiffuse", {"Color": shown, "Roughness": 0.0})["BSDF"]})
    tree.arrange()
    return material


def ball_object(name: str, radius_mm: float, material: bpy.types.Material) -> bpy.types.Object:
    """A smooth ball about its origin."""
    rows, columns = 24, 48
    polar, around = np.meshgrid(np.linspace(0.0, np.pi, rows + 1), np.arange(columns) * 2 * np.pi / columns, indexing="ij")
    points = np.stack([np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], axis=-1)
    index = np.arange((rows + 1) * columns).reshape(rows + 1, columns)
    a, b = index[:-1], np.roll(index[:-1], -1, axis=1)
    quads = np.stack([a, a + columns, b + columns, b], axis=-1).reshape(-1, 4)
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata((points.reshape(-1, 3) * radius_mm / MM).tolist(), [], quads.tolist())
    mesh.validate()
    mesh.polygons.foreach_set("use_smooth", np.ones(len(mesh.polygons), bool))
    mesh.materials.append(material)
    return bpy.data.objects.new(name, mesh)


def mirror_material() -> bpy.types.Material:
    """A mirror that reflects 90 % of the light."""
    material = bpy.data.materials.new("Mirror ball")
    node_tree = compat.node_tree_of(material)
    node_tree.nodes.clear()
    tree = Tree(node_tree)
    tree.node("OutputMaterial", {"Surface": tree.node("BsdfGlossy", {"Color": (0.9, 0.9, 0.9), "Roughness": 0.0})["BSDF"]})
    tree.arrange()
    return material


def make_targets(foot: Floats, size: float, camera: Floats) -> dict[str, bpy.types.Object]:
    """The targets by name: balls to the right of the subject as the camera sees it, the chart behind and above them.

    foot: (3,) where the subject stands, mm. size: its largest extent, mm. camera: (3,) unit direction to the camera.
    """
    flat = np.array([camera[0], camera[1], 0.0])
    flat = flat / np.linalg.norm(flat) if np.linalg.norm(flat) > 1e-6 else np.array([0.0, -1.0, 0.0])
    right = np.array([-flat[1], flat[0], 0.0])
    scale = size / 90.0
    balls = {
        "grey ball": ball_object("Grey ball", 0.5 * BALL_MM * scale, matt_material("Grey ball", (GREY,) * 3)),
        "mirror ball": ball_object("Mirror ball", 0.5 * BALL_MM * scale, mirror_material()),
    }
    for place, item in enumerate(balls.values()):
        item.matrix_world = facing(foot + scale * (right * (52.0 + 22.0 * place) + np.array([0, 0, 0.5 * BALL_MM])), foot)
    chart = chart_object("Colour chart", PATCH_MM * scale)
    centre = foot + scale * (right * 64.0 - flat * 14.0 + np.array([0.0, 0.0, 0.5 * CARD.rows * PATCH_MM + BALL_MM + 2.0]))
    chart.matrix_world = facing(centre, centre + 100.0 * np.asarray(camera, float))
    return {"chart": chart, **balls}
