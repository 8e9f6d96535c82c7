"""Are the constants of shaders physically possible, has everything on the table a shader, and how far is a colour greyed?"""

from __future__ import annotations

import importlib
import pkgutil
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.colour import lab
from blender_addon.core.dressing.props import kinds as props_of
from blender_addon.core.dressing.props import make_prop
from blender_addon.core.srgb import luminance
from blender_addon.scene.nodes import kinds, props

pytestmark = pytest.mark.usefixtures("empty_scene")
METALS = ("bronze", "metal")
KINDS = [info.name for info in pkgutil.iter_modules(kinds.__path__)]
SHARES = ("Roughness", "Metallic", "Subsurface Weight", "Coat Weight", "Coat Roughness", "Sheen Weight", "Transmission Weight",
          "Alpha", "Specular IOR Level", "Anisotropic")  # fmt: skip
MADE = sorted({name for kind in props_of() for seed in (1, 2) for name in make_prop(kind, seed=seed).materials} - {"clay"})
TINT = np.array([1.1, 0.98, 0.9])
PROP_METALS = ("steel", "brass", "rule")


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


def test_constants_are_possible() -> None:
    """Shares lie between 0 and 1, indices of refraction between water's 1.33 and diamond's 2.42, and metals alone conduct."""
    found = [(kind, node) for kind in KINDS for node in shaders(kind)]
    assert {kind for kind, _ in found} == set(KINDS)
    for kind, node in found:
        values = constants(node)
        assert all(0.0 <= values[name] <= 1.0 for name in SHARES if name in values), values
        assert 1.33 <= values.get("IOR", 1.5) <= 2.42
        if "Metallic" in values and kind not in METALS:
            assert values["Metallic"] == 0.0
        assert values["Transmission Weight"] == 0.0  # nothing that is modelled in is a window


def test_light_goes_deepest_in_red() -> None:
    """Of all organic and mineral bodies that were measured, red light travels farthest (Jensen, Marschner, Levoy and Hanrahan,
    "A practical model for subsurface light transport", SIGGRAPH 2001, table 1: sigma_s' and sigma_a per channel)."""
    for node in (node for kind in KINDS for node in shaders(kind)):
        values = constants(node)
        if values.get("Subsurface Weight", 0.0) > 0.0 or node.inputs["Subsurface Weight"].is_linked:
            if node.inputs["Subsurface Radius"].is_linked:
                continue
            red, green, blue = values["Subsurface Radius"]
            assert 1.0 >= red >= green >= blue > 0.0, (red, green, blue)
            assert "Subsurface Scale" not in values or 0.0 < values["Subsurface Scale"] < 0.02  # metres
    assert bpy.data.node_groups


def test_what_a_prop_is_made_of_has_a_shader_of_possible_constants() -> None:
    for name in MADE:
        group = props.prop_group(name)
        found = [node for node in group.nodes if node.bl_idname == "ShaderNodeBsdfPrincipled"]
        assert len(found) == 1 and found[0].outputs["BSDF"].is_linked
        values = constants(found[0])
        assert all(0.0 <= values[share] <= 1.0 for share in SHARES if share in values)
        assert 1.33 <= values["IOR"] <= 2.42
        assert found[0].inputs["Metallic"].is_linked == (name in PROP_METALS) and values.get("Metallic", 0.0) == 0.0
        if values["Subsurface Weight"] > 0.0:  # red light goes deepest
            red, green, blue = values["Subsurface Radius"]
            assert red >= green >= blue > 0.0 and 0.0 < values["Subsurface Scale"] < 0.02
    with pytest.raises(KeyError):
        props.prop_group("cheese")


def test_the_mean_colour_is_that_of_a_surface() -> None:
    """Nothing reflects more than fresh snow or magnesia, 0.97, in a channel, or less than soot, 0.01 (from memory)."""
    for name in MADE:
        colour = props._mean_colour(name)
        assert ((colour >= 0.01) & (colour <= 0.97)).all()
        assert props.prop_chroma(name) == pytest.approx(float(np.hypot(*lab(colour)[1:])))
        assert props.prop_chroma(name) < props.ANY_CHROMA


def test_a_colour_is_drawn_to_the_dust_no_further_than_it_must_be() -> None:
    """The chroma that is left is at most what was asked for, and just under it; what is quiet enough stays as it is."""
    tint = TINT / float(luminance(TINT))
    for name in ("red lacquer", "yellow lacquer", "red wax", "brass", "blue glaze"):
        colour, asked = props._mean_colour(name), 0.5 * props.prop_chroma(name)
        share = props.greyed_to(name, asked, tint)
        left = [
            float(np.hypot(*lab((1.0 - part) * colour + part * float(luminance(colour)) * tint)[1:]))
            for part in (share, share - 1.0 / 40.0)
        ]
        assert 0.0 < share < 1.0 and left[0] <= asked < left[1], name
        assert props.greyed_to(name, props.ANY_CHROMA, tint) == 0.0
    assert props.greyed_to("red wax", 0.0, tint) >= 0.95, "where the tint itself has more chroma than asked, as near as can be"


def test_a_prop_is_darkened_to_the_limit_and_no_further_than_it_stays_what_it_is() -> None:
    for name in sorted({*props.MATT, *props.GLAZES, *props.COLOURS} - set(props.HANDLED)):
        bright = float(luminance(props._mean_colour(name)))
        assert props.dimmed_to(name, bright) == 1.0 == props.dimmed_to(name, 2.0), "what is dark enough stays"
        assert props.dimmed_to(name, 0.7 * bright) * bright == pytest.approx(0.7 * bright)
        assert props.dimmed_to(name, 0.0) == props.LEAST_LEFT
    assert {props.dimmed_to(name, 0.0) for name in props.METALS} == {1.0}, "a metal is as bright as what it reflects"


def test_beside_a_piece_handled_wood_is_as_dark_as_hands_make_it_and_keeps_more_of_its_colour() -> None:
    """Greyed as light as it is, a mallet of beech looks bleached: darkened first it has less chroma to lose. What the user
    names has no limit, and stays as new."""
    tint = TINT / float(luminance(TINT))
    for name, most in props.HANDLED.items():
        bright = float(luminance(props._mean_colour(name)))
        left = props.dimmed_to(name, 0.5)
        assert left < 1.0 and left * bright == pytest.approx(max(most, props.LEAST_LEFT * bright))
        assert props.greyed_to(name, 8.0, tint, left=left) < props.greyed_to(name, 8.0, tint)
        assert props.dimmed_to(name, 1.0) == 1.0
