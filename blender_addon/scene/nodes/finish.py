"""The camera's effects on a picture: vignetting, veiling glare, diffraction blur, grain.

All act on scene-linear values, before exposure and view transform, so that they are the same at every exposure. They do not
come from the scan: subtle by default, off for measurements, each with an input of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..compat import FINISH, link_compositor, our_compositor
from .builder import PlacedNode, Socket, Tree, Value, make_group

if TYPE_CHECKING:
    import bpy


def finish_group() -> bpy.types.NodeTree:
    """The group: Image in, Image out, and the four amounts."""
    return make_group(FINISH, _finish, tree_type="CompositorNodeTree")


def _finish(tree: Tree) -> None:
    image = tree.input("Image", "colour", (0.0, 0.0, 0.0))
    grain = tree.input("Grain", "float", 0.0, low=0.0, high=0.5, help="Noise of a sensor or film: its share of the light")
    vignette = tree.input("Vignette", "float", 0.0, low=0.0, high=3.0, help="Fall-off in the corners, stops")
    glare = tree.input(
        "Glare", "float", 0.0, low=0.0, high=0.5, help="Share of the light that the lens spreads over the picture"
    )
    soft = tree.input(
        "Softness", "float", 0.0, low=0.0, high=10.0, help="Diffraction: standard deviation, thousandths of the width"
    )

    width = tree.node("ShaderNodeSeparateXYZ", {"Vector": _size(tree, image)})["X"]
    sharp = _blurred(tree, image, tree.math("MULTIPLY", tree.math("MULTIPLY", soft, width), 0.001))
    wide = _blurred(tree, sharp, tree.math("MULTIPLY", width, 0.030))
    wider = _blurred(tree, sharp, tree.math("MULTIPLY", width, 0.009))
    veil = tree.mix(0.5, wide, wider)
    glowing = tree.mix(glare, sharp, veil)
    falling = tree.mix(1.0, glowing, tree.grey(_falloff(tree, image, vignette)), blend="MULTIPLY")
    noisy = tree.mix(1.0, falling, tree.grey(_grain(tree, image, grain)), blend="MULTIPLY")
    tree.output("Image", "image", noisy)


def _size(tree: Tree, image: Value) -> Socket:
    return tree.node("CompositorNodeImageInfo", {"Image": image})["Dimensions"]


def _blurred(tree: Tree, image: Value, deviation: Value) -> Socket:
    """A Gaussian blur; Blender's size is the radius of its kernel, three standard deviations (measured)."""
    reach = tree.math("MULTIPLY", deviation, 3.0)
    size = tree.node("ShaderNodeCombineXYZ", {"X": reach, "Y": reach})["Vector"]
    return tree.node("CompositorNodeBlur", {"Image": image, "Size": size})["Image"]


def _falloff(tree: Tree, image: Value, stops: Value) -> Socket:
    """A factor that falls with the square of the distance from the centre, as cos^4 near the axis, to 2^-stops in corners."""
    parts = tree.node(
        "ShaderNodeSeparateXYZ", {"Vector": tree.node("CompositorNodeImageCoordinates", {"Image": image})["Normalized"]}
    )
    x, y = (tree.math("SUBTRACT", parts[axis], 0.5) for axis in "XY")
    far = tree.math("MULTIPLY", tree.math("ADD", tree.math("MULTIPLY", x, x), tree.math("MULTIPLY", y, y)), 2.0)
    return tree.math("POWER", 2.0, tree.math("MULTIPLY", tree.math("MULTIPLY", stops, far), -1.0))


def _grain(tree: Tree, image: Value, amount: Value) -> Socket:
    """1 plus nearly normal noise of the given standard deviation: the sum of three uniform random numbers per pixel."""
    pixel = tree.node("CompositorNodeImageCoordinates", {"Image": image})["Pixel"]
    rolled: PlacedNode = tree.node("ShaderNodeTexWhiteNoise", {"Vector": pixel}, noise_dimensions="3D")
    parts = tree.node("ShaderNodeSeparateXYZ", {"Vector": rolled["Color"]})
    total = tree.math("ADD", tree.math("ADD", parts["X"], parts["Y"]), tree.math("SUBTRACT", parts["Z"], 1.5))
    return tree.math("MULTIPLY_ADD", tree.math("MULTIPLY", total, 2.0), amount, 1.0)  # the sum has a standard deviation of 1/2


def put_finish(scene: bpy.types.Scene, amounts: dict[str, float] | None) -> bool:
    """Give the scene a compositor with the finish, or remove it (None).

    False, with nothing changed, where the user has a compositor of their own.
    """
    if amounts is None:
        return our_compositor(scene) is None or link_compositor(scene, None, {})
    return link_compositor(scene, finish_group(), amounts)


def set_softness(scene: bpy.types.Scene, share: float) -> float | None:
    """Set the diffraction blur, in thousandths of the width, where the scene has the job's finish with diffraction on.

    Returns the former value; None, with nothing changed, where there is none.
    """
    tree = our_compositor(scene)
    node = tree.nodes.get(FINISH) if tree else None
    if node is None or node.inputs["Softness"].default_value <= 0.0:
        return None
    before = float(node.inputs["Softness"].default_value)
    node.inputs["Softness"].default_value = share
    return before


def diffraction_share(effective_fnumber: float, frame_width_mm: float, *, wavelength_mm: float = 0.00055) -> float:
    """Standard deviation of the Gaussian nearest to the Airy disc, in thousandths of the frame's width.

    0.42 wavelength x effective f-number (Zhang, Zerubia & Olivo-Marin 2007, Gaussian approximations of fluorescence microscope
    point-spread functions, for the in-focus paraxial case; 0.42 from memory).
    """
    return 1000.0 * 0.42 * wavelength_mm * effective_fnumber / frame_width_mm
