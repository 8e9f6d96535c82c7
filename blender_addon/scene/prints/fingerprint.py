"""Has the user changed a data-block since a step made it? Computes a digest of its content, read through RNA.

Everything that a person would call an edit counts, except the selection, and except the name and the visibility, which are
carried over to an object's replacement (`roles`). A reference to another block counts by that block's role or name; data that
belongs to the block alone (mesh, node tree, nested node groups, materials that are replaced with it) counts by its content.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import bpy
import numpy as np

from ..compat import RELEASE
from ..roles import BOOKKEEPING, JOB, KEY, MADE, OFFERED, ROLE, has, made_by
from . import fingerprint_0_1
from .digest import Digest
from .fingerprint_0_1 import packed_digest
from .mesh_print import feed_mesh

_VERSION = "3:"
_SIMPLE = {"BOOLEAN", "INT", "FLOAT", "STRING", "ENUM"}
_SKIP = {
    "name", "name_full", "bl_idname", "select", "is_editmode", "is_active_output", "show_expanded", "show_options",
    "location_absolute", "width", "height", "dimensions", "tag", "is_evaluated", "session_uid", "use_fake_user",
    "users", "hide", "warning_propagation", "is_active", "execution_time", "persistent_uid", "show_texture",
    "show_instancer_for_viewport", "use_extra_user", "is_library_indirect", "is_missing", "is_runtime_data",
    "last_display_size", "bound_box", "preview", "show_preview", "show_on_cage", "show_in_editmode", "is_override_data",
    "is_embedded_data", "is_property_visible", "use_pin", "bl_icon", "bl_static_type", "active_index", "error_location",
    "error_rotation", "is_valid", "is_cached",
}  # fmt: skip
_OBJECT_SKIP = {
    "hide_render", "hide_viewport", "hide_select", "matrix_world", "matrix_local", "matrix_basis", "matrix_parent_inverse",
    "location", "rotation_euler", "rotation_quaternion", "rotation_axis_angle", "scale", "active_material_index",
    "active_shape_key_index", "show_only_shape_key",
}  # fmt: skip
"""Skipped for objects: the transform is read as a matrix, and visibility is carried over."""


def fingerprint(block: bpy.types.ID, packed: bytes | None = None) -> str:
    """A digest of a data-block's content; independent of name, visibility and selection.

    packed: the digest of an image's packed file, if it is known.
    """
    return _written_out(_fed(block, packed))


def _fed(block: bpy.types.ID, packed: bytes | None) -> Digest:
    digest = Digest()
    _feed(digest, block, {} if packed is None else {block.session_uid: packed})
    return digest


def _written_out(digest: Digest) -> str:
    return _VERSION + digest.hexdigest()[:20]


def noted(block: bpy.types.ID) -> str:
    """The record by which a later run detects edits: digest, Blender release in which the digest is valid, digest of 0.1.0.

    The digest of 0.1.0 covers less, and is equal in every release of Blender.
    """
    packed = packed_digest(block)  # read once for both
    now, former = _fed(block, packed), fingerprint_0_1.fed(block, packed)  # both work while the second is fed
    return f"{_written_out(now)}:{RELEASE}:{fingerprint_0_1.written_out(former)}"


def unchanged(block: bpy.types.ID, kept: str) -> bool:
    """Whether a data-block still matches its record, written by this version or 0.1.0, in this or another Blender release."""
    if of_this_release(kept):
        return fingerprint(block) == kept.rsplit(":", 2)[0]
    return fingerprint_0_1.fingerprint(block) == kept.rsplit(":", 1)[-1]


def of_this_release(kept: str) -> bool:
    """Whether a record was written in this Blender release. If not, a difference may come from Blender's own conversion."""
    return kept.startswith(_VERSION) and kept.rsplit(":", 2)[1] == RELEASE


def _feed(digest: Digest, block: bpy.types.ID, groups: dict[int, bytes]) -> None:
    _custom(digest, block)
    if isinstance(block, bpy.types.Object):
        _object(digest, block, groups)
    elif isinstance(block, bpy.types.Mesh):
        feed_mesh(digest, block)
    elif isinstance(block, bpy.types.NodeTree):
        _tree(digest, block, groups)
    elif isinstance(block, bpy.types.Image):
        _image(digest, block, groups)
    elif isinstance(block, bpy.types.Text):
        digest.update(block.as_string().encode())
    elif isinstance(block, bpy.types.Action):
        _action(digest, block)
    else:
        _settings(digest, block)
        _animation(digest, block)
        tree = getattr(block, "node_tree", None)
        if tree:
            _tree(digest, tree, groups)


