"""From where was a photograph taken, when nothing is known of it? Looks from likely directions, compared coarse to fine.

Each look is compared with the small photo at each scale and place at once, by Fourier transforms: how well do the piece's
normals under any even light and its colours explain the photo where they lie, and a plain wall what is beside them (two regions
as Chan and Vese have it, Active Contours Without Edges, IEEE TIP 10, 2001; the one inside has a model linear in the light)? The
best are refined on the picture, until one of them agrees with it. Where none does, they are first turned and scaled as long as
that explains a larger copy of the photo better.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from functools import partial

import numpy as np

from ...arrays import Complexes, Floats
from ...mesh.triangles import unit
from ...records import record
from ...srgb import decode
from ...threads import in_parallel
from ..camera import PhotoCamera, turned
from .look import Look, Skin, look
from .pictures import Photograph, smaller
from .refinement import Fit, refined
from .resection import Prior

TILTS = ((-5.0, 18), (20.0, 18), (45.0, 12), (72.0, 6))
"""Degrees over the level and how many directions all round: 20 degrees apart, which refinement bridges on our bench."""
ROLLS = (0.0, 90.0, 180.0, 270.0)
"""Degrees that the camera may be turned about its axis; the first is tried first, the others where it leads to nothing."""
LOOK = 128
"""Longest side in pixels of a look at the whole piece."""
SMALL = 36
"""Longest side of the photo when it is compared."""
CLIMBED = 72
"""Longest side of the photo when a candidate is turned and scaled: a piece that fills 0.4 of it is 30 pixels high."""
TURNS, SCALE = (12.0, 6.0), 1.08
"""Degrees about each of the camera's axes, and the factor on the width, by which a candidate is changed: looks lie 20 degrees
apart, and refinement leads home from 10 only where the piece is small on the photo or half in the dark (our bench)."""
ROUNDS = 3
"""Changes by each turn at the most."""
WIDEST, NARROWEST, STEP = 3.0, 0.25, 1.16
"""Widths of what the photo shows that are tried, in diagonals of the piece, and the factor between them."""
TRIED, TURNED, CLIMBING = 14, 5, 8
"""Candidates that are refined at the most, upright and of each other roll; where none of those upright agrees with the photo,
how many of them are turned and scaled before they are refined again."""
QUICK: Sequence[tuple[int, int]] = ((125, 13), (125, 8), (250, 6), (250, 4))
"""(longer side in pixels, pixels that are looked around) of the rounds that refine a candidate: guesses."""
AGREES, ENOUGH = 0.5, 40
"""Share of patches that lie right, and their number, at which the search ends."""
FAR = 2.5
"""How far the looks are taken from, in diagonals of the piece."""


Search = Generator[float, None, tuple[Fit | None, Fit | None]]
"""Work that yields the fraction done and returns the best camera and the next best."""


@record
class View:
    """A look at the whole piece from a direction: rotation (3, 3) as a camera has it, and the planes (6, h, w) of mask, of
    albedo times 1 and the normal's right, down and towards, and of mm that the surface is nearer than the piece's middle.
    pixel_mm: edge of a pixel at the middle."""

    rotation: Floats
    planes: Floats
    pixel_mm: float


@record
class Candidate:
    """A camera that may be right, how much better it explains the photo than one tone does, and what the photo shows across, in
    diagonals of the piece."""

    camera: PhotoCamera
    worth: float
    width: float


def views(skin: Skin) -> list[View]:
    """The looks from all directions, the camera held upright."""
    found = []
    for tilt, count in TILTS:
        for number in range(count):
            view = _view(skin, _level(2 * np.pi * (number + 0.5 * (tilt > 0)) / count, np.radians(tilt)))
            if view is not None:
                found.append(view)
    return found


def _level(azimuth: float, tilt: float) -> Floats:
    """(3, 3) rotation of a camera that is held upright."""
    back = np.array([np.sin(azimuth) * np.cos(tilt), -np.cos(azimuth) * np.cos(tilt), np.sin(tilt)])
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    return np.stack([right, np.cross(-back, right), -back])


def _view(skin: Skin, rotation: Floats) -> View | None:
    far = FAR * skin.reach
    camera = PhotoCamera(rotation, skin.middle - far * rotation[2], LOOK * FAR / 1.1, 0.0, (LOOK, LOOK))
    shown = look(skin.fewer(1.1 * skin.reach / LOOK), camera)
    return None if shown is None else View(rotation, _planes(shown, rotation, skin.middle), 1.1 * skin.reach / LOOK)


def _planes(shown: Look, rotation: Floats, middle: Floats) -> Floats:
    turned = shown.normal @ rotation.T * (1.0, 1.0, -1.0)
    values = [np.ones(len(shown.index), np.float32), shown.albedo, *(shown.albedo * column for column in turned.T)]
    values.append((shown.position - middle) @ -rotation[2])
    return np.stack([shown.raster(np.asarray(plane, np.float32)) for plane in values])


def found(photo: Photograph, skin: Skin, looks: list[View], distance: float | None) -> Search:
    """The best camera, and the next best that is another one, each as refined; yields the fraction done.

    distance: image distance in the whole photo's pixels by its file.
    """
    prior = Prior(distance or 1.5 * max(photo.size), 0.1 if distance else 0.6)
    ranking = _Ranking(skin)
    for turn, roll in enumerate(ROLLS):
        chosen = yield from _candidates(photo, skin, looks, np.radians(roll), prior.distance, (turn / 4, 0.15))
        chosen = chosen[: TURNED if turn else TRIED]
        work = [(candidate, False) for candidate in chosen]
        work += [(candidate, True) for candidate in chosen[: 0 if turn else CLIMBING]]
        for number, (candidate, climbing) in enumerate(work):
            yield (turn + 0.6 + 0.4 * number / len(work)) / 4
            start, steps = candidate, QUICK
            if climbing:
                start = _climbed(candidate, photo, skin)
                steps = _steps(start)
            ranking.add(refined(start.camera, photo, skin, prior, steps=steps))
            if ranking.agrees:
                break
        if ranking.agrees:
            break
    best = ranking.best
    if best is not None:
        best = refined(best.camera, photo, skin, prior) or best
    return best, ranking.other


class _Ranking:
    """The best camera so far, and the next best that shows the piece from elsewhere."""

    def __init__(self, skin: Skin):
        self.skin = skin
        self.best: Fit | None = None
        self.other: Fit | None = None

    def add(self, fit: Fit | None) -> None:
        """Rank a further camera."""
        best, other = self.best, self.other
        if fit is None:
            return
        if best is None or _worth(fit) > _worth(best):
            self.best, self.other = fit, (other if best is None or _same(fit, best, self.skin) else best)
        elif not _same(fit, best, self.skin) and (other is None or _worth(fit) > _worth(other)):
            self.other = fit

    @property
    def agrees(self) -> bool:
        """Whether so much of the photo agrees with the best that the search may end."""
        return self.best is not None and self.best.agreement >= AGREES and self.best.right >= ENOUGH


def _steps(candidate: Candidate) -> Sequence[tuple[int, int]]:
    """QUICK on larger copies of the photo where the piece fills little of it, so that patches stay small beside the piece."""
    larger = 2.0 ** np.clip(round(np.log2(candidate.width)), 0, 2)
    return [(round(longest * larger), reach) for longest, reach in QUICK]


def _climbed(candidate: Candidate, photo: Photograph, skin: Skin) -> Candidate:
    """The candidate turned about its axes and scaled as long as it explains a copy of the photo better."""
    grey = decode(photo.levels[-1])
    compared = _Compared(smaller(grey, max(grey.shape) / CLIMBED))
    best: Candidate | None = None
    for degrees in TURNS:
        steps = np.radians(degrees) * np.concatenate([np.eye(3), -np.eye(3)])
        for _ in range(ROUNDS):
            start = best or candidate
            changes = [(np.zeros(3), factor) for factor in (1.0, SCALE, 1 / SCALE)] + [(step, 1.0) for step in steps]
            tried = list(in_parallel(partial(_changed, start, compared, skin), changes))
            new = max((camera for camera in tried if camera is not None), key=lambda camera: camera.worth, default=None)
            if new is None or (best is not None and new.worth <= best.worth):
                break
            best = new
    return best or candidate


def _changed(start: Candidate, compared: _Compared, skin: Skin, change: tuple[Floats, float]) -> Candidate | None:
    """The candidate turned about its axes by a vector and made wider by a factor."""
    step, factor = change
    view = _view(skin, turned(step) @ start.camera.rotation)
    if view is None:
        return None
    return _placed(view, 0.0, start.width * factor, compared, skin, start.camera)


def _worth(fit: Fit) -> float:
    """How many patches lie right beyond what chance would make."""
    return fit.right - 0.08 * fit.found


def _same(first: Fit, second: Fit, skin: Skin) -> bool:
    """Whether two cameras show the piece alike: its middle from within 12 degrees."""
    ways = [unit(fit.camera.place - skin.middle) for fit in (first, second)]
    return float(ways[0] @ ways[1]) > 0.978


def _candidates(
    photo: Photograph, skin: Skin, looks: list[View], roll: float, distance: float, share: tuple[float, float]
) -> Generator[float, None, list[Candidate]]:
    level = photo.levels[-1]
    compared = _Compared(smaller(decode(level), max(level.shape) / SMALL))
    every: list[tuple[int, int, Candidate]] = []
    widths = np.geomspace(WIDEST, NARROWEST, int(np.log(WIDEST / NARROWEST) / np.log(STEP)) + 1)
    lens = PhotoCamera(np.eye(3), np.zeros(3), distance, 0.0, photo.size)

    def placed(view: View) -> list[Candidate | None]:
        return [_placed(view, roll, float(width), compared, skin, lens) for width in widths]

    for number, tried in enumerate(in_parallel(placed, looks)):
        yield share[0] + share[1] * number / len(looks)
        every += [(number, step, candidate) for step, candidate in enumerate(tried) if candidate is not None]
    every.sort(key=lambda entry: -entry[2].worth)
    kept: list[tuple[int, int, Candidate]] = []
    for entry in every:
        twins = [
            taken for taken in kept
            if abs(taken[1] - entry[1]) <= 1 and float(looks[taken[0]].rotation[2] @ looks[entry[0]].rotation[2]) > 0.92
        ]  # fmt: skip
        if not twins:
            kept.append(entry)
        if len(kept) == TRIED:
            break
    return [entry[2] for entry in kept]


def _placed(view: View, roll: float, width: float, compared: _Compared, skin: Skin, lens: PhotoCamera) -> Candidate | None:
    """A look, turned by a quarter or more, where it explains a copy of the photo best at a width; None where it is a
    few pixels large. lens: a camera of the photo's image distance and size."""
    photo = compared.photo
    pixel_mm = width * skin.reach / photo.shape[1]
    planes = _scaled(view.planes, view.pixel_mm / pixel_mm, round(np.degrees(roll) / 90))
    if planes is None:
        return None
    worth, (row, column) = _best_place(compared, planes[:5])
    # the middle of the look's raster lies this far right of and below the photo's middle
    right = column + planes.shape[2] / 2 - photo.shape[1] / 2
    down = -(row + planes.shape[1] / 2 - photo.shape[0] / 2)
    rotation, near = turned(np.array([0.0, 0.0, -roll])) @ view.rotation, _nearer(planes, (row, column), photo.shape)
    surface_mm = pixel_mm * (1.0 - near / (FAR * skin.reach))  # edge of a pixel on the surface that is seen
    far = lens.distance / lens.size[0] * photo.shape[1] * surface_mm + near
    place = skin.middle - far * rotation[2] - surface_mm * (right * rotation[0] + down * rotation[1])
    return Candidate(PhotoCamera(rotation, place, lens.distance, 0.0, lens.size), worth, width)


