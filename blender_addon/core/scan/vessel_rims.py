"""Which open edge is the rim of a vessel or a helmet, and which a hole that the scan left? By the form round it.

A hole is closed, and so is the open bottom of what stood on a table; a vessel's mouth is not, since a lid would be a lie. What
speaks for a mouth: a circle, about whose axis the whole thing was turned; that it looks up in the file's own frame; a wavy edge
of a thin shell. A small hole, and one that looks down, speaks against it. Up is not known yet where this is asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..mesh.holes import Rim
from ..mesh.triangles import TriangleMesh, face_areas, face_crosses

RIM = "rim"
"""Name of the face mark of what lies along a rim that stays open."""
SLOPE, MIDDLE = 2.6, 1.6
"""How a sum of evidence becomes a chance. These and the weights are guesses that were tried on made-up bowls, vases, helmets,
slabs and busts only."""
SURE, POSSIBLE = 0.8, 0.2
"""Chance from which a rim is left open unasked, and from which it is worth a question."""
SMALL = 0.01
"""Area of an opening over that of the surface under which it is a hole."""


@dataclass(frozen=True)
class Mouth:
    """What was found of one opening: chance (0 to 1) that it is a vessel's or helmet's rim, and evidence in words."""

    rim: Rim
    chance: float
    evidence: tuple[str, ...]


def mouths(mesh: TriangleMesh, rims: list[Rim]) -> list[Mouth]:
    """Each opening of a mesh (z as the file has it), judged."""
    vertices = np.asarray(mesh.vertices, float)
    areas = face_areas(vertices, mesh.faces)
    total = float(areas.sum())
    return [_judged(mesh, vertices, rim, total) for rim in rims]


def _judged(mesh: TriangleMesh, vertices: Floats, rim: Rim, total: float) -> Mouth:
    points: dict[str, float] = {}
    against: dict[str, float] = {}
    spots = vertices[rim.vertices]
    off = spots - rim.centre
    off = off - np.outer(off @ rim.normal, rim.normal)
    radius = np.linalg.norm(off, axis=1)
    uneven = float(radius.std() / max(float(radius.mean()), 1e-12))
    size = rim.area / max(total, 1e-12)
    points["its edge is a circle"] = 0.7 * _ramp(0.08 - uneven, 0.0, 0.05)
    turned = turned_about(vertices, mesh, rim.centre, rim.normal)
    points["the thing is turned about its middle"] = 1.3 * _ramp(turned, 0.8, 0.93) * (uneven < 0.12)
    points["its edge is wavy, as a thin shell's"] = 0.8 * _ramp(rim.flatness, 0.012, 0.03) * _ramp(size, 0.05, 0.12)
    facing = float(rim.normal[2])
    points["it looks up in the file"] = 0.9 * _ramp(facing, 0.5, 0.8)
    against["it looks down in the file, as the open bottom of a scan does"] = 1.0 * _ramp(-facing, 0.5, 0.8)
    against["it is small"] = 3.0 * (1.0 - _ramp(size, 0.5 * SMALL, SMALL))
    inward = _inside_lip(vertices, mesh, rim)
    against["it lies inside a lip"] = 1.5 * inward
    value = sum(points.values()) - sum(against.values())
    chance = float(1.0 / (1.0 + np.exp(-SLOPE * (value - MIDDLE))))
    words = [name for name, weight in sorted(points.items(), key=lambda one: -one[1]) if weight > 0.2]
    words += [f"against it: {name}" for name, weight in sorted(against.items(), key=lambda one: -one[1]) if weight > 0.2]
    return Mouth(rim, chance, tuple(words))


def turned_about(vertices: Floats, mesh: TriangleMesh, centre: Floats, axis: Floats) -> float:
    """Share (0 to 1) of the side faces that look straight away from or to an axis (3,) through a centre (3,)."""
    cross = face_crosses(vertices, mesh.faces)
    area = np.linalg.norm(cross, axis=1)
    along = cross @ axis
    level = cross - np.outer(along, axis)
    length = np.linalg.norm(level, axis=1)
    side = length > 0.35 * np.maximum(area, 1e-30)
    if side.sum() < 12:
        return 0.0
    off = vertices[mesh.faces[side]].mean(axis=1) - centre
    off = off - np.outer(off @ axis, axis)
    cosine = np.abs(np.einsum("ij,ij->i", off, level[side])) / np.maximum(np.linalg.norm(off, axis=1) * length[side], 1e-30)
    return float(area[side][cosine > 0.93].sum() / area[side].sum())


def _inside_lip(vertices: Floats, mesh: TriangleMesh, rim: Rim) -> float:
    """0 to 1: whether the surface beside an opening looks inwards, to its middle: it is the inside of a wall that was seen."""
    cross = face_crosses(vertices, mesh.faces[rim.faces])
    middle = vertices[mesh.faces[rim.faces]].mean(axis=1)
    off = middle - rim.centre
    off = off - np.outer(off @ rim.normal, rim.normal)
    inward = -np.einsum("ij,ij->i", off, cross) / np.maximum(np.linalg.norm(off, axis=1) * np.linalg.norm(cross, axis=1), 1e-30)
    return _ramp(float(np.median(inward)), 0.2, 0.5)


def _ramp(value: float, low: float, high: float) -> float:
    return float(np.clip((value - low) / (high - low), 0.0, 1.0))
