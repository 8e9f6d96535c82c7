"""Has everything that props are made of a material, of possible constants, and is a colour drawn back as far as asked?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.colour import lab
from blender_addon.core.dressing.props import kinds, make_prop
from blender_addon.core.srgb import luminance
from blender_addon.scene.nodes import props
from tests.scene.nodes.test_material_constants import SHARES, constants

pytestmark = pytest.mark.usefixtures("empty_scene")
MADE = sorted({name for kind in kinds() for seed in (1, 2, 3) for name in make_prop(kind, seed=seed).materials} - {"clay"})
TINT = np.array([1.1, 0.98, 0.9])
METALS = ("steel", "brass", "rule")


@pytest.mark.parametrize("name", MADE)
def test_what_a_prop_is_made_of_has_a_shader_of_possible_constants(name: str) -> None:
    group = props.prop_group(name)
    found = [node for node in group.nodes if node.bl_idname == "ShaderNodeBsdfPrincipled"]
    assert len(found) == 1 and found[0].outputs["BSDF"].is_linked
    values = constants(found[0])
    assert all(0.0 <= values[share] <= 1.0 for share in SHARES if share in values)
    assert 1.33 <= values["IOR"] <= 2.42
    assert found[0].inputs["Metallic"].is_linked == (name in METALS) and values.get("Metallic", 0.0) == 0.0
    if values["Subsurface Weight"] > 0.0:  # red light goes deepest: see test_material_constants.py
        red, green, blue = values["Subsurface Radius"]
        assert red >= green >= blue > 0.0 and 0.0 < values["Subsurface Scale"] < 0.02
    with pytest.raises(KeyError):
        props.prop_group("cheese")


@pytest.mark.parametrize("name", MADE)
def test_the_mean_colour_is_that_of_a_surface(name: str) -> None:
    """Nothing reflects more than fresh snow or magnesia, 0.97, in a channel, or less than soot, 0.01 (from memory)."""
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