def _scaled(planes: Floats, factor: float, quarter: int) -> Floats | None:
    """The planes (k, h, w) at `factor` of their size, turned by quarters; a pixel that the piece half covers is the piece's."""
    turned = np.rot90(planes, quarter, axes=(2, 1)) if quarter else planes  # rows run upwards
    if factor >= 1.0:
        height, width = (max(8, round(side * factor)) for side in turned.shape[1:])
        row, column = (np.minimum((np.arange(count) / factor).astype(int), side - 1) for count, side in
                       ((height, turned.shape[1]), (width, turned.shape[2])))  # fmt: skip
        return np.ascontiguousarray(turned[:, row][:, :, column])
    shrunk = np.stack([smaller(np.ascontiguousarray(plane), 1.0 / factor) for plane in turned])
    if min(shrunk.shape[1:]) < 6:
        return None
    inside = shrunk[0] > 0.5
    return np.where(inside, shrunk / np.maximum(shrunk[:1], 0.1), 0)


class _Compared:
    """A small copy (h, w) of the photo and what it is compared by: plain fields, these times the photo, and its square."""

    def __init__(self, photo: Floats):
        plain = _plain_fields(photo)
        self.photo = photo
        self.fields = np.stack([*plain, *(photo * field for field in plain[:3]), photo**2]).astype(np.float32)
        self.sums = self.fields.sum(axis=(1, 2), dtype=float)[:, None]
        self._transforms: dict[tuple[int, int], Complexes] = {}

    def transformed(self, shape: tuple[int, int]) -> Complexes:
        """The fields' Fourier transforms at a size."""
        if shape not in self._transforms:
            self._transforms[shape] = np.fft.rfft2(self.fields, shape)
        return self._transforms[shape]


