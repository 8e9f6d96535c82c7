"""How is a picture on a surface filtered in mm, whatever its UV layout? On overlapping flat patches of the surface itself.

Each patch is a square of cells in the tangent plane of its centre. Texels near that plane and facing its way are splatted
into the cells, whichever UV island they belong to: a patch knows no seam. What comes out of the filter is read back by the
texels, blended over all patches that hold them, nearer centres counting more.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.triangles import across, unit
from ..records import record
from ..threads import product


@record
class PatchConstants:
    """Numbers of the patches; guesses where nothing else is said."""

    cells: int = 96
    """Side of a patch in cells; the net was trained on patches of this size."""
    spacing: float = 0.42
    """Distance between patch centres, in edges of a patch."""
    core: float = 0.45
    """Distance to a patch's centre, in edges of it, within which a texel reads from it."""
    thick: float = 0.30
    """Distance from the tangent plane, in edges of a patch, beyond which texels belong to other parts."""
    facing: float = 0.25
    """Cosine to the patch's normal below which a texel is too foreshortened."""
    large_mm2: float = 20_000.0
    """Area from which on cells are coarser, which bounds the time: that of a ball of 80 mm."""
    batch: int = 24
    """Patches that are worked on at a time, to bound memory."""


PATCH = PatchConstants()


@record
class Members:
    """The texels of a run of patches: patch (k,) int32 row within the run, ascending; texel (k,) int32 and where each lies in
    the sorted cloud, row (k,); x, y (k,) float32 in cells; weight (k,) float32 for reading back, 0 outside the core.
    """

    first: int
    last: int
    patch: Ints
    texel: Ints
    row: Ints
    x: Floats
    y: Floats
    weight: Floats


@record
class Cloud:
    """Texels sorted into boxes of `box_mm` so that those near a patch are found at once.

    position, facing: (n, 3) float32 in sorted order. order: (n,) row of each in the caller's arrays. keys, starts: the boxes.
    """

    position: Floats
    facing: Floats
    order: Ints
    keys: Ints
    starts: Ints
    box_mm: float
    low: Floats
    boxes: tuple[int, int, int]


@record
class Patches:
    """Patches over a surface: cell_mm; centre, normal, along, across (p, 3) float32, unit axes."""

    cell_mm: float
    centre: Floats
    normal: Floats
    along: Floats
    across: Floats

    def __len__(self) -> int:
        return len(self.centre)

    @property
    def edge_mm(self) -> float:
        """Edge of a patch."""
        return PATCH.cells * self.cell_mm

    def led_by(self, lead: Floats) -> Patches:
        """The same patches turned in their planes so that x runs along `lead` (p, 3) where that leaves a direction."""
        flat = lead - np.einsum("ij,ij->i", lead, self.normal)[:, None] * self.normal
        along = unit(flat + 1e-4 * self.along).astype(np.float32)
        return Patches(self.cell_mm, self.centre, self.normal, along, np.cross(self.normal, along).astype(np.float32))

    def runs(self) -> Iterator[tuple[int, int]]:
        """(first, last) of runs of patches that are worked on together."""
        for first in range(0, len(self), PATCH.batch):
            yield first, min(first + PATCH.batch, len(self))

    def members(self, cloud: Cloud, first: int, last: int, half: float = PATCH.cells / 2) -> Members:
        """The texels of `cloud` in patches first..last, out to `half` cells from their middle."""
        patch, row = self._candidates(cloud, first, last, half * self.cell_mm)
        ends = np.searchsorted(patch, np.arange(last - first + 1))
        kept = [
            self._inside(cloud, first + number, row[ends[number] : ends[number + 1]], half) for number in range(last - first)
        ]
        patch = np.repeat(np.arange(last - first, dtype=np.int32), [len(part[0]) for part in kept])
        row, x, y, cosine = (np.concatenate([part[column] for part in kept]) for column in range(4))
        weight = np.clip(1 - np.hypot(x, y) / (PATCH.core * PATCH.cells), 0, 1) ** 2 * cosine**4
        return Members(
            first, last, patch, cloud.order[row], row, x + PATCH.cells / 2, y + PATCH.cells / 2, weight.astype(np.float32)
        )

    def _inside(self, cloud: Cloud, patch: int, row: Ints, half: float) -> tuple[Ints, Floats, Floats, Floats]:
        """Of sorted texels `row` those in a patch, with x, y in cells from its middle and the cosine to its normal."""
        frame = np.stack([self.along[patch] / self.cell_mm, self.across[patch] / self.cell_mm, self.normal[patch]], axis=1)
        place = product(cloud.position[row], frame) - self.centre[patch] @ frame
        cosine = product(cloud.facing[row], frame[:, 2:])[:, 0]
        x, y, above = place.T
        keep = (
            (np.abs(x) < half - 1)
            & (np.abs(y) < half - 1)
            & (np.abs(above) < PATCH.thick * self.edge_mm)
            & (cosine > PATCH.facing)
        )
        kept = np.flatnonzero(keep)
        return row[kept], x[kept], y[kept], cosine[kept]

    def _candidates(self, cloud: Cloud, first: int, last: int, half_mm: float) -> tuple[Ints, Ints]:
        """(k,) patch within the run and (k,) row of the sorted texels, for all texels in boxes near enough."""
        box, centre = cloud.box_mm, self.centre[first:last]
        reach = half_mm + 0.87 * box
        steps = int(np.ceil(reach / box)) + 1
        span = np.arange(-steps, steps + 1)
        grid = np.stack(np.meshgrid(span, span, span, indexing="ij"), axis=-1).reshape(-1, 3)
        grid = grid[np.linalg.norm(grid, axis=1) * box < reach + 0.87 * box]
        home = np.floor((centre - cloud.low) / box).astype(np.int64)
        cells = home[:, None, :] + grid[None]
        middle = (cells + 0.5) * box + cloud.low - centre[:, None, :]
        flat = np.abs(np.einsum("pgk,pk->pg", middle, self.normal[first:last])) < PATCH.thick * self.edge_mm + 0.87 * box
        near = flat & (np.linalg.norm(middle, axis=2) < reach) & ((cells >= 0) & (cells < cloud.boxes)).all(axis=2)
        patch, which = np.nonzero(near)
        chosen = cells[patch, which]
        key = (chosen[:, 0] * cloud.boxes[1] + chosen[:, 1]) * cloud.boxes[2] + chosen[:, 2]
        slot: Ints = np.searchsorted(cloud.keys, key).clip(0, len(cloud.keys) - 1)
        hit = cloud.keys[slot] == key
        patch, slot = patch[hit], slot[hit]
        begin, count = cloud.starts[slot], cloud.starts[slot + 1] - cloud.starts[slot]
        row = np.repeat(begin - np.concatenate([[0], np.cumsum(count)[:-1]]), count)
        row += np.arange(len(row))
        return np.repeat(patch, count).astype(np.int32), row


