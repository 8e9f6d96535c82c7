"""Props have the sizes of the real things, end as the real things do, and stay what they are from one release to the next."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.dressing.props import kinds, make_prop
from blender_addon.core.dressing.props.prop import Prop
from blender_addon.core.mesh.triangles import face_areas, signed_volume

KEPT = json.loads(Path(__file__).with_name("props_kept.json").read_text(encoding="utf-8"))

# Length, width and height in mm of such things as they are sold or lie about, least and most (common practice, from memory),
# measured along and across the thing as it lies. A pencil is 7 mm across its flats, on one of which it lies, and 8 mm
# across its corners.
SOLD = {
    "bone folder": ((115, 160), (15, 25), (2, 4)), "boxwood tool": ((140, 200), (8, 16), (6, 12)),
    "brush": ((170, 240), (5, 12), (5, 12)), "callipers": ((120, 180), (70, 160), (4, 9)),
    "cork": ((20, 40), (20, 34), (20, 40)), "cork jar": ((28, 45), (28, 45), (35, 60)),
    "cutting wire": ((90, 180), (60, 130), (8, 12)), "fine brush": ((120, 180), (3.5, 7), (3.5, 7)),
    "dowel": ((20, 50), (5, 12), (5, 12)), "gouge": ((190, 270), (20, 30), (20, 30)), "jar": ((50, 90), (50, 90), (50, 90)),
    "knife": ((160, 210), (14, 24), (8, 15)), "lath": ((130, 230), (18, 30), (5, 8)),
    "loop tool": ((150, 210), (12, 30), (8, 15)), "lump": ((30, 70), (25, 50), (15, 35)),
    "mallet": ((180, 250), (55, 80), (55, 80)), "metal rib": ((90, 130), (35, 60), (2, 7)),
    "needle tool": ((110, 160), (6, 10), (6, 10)), "palette tile": ((70, 152), (70, 152), (5, 9)),
    "pellets": ((18, 50), (8, 32), (6, 12)), "pencil": ((85, 190), (8.0, 8.5), (7.0, 7.5)),
    "plaster bowl": ((85, 120), (85, 120), (40, 60)),
    "plaster piece": ((35, 70), (25, 55), (15, 30)), "rib": ((90, 130), (35, 55), (4, 8)),
    "riffler": ((150, 190), (4, 9), (4, 12)), "rule": ((154, 160), (13, 26), (0.5, 1.2)),
    "saucer": ((65, 110), (65, 110), (14, 28)), "scale card": ((105, 120), (15, 30), (0.3, 1.0)),
    "scalpel": ((130, 165), (7, 10), (2, 4)), "spatula": ((145, 200), (8, 16), (3, 8)),
    "sponge": ((55, 90), (40, 70), (20, 40)), "string": ((40, 110), (30, 70), (2.5, 9)),
    "swab": ((130, 180), (4, 8), (4, 8)), "tweezers": ((100, 140), (8, 18), (7, 12)),
    "wax bar": ((50, 100), (18, 30), (10, 20)), "wax rods": ((75, 130), (12, 50), (3, 8)),
    "wire end": ((25, 85), (2, 45), (1.5, 3.2)), "wood block": ((40, 90), (25, 50), (12, 30)),
}  # fmt: skip


def extents(prop: Prop) -> np.ndarray:
    """Length, width and height as it lies, mm: along its longest horizontal direction, across it, and up."""
    flat = prop.mesh.vertices[:, :2]
    axes = np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2]
    along, across = sorted(np.ptp(flat @ axes.T, axis=0), reverse=True)
    return np.array([along, across, np.ptp(prop.mesh.vertices[:, 2])])


def described(prop: Prop) -> list[float]:
    """Its three extents along the axes in mm, its volume in mm3, the area in mm2 of what is made of each material, and how far
    the surface lies from the middle on each axis (root of the mean square)."""
    points, faces = np.asarray(prop.mesh.vertices, float), prop.mesh.faces
    area = face_areas(points, faces)
    middle = points[faces].mean(axis=1)
    spread = np.sqrt(area @ middle**2 / area.sum())
    assert prop.mesh.material is not None
    parts = np.bincount(prop.mesh.material, area, len(prop.materials))
    return [*np.ptp(points, axis=0).tolist(), signed_volume(points, faces), *parts.tolist(), *spread.tolist()]


def made_of(prop: Prop, material: str) -> np.ndarray:
    """(k, 3) the corners of the faces of a material."""
    assert prop.mesh.material is not None
    return prop.mesh.vertices[np.unique(prop.mesh.faces[prop.mesh.material == prop.materials.index(material)])]


@pytest.mark.parametrize("name", SOLD)
def test_a_prop_is_as_large_as_the_real_thing(name: str) -> None:
    low, high = np.array(SOLD[name], float).T
    found = extents(make_prop(name, seed=3))
    assert ((low <= found) & (found <= high)).all(), found.round(1).tolist()


@pytest.mark.parametrize("name", KEPT)
def test_an_individual_stays_what_it_is(name: str) -> None:
    """A job that a client has approved shows the same bench when it is run again after an update, to 1 part in 2000.

    Who changes a prop on purpose writes the figures that are found into the table, and a line into the CHANGELOG.
    """
    for seed in (1, 2):
        prop = make_prop(name, seed=seed)
        found, usual = [float(f"{value:.5g}") for value in described(prop)], KEPT[name][str(seed)]
        count = len(prop.materials)
        assert list(prop.materials) == usual[:count]
        assert found == pytest.approx(usual[count:], rel=5e-4, abs=1e-3), json.dumps([*prop.materials, *found])


def test_no_prop_of_earlier_releases_is_lost() -> None:
    """A new one is held to sizes, and to its own figures, from when it stands in the tables."""
    assert set(KEPT) <= set(kinds()) and set(SOLD) <= set(kinds())


@pytest.mark.parametrize("name", ["spatula", "riffler", "fine brush", "needle tool"])
def test_pointed_tools_end_in_a_point(name: str) -> None:
    """Within half a millimetre of its outermost points such a tool is a millimetre and a half across, or less."""
    for seed in range(1, 4):
        points = make_prop(name, seed=seed).mesh.vertices
        ends = [points[:, 0] > points[:, 0].max() - 0.5]
        ends += [points[:, 0] < points[:, 0].min() + 0.5] if name in ("spatula", "riffler") else []
        for end in ends:
            assert np.ptp(points[end][:, 1:], axis=0).max() < 1.5, (seed, np.ptp(points[end][:, 1:], axis=0))


def test_wire_needle_and_lead_have_their_gauge() -> None:
    """A wire for cutting clay is 0.3 to 1 mm thick, a needle of such a tool 0.8 to 2, a lead 2 to 3 (common practice)."""
    wire = make_prop("cutting wire", seed=3)
    loop = made_of(wire, "steel")
    ring = loop[:8]  # the first ring of the tube
    assert 0.3 <= np.linalg.norm(ring - ring.mean(axis=0), axis=1).mean() * 2 <= 1.0
    needle = made_of(make_prop("needle tool", seed=3), "steel")
    assert 0.8 <= min(np.ptp(needle[:, 1]), np.ptp(needle[:, 2])) <= 2.0
    pencil = make_prop("pencil", seed=3)
    lead = made_of(pencil, "graphite")
    lead = lead[lead[:, 0] > lead[:, 0].max() - 20.0]
    assert 2.0 <= np.ptp(lead[:, 1]) <= 3.0