def _settings(digest: Digest, block: bpy.types.ID, *, skip: set[str] | None = None) -> None:
    """Digest the plain settings of a data-block and of its sub-structures, such as those of Cycles."""
    skip = _driven(block) if skip is None else skip
    _simple(digest, block, skip=skip)
    for name in ("cycles", "mist_settings", "light_settings", "dof", "display"):
        part = getattr(block, name, None)
        if part is not None and not isinstance(part, bpy.types.ID):
            digest.update(name.encode())
            _simple(digest, part, skip=skip)
            if name == "cycles":
                _of_cycles(digest, part)


def _object(digest: Digest, item: bpy.types.Object, groups: dict[int, bytes]) -> None:
    _place(digest, item)
    _animation(digest, item)
    _settings(digest, item, skip=_OBJECT_SKIP | _driven(item))
    # Parenting to the turntable's pivot does not move an object, since the pivot rests at the origin.
    parent = item.parent if item.parent and item.parent.get(ROLE) != "pivot" else None
    if parent is not None:
        held = (np.round(np.array(item.matrix_parent_inverse, float), 6) + 0.0).tobytes()
        digest.update(f"parent {reference(parent)} {item.parent_type} {item.parent_bone}".encode() + held)
    for slot in item.material_slots:
        digest.update(f"slot {reference(slot.material)};".encode())
        if slot.material is not None and _belongs(slot.material):
            _feed(digest, slot.material, groups)
    for part in (*item.modifiers, *item.constraints):
        digest.update(f"{part.bl_rna.identifier} {part.name};".encode())
        _struct(digest, part, groups)
    _weights(digest, item)
    if item.particle_systems:
        digest.update(repr([(system.name, system.settings.name) for system in item.particle_systems]).encode())
    digest.update(repr((item.rigid_body is not None, reference(item.instance_collection))).encode())
    linking = getattr(item, "light_linking", None)
    for name in ("receiver_collection", "blocker_collection"):  # of a lamp: what it lights, and what throws its shadows
        if getattr(linking, name, None) is not None:
            digest.update(f"{name} {reference(getattr(linking, name))};".encode())
    if isinstance(item.data, bpy.types.Camera):
        _camera(digest, item)
    elif item.data is not None:
        _feed(digest, item.data, groups)


def _place(digest: Digest, item: bpy.types.Object) -> None:
    """Digest an object's transform. Animated channels depend on the current frame, so their action counts instead."""
    action = item.animation_data.action if item.animation_data else None
    if action is None:
        digest.update((np.round(np.array(item.matrix_basis, float), 7) + 0.0).tobytes())
        return
    moved = {curve.data_path for curve in _curves(action)}
    for name in ("location", "rotation_euler", "rotation_quaternion", "scale"):
        if name not in moved:
            digest.update(f"{name}={_written(getattr(item, name))};".encode())


def _belongs(material: bpy.types.Material) -> bool:
    """Whether a material is replaced together with its object.

    A material with a role, or one that `set_parts` carries over to the next object, has a record of its own.
    """
    return has(material, MADE) and not has(material, OFFERED) and not has(material, ROLE)


def _weights(digest: Digest, item: bpy.types.Object) -> None:
    if not item.vertex_groups:
        return
    digest.update(repr([(group.name, group.lock_weight) for group in item.vertex_groups]).encode())
    if isinstance(item.data, bpy.types.Mesh):
        for vertex in item.data.vertices:
            for member in vertex.groups:
                digest.update(f"{vertex.index} {member.group} {member.weight:.6g};".encode())


def _camera(digest: Digest, item: bpy.types.Object) -> None:
    """Digest what is set on a shot's camera. Driven values follow from the picture's size and are not edits."""
    driven = _driven(item.data)
    skip = driven | ({"angle", "angle_x", "angle_y"} if "lens" in driven else set())
    _custom(digest, item.data)
    _settings(digest, item.data, skip=skip)
    _animation(digest, item.data)
    for picture in item.data.background_images:
        digest.update(f"background {reference(picture.image)};".encode())
        _simple(digest, picture)
    digest.update(reference(item.data.dof.focus_object).encode())
    for image in item.data.background_images:
        digest.update(reference(image.image).encode())
        _simple(digest, image)


