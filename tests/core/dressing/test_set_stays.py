"""Tabletops, debris, light set-ups and the room stay what they are from one release to the next.

A job that a client has approved shows the same set when it is run again after an update. The figures in `set_kept.json` are
those of today, to 1 part in 2000; who changes a set on purpose writes the figures that are found into the table, and a line
into the CHANGELOG. That the shapes are right is held by the tests of their sizes and of the light.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.dressing.debris.pieces import BODIES, library
from blender_addon.core.dressing.setups import kinds as setups
from blender_addon.core.dressing.setups.setup import Place
from blender_addon.core.dressing.tabletops.backdrop import assembled, workshop_parts
from blender_addon.core.mesh.triangles import TriangleMesh, face_areas, face_normals, signed_volume
from tests.core.dressing.test_set_shapes import TOPS

KEPT = json.loads(Path(__file__).with_name("set_kept.json").read_text(encoding="utf-8"))


def of_mesh(mesh: TriangleMesh) -> list[float]:
    """Extents along the axes, volume, area, how far the surface lies from the origin (root mean square an axis), mean slope."""
    points, faces = np.asarray(mesh.vertices, float), mesh.faces
    area = face_areas(points, faces)
    spread = np.sqrt(area @ points[faces].mean(axis=1) ** 2 / area.sum())
    upright = float(area @ np.abs(face_normals(points, faces)[:, 2]) / area.sum())
    return [*np.ptp(points, axis=0).tolist(), signed_volume(points, faces), float(area.sum()), *spread.tolist(), upright]


def top(name: str) -> list[float]:
    """A tabletop's mesh and the means and deviations of what its material is given."""
    mesh = TOPS[name](1).mesh
    colours = [value for key in sorted(mesh.colours) for value in (mesh.colours[key].mean(), mesh.colours[key].std())]
    return [*of_mesh(mesh), *map(float, colours)]


def debris(body: str) -> list[float]:
    """Of each class of pieces: radius, height, thickness, volume and area, mean over four."""
    pieces = library(body, seed=3, variants=4)
    return [
        value
        for kind in dict.fromkeys(piece.kind for piece in pieces)
        for value in np.mean(
            [[p.radius, p.height, p.thickness, *of_mesh(p.mesh)[3:]] for p in pieces if p.kind == kind], axis=0
        ).tolist()
    ]


def light(name: str) -> list[float]:
    """Every lamp, card and the room of a set-up for a piece 80 mm high, seen from the front and a little above."""
    camera = np.array([0.0, -np.cos(0.2), np.sin(0.2)])
    set_up = setups()[name].make(Place(np.array([0.0, 0.0, 40.0]), 1.0, camera, 0.0))
    found = [
        set_up.white_kelvin,
        set_up.room.zenith,
        set_up.room.horizon,
        set_up.room.ground,
        set_up.room.sky_kelvin,
        set_up.room.ground_kelvin,
    ]
    for lamp in set_up.lamps:
        found += [*lamp.centre, *lamp.aim, lamp.width, lamp.height, lamp.radiance, lamp.kelvin, lamp.spread, float(lamp.round)]
    for card in set_up.cards:
        found += [*card.centre, *card.aim, card.width, card.height, card.albedo]
    return [float(value) for value in found]


SETS: dict[str, Callable[[], list[float]]] = {
    **{f"top {name}": lambda name=name: top(name) for name in TOPS},  # type: ignore[misc]
    **{f"debris {body}": lambda body=body: debris(body) for body in BODIES},  # type: ignore[misc]
    **{f"light {name}": lambda name=name: light(name) for name in setups()},  # type: ignore[misc]
    "room": lambda: of_mesh(assembled(workshop_parts(1350.0, seed=2))),
}


@pytest.mark.parametrize("name", KEPT)
def test_a_set_stays_what_it_is(name: str) -> None:
    found = [float(f"{value:.5g}") for value in SETS[name]()]
    assert found == pytest.approx(KEPT[name], rel=5e-4, abs=1e-3), json.dumps(found)
