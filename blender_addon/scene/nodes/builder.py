"""Builds node trees in code by a thin layer over Blender's API: values and links by socket name, maths as calls.

    tree = Tree(material_tree)
    mottle = tree.node("TexNoise", {"Vector": mm, "Scale": 0.2, "Detail": 3.0})["Factor"]
    tone = tree.mix(mottle, dark, light)

A value is a number, a colour or vector as a sequence, or an output socket, which is linked.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeAlias

import bpy

from ..meshes import METRES
from ..prints.fingerprint import fingerprint
from ..roles import stem

Socket: TypeAlias = bpy.types.NodeSocket
"""A node's output, to be linked to an input."""
Value: TypeAlias = "float | Sequence[float] | bpy.types.NodeSocket | PlacedNode"
"""What an input can be given: a number, a colour or vector, a socket to link, or a node whose first output is linked."""

GROUP_MARK = "bozzetto_nodes"
"""Custom property on a group made here: its digest, so that an unchanged one is reused and an edited one left to the user."""

_KINDS = {
    "float": "NodeSocketFloat",
    "colour": "NodeSocketColor",
    "vector": "NodeSocketVector",
    "shader": "NodeSocketShader",
    "image": "NodeSocketColor",
    "integer": "NodeSocketInt",
    "geometry": "NodeSocketGeometry",
}
_RENAMED = {"Factor": "Fac", "Fac": "Factor"}


class PlacedNode:
    """A node with its outputs by name."""

    def __init__(self, node: bpy.types.Node):
        self.node = node

    def __getitem__(self, name: str) -> Socket:
        return _socket(self.node.outputs, name)


