"""Builds a complete material from relief, recesses and surface groups, whose inputs stay editable by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Any, NamedTuple

import bpy

from ...core.records import record
from ...core.surface.kinds import KINDS
from .. import compat, roles
from .builder import PlacedNode, Socket, Tree, Value
from .closeups import closeup_colour, closeup_group
from .kinds import recipe
from .relief import BANDS, RELIEF_MASK, UV_DEFAULT, form_group, millimetres, relief_group

KIND = "bozzetto_kind"
"""Custom property on a material: the kind of its surface."""

STATE = "bozzetto_clay_state"
"""Custom property on a material of clay: its state ('wet', 'leather', 'dry', 'fired')."""

MEAN = "bozzetto_mean_colour"
"""Custom property on a material with a colour texture: the texture's mean on the object, linear."""


@record
class CloseupMaps:
    """The maps of close-up photos: normal map, weight map, colour or None, and the initial strength."""

    normal: bpy.types.Image
    weight: bpy.types.Image
    colour: bpy.types.Image | None = None
    strength: float = 1.0


@record
class Maps:
    """The maps of a piece or stand: relief (height in mm), own colour as image or attribute, UV map.

    closeups: maps of close-up photos, on their own UV layer, or None.
    bands: maps that separate fine, middle and broad relief, and band_strengths their strengths.
    masked: whether the piece has a painted mask for the relief.
    """

    normal: bpy.types.Image | None = None
    height: bpy.types.Image | None = None
    strength: float = 1.0
    colour: bpy.types.Image | None = None
    colour_attribute: str = ""
    uv: str = UV_DEFAULT
    closeups: CloseupMaps | None = None
    bands: tuple[bpy.types.Image, bpy.types.Image] | None = None
    band_strengths: tuple[float, float, float] = (1.0, 1.0, 1.0)
    masked: bool = False


@record
class MaterialSurface:
    """One surface: the kind of its group, and the values of the group's inputs by name."""

    kind: str
    values: Mapping[str, object] = field(default_factory=dict)

    @property
    def albedo(self) -> tuple[float, float, float] | None:
        """Its colour, linear; None where it comes from a texture."""
        value = self.values.get(KINDS[self.kind].albedo_input)
        return None if value is None else tuple(value)[:3]  # type: ignore[return-value]


def make_material(
    name: str, surface: MaterialSurface, maps: Maps, regions: tuple[tuple[str, MaterialSurface], ...] = ()
) -> bpy.types.Material:
    """Create a material. regions: (mask, surface) of further surfaces, each used where its painted mask is white.

    A mask is the name of a colour attribute.
    """
    material = bpy.data.materials.new(name)
    shader_tree = compat.node_tree_of(material)
    shader_tree.nodes.clear()
    tree = Tree(shader_tree)
    relief = tree.group(
        relief_group(maps.normal, maps.height, uv=maps.uv, bands=maps.bands),
        {"Strength": maps.strength, **(dict(zip(BANDS, maps.band_strengths, strict=True)) if _has_bands(maps) else {})},
        label="Relief",
    )
    if maps.masked:
        link_mask(tree.tree)
    mm = millimetres(tree)
    form = tree.group(form_group(), {"Position": mm, "Height": relief["Height"]}, label="Recess and edge")
    parts = _Parts(mm, relief["Normal"], form)
    if maps.closeups is not None:
        near = tree.group(
            closeup_group(maps.closeups.normal, maps.closeups.weight),
            {"Normal": relief["Normal"], "Strength": maps.closeups.strength},
            label="Close-ups",
        )
        parts = _Parts(mm, near["Normal"], form, near["Share"])
    shader = _surface(tree, surface, maps, parts)
    for mask, other in regions:
        above = _surface(tree, other, maps, parts, suffix=f" ({mask})")
        painted = tree.node("Attribute", attribute_name=mask, attribute_type="GEOMETRY", label=f"Mask {mask}")["Factor"]
        mixed = tree.node("MixShader", {"Factor": tree.span(painted, 0.25, 0.75, smooth=True)})
        first, second = mixed.node.inputs[1:]
        tree.put(first, shader)
        tree.put(second, above)
        shader = mixed["Shader"]
    end = tree.node("OutputMaterial", {"Surface": shader})
    end.node.is_active_output = True
    tree.arrange()
    material[KIND] = surface.kind
    if surface.kind != "own":
        material["bozzetto_albedo"] = _shown(surface)  # for export to formats without node trees
    material.diffuse_color[:] = (*_shown(surface), 1.0)
    return material


