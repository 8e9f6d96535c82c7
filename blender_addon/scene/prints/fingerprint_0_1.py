"""Computes a data-block's digest exactly as release 0.1.0 did, whose .blend files contain such digests.

Used only to detect edits in those files; covers less than `fingerprint`. This module must never change its results: what
newer releases of Blender read differently from the same file is fed here as 4.5, which wrote those files, read it.
"""

from __future__ import annotations

import hashlib

import bpy
import numpy as np

from ...core.arrays import AnyArray
from ..roles import JOB, KEY, NAME, PRINT, ROLE, STEP
from .digest import Digest

_SIMPLE = {"BOOLEAN", "INT", "FLOAT", "STRING", "ENUM"}
_SKIP = {
    "name", "name_full", "bl_idname", "select", "is_editmode", "is_active_output", "show_expanded", "show_options",
    "location_absolute", "width", "height", "dimensions", "tag", "is_evaluated", "session_uid", "use_fake_user",
    "users", "hide", "warning_propagation", "color_tag", "is_active", "execution_time", "persistent_uid",
    "show_instancer_for_viewport", "use_extra_user", "is_library_indirect", "is_missing", "is_runtime_data",
    "last_display_size", "bound_box", "preview",
}  # fmt: skip

_LATER = {("Camera", "composition_guide_color"), ("NodesModifier", "show_manage_panel"), ("ShaderNodeNormalMap", "convention"),
          ("ShaderNodeNormalMap", "base")}  # fmt: skip
"""Properties that 4.5 did not have: of what kind of thing, and which."""
_LATER_INPUTS = {("ShaderNodeBsdfPrincipled", "Thin Wall")}
_AS_IN_4_5 = {
    ("bl_height_max", "3.40282e+38"): "30",
    ("subsurface_method", "'RANDOM_WALK_LEGACY'"): "'RANDOM_WALK'",
    ("use_backface_culling_lightprobe_volume", "False"): "True",  # read the other way since 5.0
}  # fmt: skip
"""What a property read in 4.5 that reads as said in the same file now."""
_WIDTHS = {
    "ShaderNodeBsdfPrincipled": {"bl_width_min": "140"}, "ShaderNodeTexImage": {"bl_width_min": "140"},
    "ShaderNodeNormalMap": {"bl_width_default": "150", "bl_width_min": "120"},
    "ShaderNodeUVMap": {"bl_width_default": "150", "bl_width_min": "120"},
}  # fmt: skip
"""Widths that 4.5 gave the kinds of node in those files, where newer releases give others."""
_PLAIN_LIGHT = {"ShaderNodeEmission": ["[1,1,1,1]", "1", "0"], "ShaderNodeOutputLight": ["None"]}
"""The nodes that 5.2 gives a light that had none, and what their inputs say: nothing that the light itself does not."""


def packed_digest(block: bpy.types.ID) -> bytes | None:
    """The SHA-256 of an image's packed file, of which a map of 4096 px holds 100 MB; None for other data and where there is
    none."""
    packed = getattr(block, "packed_file", None)
    return None if packed is None else hashlib.sha256(packed.data).digest()


def fingerprint(block: bpy.types.ID, packed: bytes | None = None) -> str:
    """A digest of a data-block's content; independent of name and selection. packed: of an image's packed file, if known."""
    return written_out(fed(block, packed))


def fed(block: bpy.types.ID, packed: bytes | None = None) -> Digest:
    """The digest before it is written out. block, packed: as for `fingerprint`."""
    digest = Digest()
    _feed(digest, block, packed)
    return digest


def written_out(digest: Digest) -> str:
    """The digest as it stands in files."""
    return digest.hexdigest()[:20]


def _feed(digest: Digest, block: bpy.types.ID, packed: bytes | None = None) -> None:
    if isinstance(block, bpy.types.Object):
        _object(digest, block)
    elif isinstance(block, bpy.types.Mesh):
        _mesh(digest, block)
    elif isinstance(block, (bpy.types.Material, bpy.types.World)):
        _simple(digest, block)
        if block.node_tree:
            _tree(digest, block.node_tree)
    elif isinstance(block, bpy.types.NodeTree):
        _tree(digest, block)
    elif isinstance(block, bpy.types.Image):
        _image(digest, block, packed)
    elif isinstance(block, bpy.types.Text):
        digest.update(block.as_string().encode())
    else:
        tree = getattr(block, "node_tree", None)
        plain = isinstance(block, bpy.types.Light) and tree is not None and _is_plain(tree)
        _simple(digest, block, as_written={"use_nodes": "False"} if plain else {})
        if tree and not plain:
            _tree(digest, tree)


def _is_plain(tree: bpy.types.NodeTree) -> bool:
    """Whether a light's nodes are those that newer releases give every light."""
    found = {
        node.bl_idname: [_written(getattr(socket, "default_value", None)) for socket in node.inputs] for node in tree.nodes
    }
    return found == _PLAIN_LIGHT and len(tree.nodes) == len(_PLAIN_LIGHT)