def _driven(block: bpy.types.ID) -> set[str]:
    """The names (last part of the path) of a data-block's properties that have drivers."""
    if not getattr(block, "animation_data", None):  # some kinds of data have no such attribute
        return set()
    paths = [curve.data_path for curve in block.animation_data.drivers]
    return {path[2:-2] if path.startswith('["') else path.rpartition(".")[2] for path in paths}


def _keyed(block: bpy.types.ID) -> set[str]:
    """The keyed custom properties of a data-block; they depend on the current frame, so their action counts instead."""
    motion = getattr(block, "animation_data", None)
    if not motion or motion.action is None:
        return set()
    return {curve.data_path[2:-2] for curve in _curves(motion.action) if curve.data_path.startswith('["')}


def _animation(digest: Digest, block: bpy.types.ID) -> None:
    """Digest drivers by their expressions and an action by its keys."""
    motion = getattr(block, "animation_data", None)
    if not motion:
        return
    for curve in motion.drivers:
        digest.update(f"driver {curve.data_path} {curve.array_index} {curve.driver.type} {curve.driver.expression};".encode())
    if motion.action is not None:
        _action(digest, motion.action)


def _action(digest: Digest, action: bpy.types.Action) -> None:
    for curve in _curves(action):
        keys = np.zeros(2 * len(curve.keyframe_points), np.float32)
        curve.keyframe_points.foreach_get("co", keys)
        ways = [(point.interpolation, point.handle_left_type, point.handle_right_type) for point in curve.keyframe_points]
        digest.update(f"{curve.data_path} {curve.array_index} {ways}".encode() + keys.tobytes())


def _curves(action: bpy.types.Action) -> Iterator[bpy.types.FCurve]:
    """The F-curves of an action, which Blender releases store in different places."""
    if hasattr(action, "fcurves"):
        yield from action.fcurves
        return
    for layer in action.layers:
        for strip in layer.strips:
            for bag in strip.channelbags:
                yield from bag.fcurves


def _image(digest: Digest, image: bpy.types.Image, groups: dict[int, bytes]) -> None:
    digest.update(repr((tuple(image.size), image.colorspace_settings.name, image.alpha_mode)).encode())
    if image.is_dirty or (image.packed_file is None and image.source == "GENERATED"):  # has unsaved painting
        values = np.zeros(len(image.pixels), np.float32)
        image.pixels.foreach_get(values)
        digest.update(values.tobytes())
    elif image.packed_file:
        digest.update(groups.get(image.session_uid) or packed_digest(image) or b"")
    else:
        digest.update(image.filepath.encode())


def _tree(digest: Digest, tree: bpy.types.NodeTree, groups: dict[int, bytes]) -> None:
    for node in sorted(tree.nodes, key=lambda entry: entry.name):
        digest.update(f"{node.bl_idname} {node.name}".encode())
        _custom(digest, node)
        _struct(digest, node, groups)
        for socket in node.inputs:
            value = getattr(socket, "default_value", None)
            digest.update(_written(value).encode())
        ramp = getattr(node, "color_ramp", None)
        if ramp:
            digest.update(repr([(round(e.position, 5), _written(e.color)) for e in ramp.elements]).encode())
            digest.update(f"{ramp.interpolation} {ramp.color_mode}".encode())
        for curve in getattr(getattr(node, "mapping", None), "curves", ()):
            digest.update(repr([(_written(p.location), p.handle_type) for p in curve.points]).encode())
    links = [
        (link.from_node.name, link.from_socket.identifier, link.to_node.name, link.to_socket.identifier) for link in tree.links
    ]
    digest.update(repr(sorted(links)).encode())
    for item in tree.interface.items_tree:
        digest.update(f"{item.item_type} {item.name} {getattr(item, 'in_out', '')}".encode())
        digest.update(_written(getattr(item, "default_value", None)).encode())
    _animation(digest, tree)


def _group(group: bpy.types.NodeTree, groups: dict[int, bytes]) -> bytes:
    """The digest of a nested node group, computed once for all its uses."""
    if group.session_uid not in groups:
        groups[group.session_uid] = b"inside itself"
        digest = Digest()
        _custom(digest, group)
        _tree(digest, group, groups)
        groups[group.session_uid] = digest.digest()
    return groups[group.session_uid]