class Tree:
    """A node tree under construction."""

    def __init__(self, tree: bpy.types.NodeTree, prefix: str = "ShaderNode"):
        self.tree = tree
        self.prefix = prefix
        self._given: bpy.types.Node | None = None
        self._taken: bpy.types.Node | None = None

    # --- nodes -----------------------------------------------------------------------------------------------------------

    def node(
        self, kind: str, inputs: Mapping[str, Value | str | None] | None = None, *, label: str = "", **properties: Any
    ) -> PlacedNode:
        """Add a node. kind: without prefix. inputs: by socket name. properties: attributes of the node (operation, mode)."""
        full = (
            kind
            if kind.startswith(("ShaderNode", "Node", "CompositorNode", "FunctionNode", "GeometryNode"))
            else self.prefix + kind
        )
        node = self.tree.nodes.new(full)
        if label:
            node.label = node.name = label
        for name, value in properties.items():
            setattr(node, name, value)
        for name, value in (inputs or {}).items():
            self.put(_socket(node.inputs, name), value)
        return PlacedNode(node)

    def group(self, group: bpy.types.NodeTree, inputs: Mapping[str, Value] | None = None, *, label: str = "") -> PlacedNode:
        """Add a node group as a node."""
        node = self.tree.nodes.new(self.prefix + "Group")
        node.node_tree = group
        node.label = node.name = label or stem(group.name)  # without Blender's number, so that digests are equal in every run
        for name, value in (inputs or {}).items():
            self.put(_socket(node.inputs, name), value)
        return PlacedNode(node)

    def bump(self, height: Value, strength: Value = 1.0, *, normal: Value | None = None) -> Socket:
        """The normal, bent by a height.

        height: mm. strength: share of the bend that is shown, 0 to 1. normal: the normal to bend; None: the surface's own.
        """
        return self.node("Bump", {"Strength": strength, "Distance": METRES, "Height": height, "Normal": normal})["Normal"]

    def put(self, socket: bpy.types.NodeSocket, value: Value | str | None) -> None:
        """Link or set one input; None leaves it as it is."""
        if value is None:
            return
        if isinstance(value, PlacedNode):
            value = next(output for output in value.node.outputs if output.enabled)
        if isinstance(value, bpy.types.NodeSocket):
            self.tree.links.new(value, socket)
        elif isinstance(value, Sequence) and not isinstance(value, str):
            size = len(socket.default_value)
            socket.default_value = (*value, 1.0)[:size] if len(value) < size else tuple(value)[:size]
        else:
            socket.default_value = value

    # --- maths -----------------------------------------------------------------------------------------------------------

    def math(self, operation: str, *values: Value, clamp: bool = False) -> Socket:
        """A scalar operation; returns its output."""
        node = self.tree.nodes.new("ShaderNodeMath")
        node.operation = operation
        node.use_clamp = clamp
        for socket, value in zip(node.inputs, values, strict=False):
            self.put(socket, value)
        return node.outputs[0]

    def vector(self, operation: str, *values: Value, scale: Value | None = None) -> Socket:
        """A vector operation; returns its vector output, or its value output for an operation that gives a number."""
        node = self.tree.nodes.new("ShaderNodeVectorMath")
        node.operation = operation
        for socket, value in zip(node.inputs, values, strict=False):
            self.put(socket, value)
        if scale is not None:
            self.put(node.inputs["Scale"], scale)
        return node.outputs["Value"] if operation in {"LENGTH", "DISTANCE", "DOT_PRODUCT"} else node.outputs["Vector"]

    def mix(self, factor: Value, a: Value, b: Value, *, blend: str = "MIX", clamp: bool = True) -> Socket:
        """Mix two colours.

        blend: Blender's name of the blend mode. clamp: keep the factor within 0 to 1.
        """
        node = self.tree.nodes.new("ShaderNodeMix")  # also available in the compositor
        node.data_type, node.blend_type, node.clamp_factor = "RGBA", blend, clamp
        by = {socket.identifier: socket for socket in node.inputs}
        for name, value in (("Factor_Float", factor), ("A_Color", a), ("B_Color", b)):
            self.put(by[name], value)
        return next(socket for socket in node.outputs if socket.identifier == "Result_Color")

    def blend(self, factor: Value, a: Value, b: Value) -> Socket:
        """Mix two numbers."""
        node = self.tree.nodes.new("ShaderNodeMix")
        node.data_type = "FLOAT"
        by = {socket.identifier: socket for socket in node.inputs}
        for name, value in (("Factor_Float", factor), ("A_Float", a), ("B_Float", b)):
            self.put(by[name], value)
        return next(socket for socket in node.outputs if socket.identifier == "Result_Float")

    def span(
        self, value: Value, low: Value, high: Value, to_low: Value = 0.0, to_high: Value = 1.0, *, smooth: bool = False
    ) -> Socket:
        """Map a number from one range to another, clamped.

        smooth: along a smooth step instead of a straight line.
        """
        node = self.tree.nodes.new("ShaderNodeMapRange")
        node.clamp = True
        node.interpolation_type = "SMOOTHSTEP" if smooth else "LINEAR"
        for name, entry in (
            ("Value", value), ("From Min", low), ("From Max", high), ("To Min", to_low), ("To Max", to_high),
        ):  # fmt: skip
            self.put(node.inputs[name], entry)
        return node.outputs["Result"]

    def ramp(self, factor: Value, stops: Sequence[tuple[float, Sequence[float]]], *, ease: bool = False) -> Socket:
        """A colour ramp of (position, colour) stops."""
        node = self.tree.nodes.new("ShaderNodeValToRGB")
        elements = node.color_ramp.elements
        node.color_ramp.interpolation = "EASE" if ease else "LINEAR"
        while len(elements) < len(stops):
            elements.new(1.0)
        for element, (position, colour) in zip(elements, stops, strict=True):
            element.position = position
            element.color = (*colour, 1.0)[:4]
        self.put(node.inputs[0], factor)
        return node.outputs["Color"]

    def noise(self, vector: Value, scale: Value, detail: float = 4.0, rough: float = 0.6, *, flat: bool = False) -> Socket:
        """Noise, 0 to 1.

        flat: two-dimensional, for tables: a third dimension would take twice the time and show nothing. detail: octaves beyond
        the first. rough: amplitude of each over the one before.
        """
        inputs = {"Vector": vector, "Scale": scale, "Detail": detail, "Roughness": rough}
        return self.node("ShaderNodeTexNoise", inputs, **({"noise_dimensions": "2D"} if flat else {}))["Factor"]

    def grey(self, value: Value) -> Socket:
        """A number as a vector or colour with three equal components."""
        return self.node("ShaderNodeCombineXYZ", {"X": value, "Y": value, "Z": value})["Vector"]

    def glimpsed(self, shader: Value, colour: Value) -> Socket:
        """The shader, replaced by a plain diffuse one of its mean `colour` for diffuse rays.

        Texture and bump are invisible in light that the surface reflects onto others, but would be computed for each ray.
        """
        plain = self.node("BsdfDiffuse", {"Color": colour, "Roughness": 0.0})
        mixed = self.node("MixShader", {"Factor": self.node("LightPath")["Is Diffuse Ray"]})
        self.put(mixed.node.inputs[1], shader)
        self.put(mixed.node.inputs[2], plain["BSDF"])
        return mixed.node.outputs[0]

    def toned(self, colour: Value) -> Socket:
        """A colour times that of the object, which is white where nothing has set it."""
        return self.mix(1.0, colour, self.node("ObjectInfo")["Color"], blend="MULTIPLY")

    # --- groups ----------------------------------------------------------------------------------------------------------

    def input(
        self,
        name: str,
        kind: str,
        default: Any = None,
        *,
        low: float = 0.0,
        high: float = 1.0,
        help: str = "",
    ) -> Socket:
        """Declare an input of the group; returns the socket to use inside.

        kind: one of `_KINDS`. low, high: limits of a number. help: its tooltip.
        """
        item = self.tree.interface.new_socket(name, in_out="INPUT", socket_type=_KINDS[kind])
        item.description = help
        if kind == "float":
            item.min_value, item.max_value = low, high
            item.default_value = 0.0 if default is None else default
        elif kind == "integer":
            item.min_value, item.max_value, item.default_value = int(low), int(high), default or 0
        elif kind == "colour":
            item.default_value = (*(default or (0.8, 0.8, 0.8)), 1.0)[:4]
        elif kind == "vector":
            item.default_value = default or (0.0, 0.0, 0.0)
            item.hide_value = default is None
        if self._given is None:
            self._given = self.tree.nodes.new("NodeGroupInput")
        return self._given.outputs[name]

    def output(self, name: str, kind: str, value: Value) -> None:
        """Declare an output of the group and link it."""
        self.tree.interface.new_socket(name, in_out="OUTPUT", socket_type=_KINDS[kind])
        if self._taken is None:
            self._taken = self.tree.nodes.new("NodeGroupOutput")
        self.put(self._taken.inputs[name], value)

    def arrange(self) -> None:
        """Arrange the nodes in columns by their distance from the output."""
        depth = _depths(self.tree)
        rows: dict[int, float] = {}
        for node in self.tree.nodes:
            column = depth[node.name]
            node.location = (-220.0 * column, rows.get(column, 0.0))
            rows[column] = rows.get(column, 0.0) - 40.0 - 22.0 * (len(node.inputs) + len(node.outputs) + 2)