class _Parts(NamedTuple):
    """Inputs of all surfaces of a material: position in mm, normal, recesses and edges, the close-ups' weight."""

    mm: Value
    normal: Value
    form: PlacedNode
    closeups: Value | None = None


def _has_bands(maps: Maps) -> bool:
    return maps.bands is not None and maps.normal is not None


def relief_nodes(tree: bpy.types.NodeTree) -> list[bpy.types.Node]:
    """The nodes of a material's tree with the relief's group."""
    return [node for node in tree.nodes if getattr(node, "node_tree", None) and roles.stem(node.node_tree.name) == "Relief"]


def link_mask(tree: bpy.types.NodeTree) -> None:
    """Link the mask painted on the piece to the relief of a material, unless it is linked."""
    for node in relief_nodes(tree):
        socket = node.inputs.get("Mask")
        if socket is None or socket.is_linked:
            continue
        painted = tree.nodes.new("ShaderNodeAttribute")
        painted.attribute_type, painted.attribute_name, painted.label = "GEOMETRY", RELIEF_MASK, "Relief mask"
        painted.location = (node.location[0] - 220.0, node.location[1])
        tree.links.new(painted.outputs["Fac"], socket)


def _surface(tree: Tree, surface: MaterialSurface, maps: Maps, parts: _Parts, suffix: str = "") -> Socket:
    group = recipe(surface.kind).group()
    offered = {
        "Position": parts.mm, "Normal": parts.normal, "Recess": parts.form["Recess"], "Raised": parts.form["Raised"],
    }  # fmt: skip
    names = {item.name for item in group.interface.items_tree if item.item_type == "SOCKET" and item.in_out == "INPUT"}
    inputs = {name: value for name, value in offered.items() if name in names}
    inputs.update(surface.values)
    if surface.kind == "own" and "Colour" not in surface.values:
        own = own_colour(tree, maps)
        if own is not None and maps.closeups is not None and maps.closeups.colour is not None:
            own = closeup_colour(tree, maps.closeups.colour, own, parts.closeups)
        if own is not None:
            inputs["Colour"] = own
    return tree.group(group, inputs, label=group.name.split(".")[0] + suffix)["Shader"]


def own_colour(tree: Tree, maps: Maps) -> Socket | None:
    """The socket of the scan's own colour, or None without one."""
    if maps.colour is not None:
        coordinates = tree.node("UVMap", uv_map=maps.uv)["UV"]
        return tree.node("TexImage", {"Vector": coordinates}, image=maps.colour, interpolation="Cubic", label="Own colour")[
            "Color"
        ]
    if maps.colour_attribute:
        return tree.node("Attribute", attribute_name=maps.colour_attribute, attribute_type="GEOMETRY", label="Own colour")[
            "Color"
        ]
    return None


def albedo_of(material: bpy.types.Material | None) -> tuple[float, float, float] | None:
    """The present colour of a material, linear, also after the user changed it; None where it comes from a texture."""
    if material is None or not material.node_tree:
        return None
    kind = KINDS.get(str(material.get(KIND, "")))
    for name in (*([kind.albedo_input] if kind else []), "Base Color"):
        for node in material.node_tree.nodes:
            socket = node.inputs.get(name)
            if socket is not None and not socket.is_linked and hasattr(socket.default_value, "__len__"):
                return tuple(float(value) for value in socket.default_value)[:3]
    return None


def exposed_as(material: bpy.types.Material | None) -> dict[str, Any]:
    """The arguments `kind` and `albedo` of `usual_offset` for a material, which determine its exposure."""
    if material is None:
        return {"kind": "", "albedo": None}
    kept = material.get(MEAN)
    return {"kind": str(material.get(KIND, "")), "albedo": albedo_of(material) or (tuple(kept) if kept is not None else None)}


def _shown(surface: MaterialSurface) -> tuple[float, float, float]:
    return surface.albedo or (0.5, 0.48, 0.45)