def sort_into_boxes(position: Floats, normal: Floats, box_mm: float) -> Cloud:
    """The texels at `position` (n, 3) mm with unit `normal`, in boxes."""
    low = position.min(axis=0) - 0.5 * box_mm
    place = np.floor((position - low) / box_mm).astype(np.int64)
    high = place.max(axis=0) + 1
    boxes = (int(high[0]), int(high[1]), int(high[2]))
    key = (place[:, 0] * boxes[1] + place[:, 1]) * boxes[2] + place[:, 2]
    order = np.argsort(key, kind="stable")
    keys, starts = np.unique(key[order], return_index=True)
    return Cloud(
        np.ascontiguousarray(position[order]), np.ascontiguousarray(normal[order]), order.astype(np.int32), keys,
        np.append(starts, len(key)), box_mm, low, boxes,
    )  # fmt: skip


def lay_patches(
    position: Floats, normal: Floats, *, cell_mm: float, seed: int, middles: Bools | None = None
) -> tuple[Patches, Cloud]:
    """Patches over texels, x level, and the texels sorted into boxes.

    position: (n, 3) of the texels in mm. normal: (n, 3) unit. cell_mm: edge of a cell; a patch has cells x cells.
    seed: of the order in which texels are tried as centres. middles: (n,) the texels that may be centres; None: all of them.
    """
    edge = PATCH.cells * cell_mm
    cloud = sort_into_boxes(position, normal, edge / 7)
    tried = slice(None) if middles is None else np.flatnonzero(middles)
    centre, facing = _centres(position[tried], normal[tried], PATCH.spacing * edge, seed)
    home = np.floor((centre - cloud.low) / cloud.box_mm).astype(np.int64)
    by_place = np.argsort((home[:, 0] * cloud.boxes[1] + home[:, 1]) * cloud.boxes[2] + home[:, 2], kind="stable")
    centre, facing = centre[by_place], facing[by_place]
    along = unit(across(facing)).astype(np.float32)
    return Patches(cell_mm, centre, facing, along, np.cross(facing, along).astype(np.float32)), cloud


def _centres(position: Floats, normal: Floats, spacing: float, seed: int) -> tuple[Floats, Floats]:
    """Texels at least `spacing` from each other, where they face the same way, such that all others are near one."""
    rng = np.random.default_rng(seed)
    rows = rng.permutation(len(position))[: min(len(position), 40_000)]
    place, facing = position[rows], normal[rows]
    inside = place - place.mean(axis=0)
    limit = 0.5 * (np.einsum("ij,ij->i", inside, inside) - spacing * spacing)  # |a - b| < s: a . b > (a^2 + b^2 - s^2) / 2
    alive = np.ones(len(rows), bool)
    chosen = []
    for row in range(len(rows)):
        if not alive[row]:
            continue
        chosen.append(row)
        here = inside[row]
        near = inside[row:] @ here - limit[row:] > 0.5 * (here @ here)
        alive[row:] &= ~(near & (facing[row:] @ facing[row] > 0.6))
    return place[chosen], facing[chosen]


