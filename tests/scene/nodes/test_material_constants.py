"""Are the constants of the materials' shaders physically possible, and of the kind that the material is?"""

from __future__ import annotations

import importlib
import pkgutil
from typing import Any

import bpy
import pytest

from blender_addon.scene.nodes import kinds

pytestmark = pytest.mark.usefixtures("empty_scene")
METALS = ("bronze", "metal")
KINDS = [info.name for info in pkgutil.iter_modules(kinds.__path__)]
SHARES = ("Roughness", "Metallic", "Subsurface Weight", "Coat Weight", "Coat Roughness", "Sheen Weight", "Transmission Weight",
          "Alpha", "Specular IOR Level", "Anisotropic")  # fmt: skip


def shaders(kind: str) -> list[Any]:
    """The Principled shaders of a material's group and of the groups in it."""
    recipe = importlib.import_module(f"{kinds.__name__}.{kind}").RECIPE
    waiting, found, seen = [recipe.group()], [], set()
    while waiting:
        tree = waiting.pop()
        for node in tree.nodes:
            if node.bl_idname == "ShaderNodeBsdfPrincipled":
                found.append(node)
            inside = getattr(node, "node_tree", None)
            if inside is not None and inside.name not in seen:
                seen.add(inside.name)
                waiting.append(inside)
    return found


def constants(node: Any) -> dict[str, Any]:
    """The values of the inputs that nothing is linked to."""
    return {
        socket.name: socket.default_value for socket in node.inputs if not socket.is_linked and hasattr(socket, "default_value")
    }


@pytest.mark.parametrize("kind", KINDS)
def test_constants_are_possible(kind: str) -> None:
    """Shares lie between 0 and 1, indices of refraction between water's 1.33 and diamond's 2.42, and metals alone conduct."""
    found = shaders(kind)
    assert found
    for node in found:
        values = constants(node)
        assert all(0.0 <= values[name] <= 1.0 for name in SHARES if name in values), values
        assert 1.33 <= values.get("IOR", 1.5) <= 2.42
        if "Metallic" in values and kind not in METALS:
            assert values["Metallic"] == 0.0
        assert values["Transmission Weight"] == 0.0  # nothing that is modelled in is a window


@pytest.mark.parametrize("kind", KINDS)
def test_light_goes_deepest_in_red(kind: str) -> None:
    """Of all organic and mineral bodies that were measured, red light travels farthest (Jensen, Marschner, Levoy and Hanrahan,
    "A practical model for subsurface light transport", SIGGRAPH 2001, table 1: sigma_s' and sigma_a per channel)."""
    for node in shaders(kind):
        values = constants(node)
        if values.get("Subsurface Weight", 0.0) > 0.0 or node.inputs["Subsurface Weight"].is_linked:
            if node.inputs["Subsurface Radius"].is_linked:
                continue
            red, green, blue = values["Subsurface Radius"]
            assert 1.0 >= red >= green >= blue > 0.0, (red, green, blue)
            assert "Subsurface Scale" not in values or 0.0 < values["Subsurface Scale"] < 0.02  # metres
    assert bpy.data.node_groups
