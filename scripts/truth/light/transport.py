"""How light from every direction reaches each vertex of a truth: baked once a shape, then any light is a sum.

Visibility comes from depth maps, one for each of `COUNT` directions: a method of its own, so that what is tested (rays
against the scan) is not what made the truth. Light that bounces between surfaces goes through clusters of about 0.7 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import unit

Floats = Any
Ints = Any
COUNT = 192
PIXEL = 0.16
CLUSTER = 0.7


@dataclass(frozen=True)
class Transport:
    """normals: (n, 3). seen: (n, COUNT / 8) uint8 bits, the sky directions that each vertex sees. cluster: (n,) of c.

    Blocked views: from cluster `view_from` (b,) along direction `view_way` (b,) one sees cluster `view_to` (b,).
    """

    normals: Floats
    seen: Ints
    cluster: Ints
    view_from: Ints
    view_way: Ints
    view_to: Ints

    def direct(self, radiance: Floats) -> Floats:
        """(n, k) irradiance over pi from the sky alone; radiance: (COUNT, k)."""
        ways, weight = directions(), 4.0 / COUNT
        found = np.zeros((len(self.normals), radiance.shape[1]), np.float32)
        for part in np.array_split(np.arange(len(self.normals)), max(1, len(self.normals) // 40_000)):
            seen = np.unpackbits(self.seen[part], axis=1)[:, :COUNT].astype(np.float32)
            found[part] = (seen * np.maximum(self.normals[part].astype(np.float32) @ ways.T.astype(np.float32), 0)) @ (
                weight * radiance
            ).astype(np.float32)
        return found

    def bounced(self, direct: Floats, albedo: Floats, *, bounces: int = 3) -> Floats:
        """(c, k) irradiance over pi that other surfaces send to each cluster; direct: (n, k); albedo: (n, k) linear."""
        count = int(self.cluster.max()) + 1
        share = np.bincount(self.cluster, minlength=count)[:, None]
        average = [
            np.stack([np.bincount(self.cluster, column, count) for column in values.T], 1) / share
            for values in (direct, albedo)
        ]
        normal = unit(np.stack([np.bincount(self.cluster, column, count) for column in self.normals.T], 1))
        facing = np.maximum(np.einsum("ij,ij->i", normal[self.view_from], directions()[self.view_way]), 0.0) * 4.0 / COUNT
        light = np.zeros_like(average[0])
        for _ in range(bounces):
            sent = (average[0] + light) * average[1]
            light = np.stack(
                [np.bincount(self.view_from, facing * sent[self.view_to, k], count) for k in range(sent.shape[1])], 1
            )
        return light


def directions() -> Floats:
    """(COUNT, 3) unit directions, even over the sphere (Fibonacci lattice)."""
    number = np.arange(COUNT) + 0.5
    height = 1.0 - 2.0 * number / COUNT
    angle = np.pi * (1.0 + np.sqrt(5.0)) * number
    across = np.sqrt(1.0 - height**2)
    return np.stack([np.cos(angle) * across, np.sin(angle) * across, height], axis=1)


def baked(vertices: Floats, normals: Floats, *, seed: int = 0) -> Transport:
    """The transport of a closed mesh given by its dense vertices (mm, spacing about 0.15) and unit normals."""
    cluster, sample = _clusters(vertices, normals, seed)
    sampled = np.zeros(len(vertices), bool)
    sampled[sample] = True
    ways = directions()
    bits = np.zeros((len(vertices), COUNT), bool)
    views: list[list[Ints]] = [[], [], []]
    for number, way in enumerate(ways):
        front = np.flatnonzero(normals @ way > 0.0)
        if not len(front):
            continue
        seen = _seen(vertices[front], normals[front], way)
        bits[front, number] = seen
        hidden = front[~seen & sampled[front]]
        blocker = _next_along(vertices, hidden, np.flatnonzero(normals @ way < 0.0)[::3], way)
        views[0].append(cluster[hidden[blocker >= 0]])
        views[1].append(np.full(np.sum(blocker >= 0), number))
        views[2].append(cluster[blocker[blocker >= 0]])
    joined = [np.concatenate(part).astype(np.int32) for part in views]
    return Transport(normals, np.packbits(bits, axis=1), cluster, *joined)


def _plane(way: Floats) -> tuple[Floats, Floats]:
    helper = np.array([0.0, 0.0, 1.0]) if abs(way[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    across = np.cross(helper, way) / np.linalg.norm(np.cross(helper, way))
    return across, np.cross(way, across)


def _seen(vertices: Floats, normals: Floats, way: Floats) -> Floats:
    """(n,) which vertices (they all face the way) nothing hides along it."""
    across, upward = _plane(way)
    depth = vertices @ way
    x, y = (np.floor((value - value.min()) / PIXEL).astype(np.int64) + 1 for value in (vertices @ across, vertices @ upward))
    width, height = x.max() + 2, y.max() + 2
    pixel = y * width + x
    level = np.full(width * height, -np.inf)
    np.maximum.at(level, pixel, depth)
    level = level.reshape(height, width)
    for axis in (0, 1):  # a pixel between two high ones is a gap between samples, not a hole
        level = np.maximum(level, np.minimum(np.roll(level, 1, axis), np.roll(level, -1, axis)))
    facing = np.maximum(normals @ way, 0.05)
    slope = np.sqrt(1.0 - np.minimum(facing, 1.0) ** 2) / facing
    return level.ravel()[pixel] <= depth + 0.03 + PIXEL * np.minimum(slope, 4.0)


def _next_along(vertices: Floats, hidden: Ints, turned_away: Ints, way: Floats) -> Ints:
    """(h,) for each hidden vertex the next vertex along the way among those that look back at it, -1 where none was met."""
    if not len(hidden) or not len(turned_away):
        return np.full(len(hidden), -1, np.int64)
    across, upward = _plane(way)
    spots = np.concatenate([vertices[hidden], vertices[turned_away]])
    x, y = (np.floor((value - value.min()) / (4 * PIXEL)).astype(np.int64) for value in (spots @ across, spots @ upward))
    depth = spots @ way
    span = np.ptp(depth) + 10.0
    key = (y * (x.max() + 1) + x) * span + (depth - depth.min())
    count = len(hidden)
    order = np.argsort(key[count:])
    place = np.searchsorted(key[count:][order], key[:count] + 0.05)
    met = order[np.minimum(place, len(order) - 1)]
    same = (x[count:][met] == x[:count]) & (y[count:][met] == y[:count]) & (place < len(order))
    return np.where(same, turned_away[met], -1)


def _clusters(vertices: Floats, normals: Floats, seed: int) -> tuple[Ints, Ints]:
    """Cluster (n,) of each vertex by place and side, and one vertex of each cluster."""
    place = np.floor((vertices - vertices.min(axis=0)) / CLUSTER).astype(np.int64)
    size = place.max(axis=0) + 1
    side = np.argmax(np.abs(normals), axis=1) * 2 + (
        np.take_along_axis(normals, np.argmax(np.abs(normals), axis=1)[:, None], 1)[:, 0] > 0
    )
    keys = ((place[:, 0] * size[1] + place[:, 1]) * size[2] + place[:, 2]) * 6 + side
    order = np.random.default_rng(seed).permutation(len(vertices))
    _, first, cluster = np.unique(keys[order], return_index=True, return_inverse=True)
    back = np.zeros(len(vertices), np.int64)
    back[order] = cluster
    return back, order[first]
