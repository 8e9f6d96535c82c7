"""What does a picture hold, by its pixels and by how it goes with the mesh? Facts alone; `picture_roles` judges them.

By its pixels: a normal map's colours are unit vectors, a data map is exactly grey or its channels show different things, a mask
or a layout of islands has few flat colours or thin lines. With the mesh: the two sides of a seam of the layout show one place,
so that whatever was painted or photographed on this surface agrees there; a map of positions or of normals in space follows
them; occlusion follows the recesses.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.preview import sampled_by_area
from ..mesh.topology import first_alike
from ..mesh.triangles import TriangleMesh, face_crosses, gathered, unit
from ..rasters import colours_at
from ..records import record
from .light.spherical_harmonics import basis
from .texels import rasterize


@record
class ContentConstants:
    """Numbers of what is read of a picture."""

    points: int = 8_000
    """Random places at which a picture is read, to bound the time."""
    seams: int = 4_000
    """Places on seams that are compared at most, to bound the time."""
    fewest_seams: int = 40
    """Pairs below which the two sides of the seams say nothing."""
    mask_size: int = 128
    """Side of the raster that shows which parts of the layout are covered."""


CONTENT = ContentConstants()


@record
class Pixels:
    """What a picture's pixels say by themselves, shares 0 to 1 of its pixels that are not transparent.

    grey: exactly grey all over, as data is and a photo is not. unit: part that are unit vectors when read as 2 c - 1. outward:
    mean third component of these. spread: 1 - length of their mean, 0 where all point one way, 1 where they point all round.
    primaries: part that are pure and bright (no real surface is). together: correlation -1 to 1 of the fine detail of red,
    green and blue, which a photo shows alike; 1 for grey. colours: how many flat colours make up 97 %, at most 64. lines: part
    that is thin lines on one flat ground. even: one colour all over.
    """

    grey: bool
    unit: float
    outward: float
    spread: float
    primaries: float
    together: float
    colours: int
    lines: float
    even: bool


@record
class Fit:
    """How a picture goes with a mesh. None where there is nothing to tell it by.

    seams: 1 where both sides of the seams show the same, 0 where they agree no more than two random places. position: part of
    its variance that is linear in the place (the least of its channels); normal: the same in the surface's direction. light:
    part of the luminance's variance that a smooth light on the normals explains. recess: correlation of its brightness with
    how far places stand out of recesses. laid: 1 where its ground lies outside of the mesh's islands and its content inside, -1
    where they contradict each other; None where it has no plain ground.
    """

    seams: float | None = None
    position: float = 0.0
    normal: float = 0.0
    light: float = 0.0
    recess: float | None = None
    laid: float | None = None


@dataclass(frozen=True, eq=False)
class Layout:
    """Places of a textured mesh at which pictures are read. uv (n, 2), position and normal (n, 3) of random places;
    seam_uv (k, 2, 2): the two texture places of a place on a seam. covered: (s, s) bool. vertex and weight
    (n, 3): corners and barycentrics of the places."""

    uv: Floats
    position: Floats
    normal: Floats
    seam_uv: Floats
    covered: Bools
    vertex: Ints
    weight: Floats


def pixels_of(picture: Floats) -> Pixels:
    """The facts of a picture (h, w, 3 or 4), display values 0 to 1 as stored; a reduced copy of some 256 to 512 pixels does.

    It is worked on a channel at a time: each is one row in memory, which is several times faster than every third number.
    """
    planes = np.ascontiguousarray(np.moveaxis(picture[..., :3], -1, 0))
    shown = whole = planes.reshape(3, -1)
    if picture.shape[-1] == 4:
        opaque = picture[..., 3].reshape(-1) > 0.5
        if 0.02 < float(np.mean(opaque)) < 0.999:
            shown = whole[:, opaque]
    red, green, blue = shown
    peak = np.maximum(np.maximum(red, green), blue)  # an order faster than along the first axis
    range_ = peak - np.minimum(np.minimum(red, green), blue)
    bright = peak > 0.02
    length = np.sqrt(sum(np.square(2.0 * channel - 1.0) for channel in shown))
    sound = bright & (np.abs(length - 1.0) < 0.15)
    mean = np.array([2.0 * channel[sound].mean() - 1.0 for channel in shown]) if sound.any() else np.zeros(3)
    grey = bool(np.mean(range_ < 1.6 / 255) >= 0.99)
    box = _boxes(shown)
    return Pixels(
        grey=grey,
        unit=float(sound.sum() / bright.sum()) if bright.any() else 0.0,
        outward=float(mean[2]),
        spread=max(0.0, float(1.0 - np.linalg.norm(mean))),
        primaries=float(np.mean((peak > 0.5) & (range_ > 0.9 * peak))),
        together=1.0 if grey else _together(planes),
        colours=_flat_colours(box),
        lines=_lines(planes, box if shown is whole else _boxes(whole)),
        even=_is_even(shown),
    )


def _is_even(shown: Floats) -> bool:
    """Whether 98 % of the colours (3, n) differ by no more than rounding does; a few of them tell where they differ much."""

    def spread(colours: Floats) -> float:
        return float(np.ptp(np.quantile(colours, [0.01, 0.99], axis=1), axis=0).max())

    return spread(shown[:, ::16]) < 10 / 255 and spread(shown) < 2.5 / 255


def _together(planes: Floats) -> float:
    """Mean correlation of the fine detail of the channels (3, h, w), by how much detail each pair has."""
    fine = [_fine(plane) for plane in planes]
    covariance = np.array([[first @ second for second in fine] for first in fine]) / max(len(fine[0]), 1)
    spread = np.sqrt(np.maximum(np.diag(covariance), 1e-12))
    pairs = ((0, 1), (1, 2), (0, 2))
    weight = np.array([spread[a] * spread[b] for a, b in pairs])
    value = np.array([covariance[a, b] / (spread[a] * spread[b]) for a, b in pairs])
    return float((weight * value).sum() / weight.sum()) if weight.sum() > 1e-9 else 1.0


def _fine(plane: Floats) -> Floats:
    """(n,) how far the inner pixels of a channel (h, w) differ from their neighbours; a few hard edges do not speak for all."""
    beside = plane[2:, 1:-1] + plane[:-2, 1:-1]
    beside += plane[1:-1, 2:]
    beside += plane[1:-1, :-2]
    beside *= -0.25
    beside += plane[1:-1, 1:-1]
    return np.clip(beside, -0.1, 0.1, out=beside).reshape(-1)


def _boxes(shown: Floats) -> Ints:
    """(n,) which of 16 x 16 x 16 boxes of colour each of the colours (3, n) lies in."""
    red, green, blue = (np.clip(channel * 16, 0, 15).astype(np.int32) for channel in shown)
    return (red * 16 + green) * 16 + blue


def _flat_colours(box: Ints, most: int = 64) -> int:
    """How many of the boxes of colour (n,), of 1/16 each way, make up 97 % of the pixels."""
    counts = np.sort(np.bincount(box))[::-1]
    reach = np.cumsum(counts) / max(len(box), 1)
    return min(int(np.searchsorted(reach, 0.97)) + 1, most)


def _lines(planes: Floats, box: Ints) -> float:
    """Part of the pixels (3, h, w), in boxes of colour (h * w,), that stands out of the most usual colour in lines no wider
    than some pixels; 0 without such a ground."""
    ground = _usual_colour(planes.reshape(3, -1), box)
    red, green, blue = (np.abs(channel - usual) > 0.1 for channel, usual in zip(planes, ground, strict=True))
    marked = red | green | blue
    share = float(marked.mean())
    if not 0.001 < share < 0.5:
        return 0.0
    core = marked
    for _ in range(2):
        inner = core.copy()
        inner[1:] &= core[:-1]
        inner[:-1] &= core[1:]
        inner[:, 1:] &= core[:, :-1]
        inner[:, :-1] &= core[:, 1:]
        core = inner
    return share if float(core.mean()) < 0.12 * share else 0.0


def _usual_colour(shown: Floats, box: Ints) -> Floats:
    """(3,) median of the colours (3, n) in the fullest of the boxes of colour (n,)."""
    within = box == np.bincount(box).argmax()
    return np.array([np.median(channel[within]) for channel in shown])


def layout_of(mesh: TriangleMesh, faces_used: Bools, *, seed: int = 1) -> Layout | None:
    """The layout of the faces in `faces_used` (m,) of a mesh with UVs; None where none of them has an area."""
    if mesh.uv is None or not faces_used.any():
        return None
    faces, uv = (mesh.faces, mesh.uv) if faces_used.all() else (mesh.faces[faces_used], mesh.uv[faces_used])
    part = TriangleMesh(mesh.vertices, faces, uv if np.isfinite([uv.min(), uv.max()]).all() else np.nan_to_num(uv))
    assert part.uv is not None
    if not all(np.ptp(part.uv[..., axis]) for axis in range(2)):  # several times faster than along the short axis
        return None
    first, place = same_places(part.vertices)  # some formats split vertices along the seams
    faces = place[part.faces]
    face, weight = sampled_by_area(part, CONTENT.points, seed=seed)
    corners = part.faces[face]
    asked = np.zeros(len(first), bool)
    asked[place[corners]] = True
    # the faces that have a say in the normals that are asked for
    beside = faces[asked[faces[:, 0]] | asked[faces[:, 1]] | asked[faces[:, 2]]]
    around = gathered(face_crosses(part.vertices[first].astype(float), beside), beside, len(first))
    covered = np.zeros(CONTENT.mask_size * CONTENT.mask_size, bool)
    covered[
        rasterize(part.uv[_over_centres(part.uv, CONTENT.mask_size)], height=CONTENT.mask_size, width=CONTENT.mask_size).index
    ] = True
    return Layout(
        np.einsum("nk,nkd->nd", weight, part.uv[face]),
        np.einsum("nk,nkd->nd", weight, part.vertices[corners].astype(float)),
        unit(np.einsum("nk,nkd->nd", weight, unit(around[place[corners]]))),
        _seams(faces, part.uv, seed),
        covered.reshape(CONTENT.mask_size, CONTENT.mask_size),
        corners,
        weight,
    )


def quick_fit_of(picture: Floats, mesh: TriangleMesh, faces_used: Bools, *, seed: int = 1) -> Fit:
    """Part of the `Fit`, from random faces of a mesh of any size: whether the picture is a map of positions or normals.

    picture: (h, w, 3), row 0 at v = 0. faces_used: (m,) the faces that show it.
    """
    used = np.flatnonzero(faces_used)
    if mesh.uv is None or not len(used):
        return Fit()
    some = used[np.random.default_rng(seed).integers(0, len(used), CONTENT.points)]
    seen = colours_at(picture, np.nan_to_num(mesh.uv[some]).mean(axis=1))
    if float(seen.std(axis=0).max()) < 1 / 255:
        return Fit()
    faces = mesh.faces[some]
    normal = unit(face_crosses(mesh.vertices, faces).astype(float))
    place = mesh.vertices[faces].astype(float).mean(axis=1)
    return Fit(
        position=explained(place, seen),
        normal=explained(normal, seen),
        light=explained(basis(normal)[:, 1:], np.log(np.maximum(seen.mean(axis=1), 0.02))),
    )


def same_places(vertices: Floats) -> tuple[Ints, Ints]:
    """Of vertices (n, 3) the first at each place, and for each vertex the number of its place: to the last bit the same.

    Places are numbered in the order of the vertices, in which neighbours lie near each other in memory.
    """
    bits = (np.ascontiguousarray(vertices, np.float32) + np.float32(0.0)).view(np.int32)  # -0 is 0
    first = first_alike(len(bits), lambda rows: bits[rows].astype(np.int64))
    kept = first == np.arange(len(first))
    return np.flatnonzero(kept), (np.cumsum(kept) - 1)[first]


def _over_centres(uv: Floats, size: int) -> Bools:
    """(m,) whether a face (m, 3, 2) may lie over the centre of a texel: its box reaches one, or it repeats the picture."""
    lowest, highest = (
        np.floor(edge(edge(uv[:, 0], uv[:, 1]), uv[:, 2]) * size + (offset - 0.5))
        for edge, offset in ((np.minimum, -0.01), (np.maximum, 0.01))
    )
    return (highest[:, 0] > lowest[:, 0]) & (highest[:, 1] > lowest[:, 1])


def _seams(faces: Ints, uv: Floats, seed: int) -> Floats:
    """(k, 2, 2) UVs at the middles of edges whose two faces lie apart in the layout, a little inside of each face."""
    place = np.zeros((int(faces.max()) + 1, 2), uv.dtype)
    place[faces] = uv  # one of the texture places of each vertex: on a seam another corner has another
    torn, near = np.zeros(len(place), bool), np.zeros(len(faces), bool)
    for corner in range(3):  # one by one: several times faster than along a short axis
        vertex, own = faces[:, corner], uv[:, corner]
        torn[vertex[(own[:, 0] != place[vertex, 0]) | (own[:, 1] != place[vertex, 1])]] = True
    for corner in range(3):
        near |= torn[faces[:, corner]]
    faces, uv = faces[near], uv[near]
    count = len(faces)
    if not count:
        return np.zeros((0, 2, 2), uv.dtype)
    starts, stops = faces.T.reshape(-1), np.roll(faces, -1, axis=1).T.reshape(-1)
    key = np.minimum(starts, stops).astype(np.int64) * (int(faces.max()) + 1) + np.maximum(starts, stops)
    order = np.argsort(key, kind="stable")
    same = key[order[1:]] == key[order[:-1]]
    first, second = order[:-1][same], order[1:][same]

    def ends(rows: Ints) -> tuple[Floats, Floats]:
        """The texture places (k, 2) of the two ends of edges, numbered side by side."""
        face, corner = rows % count, rows // count
        return uv[face, corner], uv[face, (corner + 1) % 3]

    (a, b), (c, d) = ends(first), ends(second)
    alike = (starts[first] == starts[second])[:, None]  # both faces run along the edge the same way
    off = np.maximum(np.abs(a - np.where(alike, c, d)), np.abs(b - np.where(alike, d, c)))
    apart = np.maximum(off[:, 0], off[:, 1]) > 1e-3
    first, second = first[apart], second[apart]
    if len(first) > CONTENT.seams:
        chosen = np.random.default_rng(seed).choice(len(first), CONTENT.seams, replace=False)
        first, second = first[chosen], second[chosen]
    inside = [0.35 * sum(ends(rows)) + 0.3 * uv[rows % count].mean(axis=1) for rows in (first, second)]
    return np.stack(inside, axis=1)


def fit_of(picture: Floats, layout: Layout, *, recess: Callable[[], Floats] | None = None) -> Fit:
    """How a picture (h, w, 3 or 4), row 0 at v = 0, goes with a layout.

    recess: (n,) how deep each place lies in a recess, asked only for a grey picture.
    """
    seen = colours_at(picture, layout.uv)
    if float(seen.std(axis=0).max()) < 1 / 255:
        return Fit()
    bright = np.log(np.maximum(seen.mean(axis=1), 0.02))
    deep = recess() if recess is not None else None
    return Fit(
        seams=_agreement(picture, layout.seam_uv),
        position=explained(layout.position, seen),
        normal=explained(layout.normal, seen),
        light=explained(basis(layout.normal)[:, 1:], bright),
        recess=None if deep is None else -_correlation(deep, bright),
        laid=_laid(picture, layout.covered),
    )


def _agreement(picture: Floats, seam_uv: Floats) -> float | None:
    if len(seam_uv) < CONTENT.fewest_seams:
        return None
    here, other = colours_at(picture, seam_uv[:, 0]), colours_at(picture, seam_uv[:, 1])
    chance = np.roll(other, len(other) // 2 + 1, axis=0)
    usual = float(np.abs(here - chance).mean())
    return float(1.0 - np.abs(here - other).mean() / usual) if usual > 2 / 255 else None


def explained(design: Floats, values: Floats) -> float:
    """Part 0 to 1 of the variance of `values` (n,), or the least part of those (n, c), that is linear in the columns of
    `design` (n, k)."""
    own = values.reshape(len(values), -1)
    own = own - own.mean(axis=0)
    columns = design - design.mean(axis=0)
    total = np.einsum("nc,nc->c", own, own)
    if total.min() < 1e-9:
        return 0.0
    solution, *_ = np.linalg.lstsq(columns.T @ columns, columns.T @ own, rcond=None)  # small, whatever the number of values
    left = own - columns @ solution
    return float(np.clip(1.0 - np.einsum("nc,nc->c", left, left) / total, 0.0, 1.0).min())


def _correlation(values: Floats, other: Floats) -> float:
    if np.std(values) < 1e-9 or np.std(other) < 1e-9:
        return 0.0
    return float(np.corrcoef(values, other)[0, 1])


def _laid(picture: Floats, covered: Bools) -> float | None:
    """1 where a plain ground lies outside of the islands alone, -1 where it lies inside of them."""
    inside = covered
    outside = ~grown(covered, 3)  # colours are often bled over the islands' borders
    if outside.mean() < 0.03 or inside.mean() < 0.03:
        return None
    height, width = picture.shape[:2]
    rows, columns = ((np.arange(CONTENT.mask_size) + 0.5) * side / CONTENT.mask_size for side in (height, width))
    small = picture[rows.astype(int)][:, columns.astype(int)]
    ground_colours = np.ascontiguousarray(small[outside][:, :3].T)
    ground = _usual_colour(ground_colours, _boxes(ground_colours))
    plain = np.abs(small[..., :3] - ground).max(axis=2) < 0.03
    if small.shape[2] == 4 and 0.02 < float(np.mean(small[..., 3] < 0.5)) < 0.98:
        plain = small[..., 3] < 0.5
    if float(plain.mean()) < 0.03:
        return None
    return float(plain[outside].mean() - plain[inside].mean()) if plain[outside].mean() > 0.5 else float(-plain[inside].mean())


def grown(marks: Bools, steps: int) -> Bools:
    """Marks (h, w) bool and what lies within `steps` of them (4-neighbour)."""
    out = marks.copy()
    for _ in range(steps):
        wide = out.copy()
        wide[1:] |= out[:-1]
        wide[:-1] |= out[1:]
        wide[:, 1:] |= out[:, :-1]
        wide[:, :-1] |= out[:, 1:]
        out = wide
    return out