def splat(members: Members, values: Floats) -> tuple[Floats, Floats]:
    """Means (p, cells, cells) float32 of texel `values` (n,) in the cells, and the weight that fell there; 0 where none.

    Of values (k, n) the means are (k, p, cells, cells).
    """
    count = members.last - members.first
    column, row = members.x.astype(np.int32), members.y.astype(np.int32)
    right, up = members.x - column, members.y - row
    base = (members.patch * PATCH.cells + row) * PATCH.cells + column
    layers = np.atleast_2d(values)[:, members.texel]
    total = np.zeros((len(layers), count * PATCH.cells * PATCH.cells))
    weight = np.zeros(count * PATCH.cells * PATCH.cells)
    for step, share in (
        (0, (1 - right) * (1 - up)),
        (1, right * (1 - up)),
        (PATCH.cells, (1 - right) * up),
        (PATCH.cells + 1, right * up),
    ):
        for layer, value in enumerate(layers):
            total[layer] += np.bincount(base + step, share * value, len(weight))
        weight += np.bincount(base + step, share, len(weight))
    means = np.where(weight > 0, total / np.maximum(weight, 1e-9), 0).astype(np.float32)
    shape = (count, PATCH.cells, PATCH.cells)
    means = means.reshape(len(layers), *shape)
    return means if values.ndim > 1 else means[0], weight.reshape(shape).astype(np.float32)


def filled(means: Floats, weight: Floats, *, enough: float = 0.15) -> Floats:
    """The cells with holes closed smoothly, coarse cells first (push-pull), so that an edge does not ring in the filter."""
    known = np.minimum(weight, 1.0)
    known *= weight > enough
    levels: list[tuple[Floats, Floats]] = [(means * known, known)]
    while levels[-1][0].shape[-1] % 2 == 0 and levels[-1][0].shape[-1] > 3:
        value, share = levels[-1]
        levels.append((_halved(value), _halved(share)))
    value, share = levels[-1]
    whole = value / np.maximum(share, 1e-6)
    for value, share in reversed(levels[:-1]):
        sure = np.minimum(share, 1.0)
        here = value / np.maximum(share, 1e-6)
        whole = np.repeat(np.repeat(whole, 2, axis=1), 2, axis=2)
        whole = sure * here + (1 - sure) * whole
    return whole


def _halved(cells: Floats) -> Floats:
    return 0.25 * (cells[:, ::2, ::2] + cells[:, 1::2, ::2] + cells[:, ::2, 1::2] + cells[:, 1::2, 1::2])


def read_back(members: Members, fields: Floats) -> tuple[Ints, Floats, Floats]:
    """Bilinear reads of `fields` (p, f, cells, cells) by the core's texels: rows of `members` (k,), values (k, f), weight."""
    rows = np.flatnonzero(members.weight > 1e-4)
    x, y = members.x[rows], members.y[rows]
    column, row = x.astype(np.int32), y.astype(np.int32)
    right, up = x - column, y - row
    count = fields.shape[1]
    flat = np.ascontiguousarray(fields.transpose(0, 2, 3, 1)).reshape(-1, count)
    base = (members.patch[rows] * PATCH.cells + row) * PATCH.cells + column
    values = flat[base] * ((1 - right) * (1 - up))[:, None]
    values += flat[base + 1] * (right * (1 - up))[:, None]
    values += flat[base + PATCH.cells] * ((1 - right) * up)[:, None]
    values += flat[base + PATCH.cells + 1] * (right * up)[:, None]
    return rows, values, members.weight[rows]


def totals(members: Members, rows: Ints, values: Floats, weight: Floats) -> tuple[int, Floats]:
    """What `read_back` gave, summed by texel.

    members: of the run. rows, values, weight: as `read_back` gave them. Returns the first sorted texel that is reached, and
    for the texels from there on (f + 1, k) sums: of the values by weight, then of the weight.
    """
    place = members.row[rows]
    low = int(place.min()) if len(place) else 0
    parts = [np.bincount(place - low, column * weight) for column in values.T]
    return low, np.stack([*parts, np.bincount(place - low, weight)])


def window() -> Floats:
    """(cells, cells) taper to zero at the rim, flat in the middle."""
    away = np.abs(np.arange(PATCH.cells) - PATCH.cells / 2 + 0.5) / (PATCH.cells / 2)
    side = 0.5 - 0.5 * np.cos(np.pi * np.clip((1 - away) / 0.3, 0, 1))
    return (side[:, None] * side[None]).astype(np.float32)


def wave_vectors(cell_mm: float) -> tuple[Floats, Floats]:
    """kx (1, half) and ky (cells, 1) of a real transform of a patch, in radians a mm."""
    return (
        (2 * np.pi * np.fft.rfftfreq(PATCH.cells, cell_mm))[None, :].astype(np.float32),
        (2 * np.pi * np.fft.fftfreq(PATCH.cells, cell_mm))[:, None].astype(np.float32),
    )