def _object(digest: Digest, item: bpy.types.Object) -> None:
    if item.animation_data and item.animation_data.action:
        # An animated transform depends on the current frame, so the action counts instead.
        digest.update(repr(tuple(item.animation_data.action.frame_range)).encode())
    else:
        digest.update((np.round(np.array(item.matrix_basis, float), 7) + 0.0).tobytes())
    # Parenting to the turntable's pivot does not move an object, since the pivot rests at the origin.
    parent = item.parent.name if item.parent and item.parent.get("bozzetto_role") != "pivot" else ""
    hidden = (item.hide_render, item.visible_camera, item.visible_shadow, parent)
    digest.update(repr(hidden).encode())
    digest.update(repr([slot.material.name if slot.material else "" for slot in item.material_slots]).encode())
    for modifier in item.modifiers:
        digest.update(modifier.type.encode())
        _simple(digest, modifier)
    if isinstance(item.data, bpy.types.Camera):
        _camera(digest, item)
    elif item.data is not None:
        _feed(digest, item.data)


def _camera(digest: Digest, item: bpy.types.Object) -> None:
    """Digest what is set on a shot's camera. Driven values follow from the picture's size and are not edits."""
    own = {JOB, STEP, ROLE, KEY, NAME, PRINT} | _driven(item)
    for key in sorted(item.keys()):
        if key.startswith("bozzetto_") and key not in own:
            value = item[key]
            written = _written(list(value) if hasattr(value, "to_list") else value)
            digest.update(f"{key}={written};".encode())
    driven = _driven(item.data)
    _simple(digest, item.data, skip=driven | ({"angle", "angle_x", "angle_y"} if "lens" in driven else set()))
    _simple(digest, item.data.dof, skip=driven)
    target = item.data.dof.focus_object
    digest.update((target.name if target else "").encode())


def _driven(block: bpy.types.ID) -> set[str]:
    """The names (last part of the path) of a data-block's properties that have drivers."""
    if not getattr(block, "animation_data", None):  # some kinds of data have no such attribute
        return set()
    paths = [curve.data_path for curve in block.animation_data.drivers]
    return {path[2:-2] if path.startswith('["') else path.rpartition(".")[2] for path in paths}


def _mesh(digest: Digest, mesh: bpy.types.Mesh) -> None:
    digest.update(repr((len(mesh.vertices), len(mesh.polygons), len(mesh.loops))).encode())
    for name, kind, field, size in (("position", "f4", "vector", 3), (".corner_vert", "i4", "value", 1)):
        layer = mesh.attributes.get(name)
        if layer is not None:
            digest.update(_values(layer, kind, field, size))
    for layer in sorted(mesh.attributes, key=lambda attribute: attribute.name):
        if layer.data_type in {"FLOAT_COLOR", "BYTE_COLOR"}:
            digest.update(layer.name.encode())
            digest.update(_values(layer, "f4", "color", 4))


def _values(layer: bpy.types.Attribute, kind: str, field: str, size: int) -> AnyArray:
    array = np.zeros(len(layer.data) * size, kind)
    layer.data.foreach_get(field, array)
    return array


def _image(digest: Digest, image: bpy.types.Image, packed: bytes | None) -> None:
    digest.update(repr((tuple(image.size), image.colorspace_settings.name, image.is_dirty)).encode())
    if image.packed_file:
        digest.update(packed or packed_digest(image) or b"")
    else:
        digest.update(image.filepath.encode())


def _tree(digest: Digest, tree: bpy.types.NodeTree) -> None:
    for node in sorted(tree.nodes, key=lambda entry: entry.name):
        digest.update(f"{node.bl_idname} {node.name}".encode())
        _simple(digest, node)
        for socket in node.inputs:
            if (node.bl_idname, socket.identifier) in _LATER_INPUTS:
                continue
            value = getattr(socket, "default_value", None)
            digest.update(_written(value).encode())
        ramp = getattr(node, "color_ramp", None)
        if ramp:
            digest.update(repr([(round(e.position, 5), _written(e.color)) for e in ramp.elements]).encode())
    links = [
        (link.from_node.name, link.from_socket.identifier, link.to_node.name, link.to_socket.identifier) for link in tree.links
    ]
    digest.update(repr(sorted(links)).encode())


def _simple(
    digest: Digest, block: bpy.types.ID, *, skip: set[str] | None = None, as_written: dict[str, str] | None = None
) -> None:
    driven = _driven(block) if skip is None else skip
    kind = block.bl_rna.identifier
    fixed = {**_WIDTHS.get(kind, {}), **(as_written or {})}
    for prop in block.bl_rna.properties:
        name = prop.identifier
        if name in _SKIP or prop.is_readonly or prop.type not in _SIMPLE or name in driven or (kind, name) in _LATER:
            continue
        try:
            value = _written(getattr(block, name))
        except (AttributeError, TypeError):
            continue
        value = fixed.get(name, _AS_IN_4_5.get((name, value), value))
        digest.update(f"{name}={value};".encode())


def _written(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, (str, bool, int, type(None))):
        return repr(value)
    if isinstance(value, (set, frozenset)):
        return repr(sorted(value))
    if isinstance(value, bpy.types.ID):
        return value.name
    if hasattr(value, "__iter__"):
        return "[" + ",".join(_written(part) for part in value) + "]"
    return ""