def _best_place(compared: _Compared, planes: Floats) -> tuple[float, tuple[int, int]]:
    """How much better than one tone a look explains a photo, and where best: row, column of the look's first pixel."""
    photo = compared.photo
    (height, width), (tall, wide) = photo.shape, planes.shape[1:]
    shape = (_fast(height + tall), _fast(width + wide))
    mask, basis = planes[0], planes[1:]
    pairs = [(i, j) for i in range(4) for j in range(i, 4)]
    looks = np.fft.rfft2(np.stack([mask, *basis, *(basis[i] * basis[j] for i, j in pairs)]), shape).conj()
    fields = compared.transformed(shape)
    sums = np.fft.irfft2(np.concatenate([looks[0] * fields, looks[1:5] * fields[6], looks[5:] * fields[0]]), shape)
    count = np.maximum(sums[0], 0).ravel()
    good = np.flatnonzero((count > 0.12 * photo.size) & (count > 0.3 * min(photo.size, float(mask.sum()))))
    if not len(good):
        return -np.inf, (0, 0)
    flat = sums.reshape(len(sums), -1)[:, good].astype(float)
    number, whole = flat[0], float(photo.var()) + 1e-6
    lit = _explained(flat[14:], flat[10:14], pairs)
    inside = np.maximum(flat[9] - lit, 0)
    total = compared.sums - flat[:10]
    flats = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)]
    outside = np.maximum(total[9] - _explained(total[:6], total[6:9], flats), 0)
    beside, floor = np.maximum(photo.size - number, 0), 0.01 * whole
    worth = -number * np.log((inside / np.maximum(number, 1) + floor) / whole) - np.where(
        beside > 8, beside * np.log((outside / np.maximum(beside, 1) + floor) / whole), 0
    )
    best = int(worth.argmax())
    row, column = (int(at) for at in np.divmod(good[best], shape[1]))
    return float(worth[best]), (row - shape[0] if row >= height else row, column - shape[1] if column >= width else column)