def _struct(digest: Digest, struct: bpy.types.bpy_struct, groups: dict[int, bytes]) -> None:
    """Digest a modifier, constraint or node: its settings, its references, and the content of its node group."""
    _simple(digest, struct)
    for name in _pointers(type(struct)):
        value = getattr(struct, name, None)
        if isinstance(value, bpy.types.NodeTree):
            digest.update(f"{name} ".encode() + _group(value, groups))
        elif isinstance(value, bpy.types.ID):
            digest.update(f"{name} {reference(value)};".encode())
    inputs = getattr(getattr(struct, "properties", None), "inputs", None)
    if inputs is not None:  # a geometry-nodes modifier's; custom properties before 5.2
        for prop in inputs.bl_rna.properties:
            holder = getattr(inputs, prop.identifier, None)
            if hasattr(holder, "value"):
                digest.update(f"{prop.identifier}={_written(holder.value)};".encode())
    elif isinstance(struct, bpy.types.Modifier):
        _custom(digest, struct)


def _custom(digest: Digest, block: bpy.types.ID) -> None:
    """Digest custom properties, the user's and the steps', except those that record ownership."""
    try:
        names = sorted(set(block.keys()) - BOOKKEEPING - _driven(block) - _keyed(block))
    except TypeError:  # this kind has no custom properties
        return
    for name in names:
        value = block[name]
        if hasattr(value, "to_dict"):
            value = sorted(value.to_dict().items(), key=lambda pair: str(pair[0]))
        elif hasattr(value, "to_list"):
            value = value.to_list()
        digest.update(f"[{name}]={_written(value)};".encode())


def _simple(digest: Digest, block: bpy.types.ID, *, skip: set[str] | None = None) -> None:
    skip = _driven(block) if skip is None else skip
    for name in _plain_names(type(block)):
        if name in skip:
            continue
        try:
            value = getattr(block, name)
        except (AttributeError, TypeError):
            continue
        digest.update(f"{name}={_written(value)};".encode())


def _of_cycles(digest: Digest, part: bpy.types.PropertyGroup) -> None:
    """Digest what differs from the defaults of Cycles, an add-on, which declares its settings while it runs and may be off."""
    for prop in part.bl_rna.properties:
        if prop.is_runtime and prop.type in _SIMPLE and not prop.is_readonly:
            value = _written(getattr(part, prop.identifier))
            usual = getattr(prop, "default_array", None) if getattr(prop, "is_array", False) else getattr(prop, "default", None)
            if value != _written(usual):
                digest.update(f"{prop.identifier}={value};".encode())


@cache
def _plain_names(kind: type) -> tuple[str, ...]:
    """The plain, writable properties of an RNA type that count as content."""
    return tuple(
        prop.identifier for prop in kind.bl_rna.properties
        if prop.identifier not in _SKIP and not prop.is_readonly and prop.type in _SIMPLE and not prop.is_runtime
    )  # fmt: skip


@cache
def _pointers(kind: type) -> tuple[str, ...]:
    return tuple(
        prop.identifier for prop in kind.bl_rna.properties
        if prop.type == "POINTER" and prop.identifier not in ("rna_type", "id_data", "parent")
    )  # fmt: skip


def reference(block: bpy.types.ID) -> str:
    """How a reference to a data-block counts: by its role in a job where it has one, else by its name.

    All scenes count as equal, so that a scene can be renamed.
    """
    if block is None:
        return ""
    if isinstance(block, bpy.types.Scene):
        return "scene"
    if block.get(ROLE) and block.get(JOB):
        return f"{made_by(block)}/{block[ROLE]}/{block.get(KEY)}"
    return str(block.name)


def _written(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, (str, bool, int, bytes, type(None))):
        return repr(value)
    if isinstance(value, (set, frozenset)):
        return repr(sorted(value))
    if isinstance(value, bpy.types.ID):
        return reference(value)
    if hasattr(value, "to_dict"):
        return repr(sorted(value.to_dict().items(), key=str))
    if hasattr(value, "__len__"):  # Blender's vectors and colours can be iterated without having __iter__
        return "[" + ",".join(_written(part) for part in value) + "]"
    return ""