def _socket(sockets: Iterable[Socket], name: str) -> Socket:
    for socket in sockets:
        if socket.name == name and socket.enabled:
            return socket
    other = _RENAMED.get(name)  # "Fac" became "Factor" in 5.2
    for socket in sockets:
        if socket.identifier == name or (other and socket.name == other):
            return socket
    found = sockets.get(name)
    if found is None:
        raise KeyError(f"no socket {name!r} among {[socket.name for socket in sockets]}")
    return found


def _depths(tree: bpy.types.NodeTree) -> dict[str, int]:
    """The number of links on the longest path from each node to an output, by node name."""
    before: dict[str, list[str]] = {node.name: [] for node in tree.nodes}
    after: dict[str, set[str]] = {node.name: set() for node in tree.nodes}
    for link in tree.links:
        before[link.to_node.name].append(link.from_node.name)
        after[link.from_node.name].add(link.to_node.name)
    depth = dict.fromkeys(before, 0)
    waiting = {name: len(targets) for name, targets in after.items()}
    ready = [name for name, count in waiting.items() if count == 0]
    while ready:
        name = ready.pop()
        for source in set(before[name]):
            depth[source] = max(depth[source], depth[name] + 1)
            waiting[source] -= 1
            if waiting[source] == 0:
                ready.append(source)
    return depth


def make_group(name: str, build: Callable[[Tree], None], *, tree_type: str = "ShaderNodeTree") -> bpy.types.NodeTree:
    """The node group that `build` writes: an equal one made earlier, or else a new one.

    A group that the user has edited is not reused.
    """
    group = bpy.data.node_groups.new(name, tree_type)
    tree = Tree(group)
    build(tree)
    tree.arrange()
    return first_equal(group, bpy.data.node_groups, GROUP_MARK, group_digest)


def first_equal(block: bpy.types.ID, blocks: Any, mark: str, digest_of: Callable[[Any], str]) -> Any:
    """An equal block that was made earlier and not edited, in which case `block` is removed; or else `block`.

    blocks: the collection of bpy.data that holds it. mark: the custom property with a block's digest. digest_of: computes it.
    """
    digest = digest_of(block)
    for other in blocks:
        if other != block and other.get(mark) == digest and digest_of(other) == digest and other.library is None:
            blocks.remove(block)
            return other
    block[mark] = digest
    return block


def group_digest(group: bpy.types.NodeTree) -> str:
    """A digest of a group and of all groups nested in it."""
    inner = sorted(group_digest(node.node_tree) for node in group.nodes if getattr(node, "node_tree", None))
    images = sorted(node.image.name for node in group.nodes if getattr(node, "image", None))
    names = [
        (item.name, item.in_out, repr(getattr(item, "default_value", None))) for item in group.interface.items_tree
        if item.item_type == "SOCKET" and item.socket_type not in {"NodeSocketColor", "NodeSocketVector"}
    ]  # fmt: skip
    words = repr((fingerprint(group), inner, images, names))
    return hashlib.sha256(words.encode()).hexdigest()[:20]