def _nearer(planes: Floats, at: tuple[int, int], shape: tuple[int, ...]) -> float:
    """Mean mm by which the surface within the photo is nearer than the piece's middle."""
    ends = [
        (max(0, -first), max(0, min(side, room - first))) for first, side, room in zip(at, planes.shape[1:], shape, strict=True)
    ]
    mask, near = (planes[plane, slice(*ends[0]), slice(*ends[1])] for plane in (0, 5))
    return float((mask * near).sum() / max(float(mask.sum()), 1e-6))


def _plain_fields(photo: Floats) -> list[Floats]:
    """1, x, y, x^2, x y, y^2 over the photo, x and y from -1 to 1."""
    y, x = np.meshgrid(*(np.linspace(-1, 1, side) for side in photo.shape), indexing="ij")
    return [np.ones_like(x), x, y, x * x, x * y, y * y]


def _explained(products: Floats, right: Floats, pairs: list[tuple[int, int]]) -> Floats:
    """(n,) sum of squares that a linear model explains: products (p, n) of its columns in pairs, and with the values (k, n)."""
    count = len(right)
    matrix = {pair: np.array(product) for pair, product in zip(pairs, products, strict=True)}
    little = 1e-3 * np.maximum(np.sum([matrix[i, i] for i in range(count)], axis=0), 1e-6) / count
    rest, total = [np.array(values) for values in right], np.zeros(right.shape[1])
    for i in range(count):  # the triangular factors of all matrices at once: ten times faster than solving one by one
        pivot = matrix[i, i] + little
        total += rest[i] ** 2 / pivot
        for j in range(i + 1, count):
            factor = matrix[i, j] / pivot
            rest[j] -= factor * rest[i]
            for k in range(j, count):
                matrix[j, k] -= factor * matrix[i, k]
    return total


def _fast(size: int) -> int:
    """The next size of which a Fourier transform is quick: a product of 2, 3 and 5."""
    while True:
        rest = size
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return size
        size += 1
