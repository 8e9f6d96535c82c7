"""Solves for the cameras of several photos of a piece at once, or of a single photo, beside the lumps of the scan's form.

Gauss and Newton's steps with Cauchy's weights over each photo's turn, place, image distance and radial term, what its points
have in common, the heights of the scan's lumps (`lumps`), which all photos see, and the lens, where photos share it: a thin
lens's image distance is f (1 + m), with the magnification m that the camera itself implies. A bundle adjustment (Triggs and
others, Bundle Adjustment - A Modern Synthesis, 2000) whose points are known beforehand.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats
from ...records import record
from ..camera import FILM_DIAGONAL_MM, PhotoCamera, distance_by_film, moved
from ..pose import USUAL, jacobian
from .lumps import NODES, Field, field_of
from .resection import RADIAL, TOGETHER, Prior, Seen, errors

ROUNDS, HALVED, DONE = 12, 5, 2e-5
"""Steps at the most, how often a step is halved that makes the cost higher, and the change of any turn (rad) and log of an image
distance at which the steps end: a hundredth of what is asked for."""
AGAIN = 2
"""How often the lumps' deviation is estimated anew and the cameras are solved for again."""
FLATTEST = 0.1
"""Least deviation of the lumps in that they start with, lest they vanish from a photo with few patches."""
TIED, FOCUSED = 0.001, 0.07
"""Deviation of the log of a photo's image distance from that of a thin lens: always, and in that of 1 + m, since a lens is
focused some percent off the middle of what it shows, and a real one is no thin one. Guesses."""
ALIKE = 0.002
"""Deviation of a photo's radial term from that of its lens, which changes a little with the focus: a guess."""


NAMED, UNNAMED = 0.1, 0.6
"""Deviation of the log of the focal length where the photo's file names it, and where not, round USUAL; as `search` has it."""
SENSOR = (15.0, 8.0)
"""The longest side of a sensor in mm where nothing is known, and its deviation: from a phone's 6 to the 36 of 35 mm film."""
ROUNDED = 0.04
"""Deviation of a sensor's size by the two focal lengths, as a share of it: both are rounded, 26 mm to a whole millimetre."""


@record
class Lens:
    """What is known of a lens that photos share. focal: in longest sides of the photo, and the deviation of its log, `spread`.
    sensor_mm: the sensor's longest side, and its deviation, `sensor_off`."""

    focal: float
    spread: float
    sensor_mm: float
    sensor_off: float


def lens_by_film(focal_mm: float | None, focal_35mm: float | None, size: tuple[int, int]) -> Lens:
    """What a photo's file says of its lens: its focal length and that of the same angle on 36 x 24 mm, each None where it is
    not given; size: of the photo, pixels."""
    longest, diagonal = max(size), float(np.hypot(*size))
    focal, spread = (USUAL, UNNAMED) if focal_35mm is None else (distance_by_film(focal_35mm, size) / longest, NAMED)
    if focal_mm is None or focal_35mm is None:
        return Lens(focal, spread, *SENSOR)
    sensor = FILM_DIAGONAL_MM * focal_mm / focal_35mm * longest / diagonal
    return Lens(focal, spread, sensor, ROUNDED * sensor)


@record
class Shot:
    """A photo at its working size. camera: nearly right. seen: patches, with normals. prior: of its image distance where it
    shares no lens. scale: own deviations of the patches that count as one. lens: whether it shares the lens."""

    camera: PhotoCamera
    seen: Seen
    prior: Prior
    scale: float
    lens: bool = False


@record
class Solution:
    """cameras. covariance: (n, 8, 8) of each one's steps as `moved` has them. distances: (n, n) covariance of the logs of all
    image distances. scales: as a Shot has it, with the lumps taken off. lump_mm: deviation of the lumps."""

    cameras: list[PhotoCamera]
    covariance: Floats
    distances: Floats
    scales: list[float]
    lump_mm: float


def solved_together(shots: Sequence[Shot], reach_mm: float, lump_mm: float, lens: Lens | None = None) -> Solution:
    """The cameras of photos of a piece.

    reach_mm: the piece's diagonal. lump_mm: deviation of the lumps at first. lens: of those shots that share it.
    """
    system = _System(shots, reach_mm, lump_mm, lens)
    for turn in range(AGAIN + 1):
        system.solve()
        inverse = np.linalg.inv(system.equations()[0])
        if turn < AGAIN:
            system.estimate(inverse)
    starts = [system.width * number for number in range(len(shots))]
    covariance = np.stack([inverse[start : start + 8, start : start + 8] for start in starts])
    rows = np.array(starts) + 6
    return Solution(system.cameras, covariance, inverse[np.ix_(rows, rows)], system.scales, system.lump)


def focal_of(camera: PhotoCamera, seen: Seen, lens: Lens) -> tuple[float, float]:
    """(log of the focal length in longest sides that a camera's image distance stands for, by a lens's sensor; deviation of
    what lies between the two)."""
    larger = lens.sensor_mm / _width_mm(camera, seen)
    sensor = lens.sensor_off / lens.sensor_mm * larger / (1.0 + larger)
    return float(np.log(camera.distance / max(camera.size)) - np.log1p(larger)), float(np.hypot(sensor, _tied(larger)))


def _tied(larger: float) -> float:
    """Deviation of the log of an image distance from a thin lens's, at a magnification."""
    return float(np.hypot(TIED, FOCUSED * larger / (1.0 + larger)))


def _width_mm(camera: PhotoCamera, seen: Seen) -> float:
    """Millimetres that the photo's longest side shows at the middle of its points."""
    depth = float(np.median((seen.points - camera.place) @ camera.rotation[2]))
    return max(camera.size) * max(depth, 1e-6) / camera.distance


class _System:
    """The state of all unknowns, and their normal equations: of each photo 8 steps and what its points have in common, of the
    lens log of the focal length, sensor and radial term, of the nodes their heights."""

    def __init__(self, shots: Sequence[Shot], reach_mm: float, lump_mm: float, lens: Lens | None):
        self.shots, self.lens_prior, self.lump, self.least = shots, lens, lump_mm, FLATTEST * lump_mm
        self.cameras, self.scales = [shot.camera for shot in shots], [shot.scale for shot in shots]
        self.field: Field = field_of([shot.seen.points for shot in shots], reach_mm / NODES)
        drift = shots[0].seen.drift
        shared = 0 if drift is None else drift.shape[2]
        self.width = 8 + shared
        self.common = np.zeros((len(shots), shared))
        self.lens = np.zeros(3) if lens is None else np.array([np.log(lens.focal), lens.sensor_mm, 0.0])
        self.heights = np.zeros(self.field.count)
        self.first_of_lens = self.width * len(shots)
        self.first_node = self.first_of_lens + 3

    def solve(self) -> None:
        """Step until nothing moves."""
        cost = self.cost()
        for _ in range(ROUNDS):
            normal, slope = self.equations()
            step = -np.linalg.solve(normal, slope)
            state = self.cameras, self.common, self.lens, self.heights
            for _ in range(HALVED):
                self._step(step)
                new = self.cost()
                if new <= cost:
                    break
                self.cameras, self.common, self.lens, self.heights = state
                step = step / 2
            else:
                return
            cost = new
            steps = step[: self.first_of_lens].reshape(-1, self.width)
            if np.abs(steps[:, [0, 1, 2, 6]]).max() < DONE:
                return

    def estimate(self, inverse: Floats) -> None:
        """The lumps' deviation and the scales anew. inverse: of the normal equations (the EM algorithm's step for the
        variance of random effects: Laird and Ware 1982)."""
        nodes = np.diag(inverse)[self.first_node :]
        self.lump = max(self.least, float(np.sqrt(np.mean(self.heights**2 + nodes))))
        for number, shot in enumerate(self.shots):
            off = np.linalg.norm(self._off(number), axis=1) * self.scales[number]
            self.scales[number] = max(0.5, float(np.median(off)) / 1.18)  # the median length of errors in a plane

    def _step(self, step: Floats) -> None:
        steps = step[: self.first_of_lens].reshape(-1, self.width)
        self.cameras = [moved(camera, row[:8]) for camera, row in zip(self.cameras, steps, strict=True)]
        self.common = self.common + steps[:, 8:]
        self.lens = self.lens + step[self.first_of_lens : self.first_node]
        self.heights = self.heights + step[self.first_node :]

    def _changes(self, number: int) -> tuple[Floats, Floats]:
        """(n, 2, 8 + q) change of a photo's errors by its own unknowns, and (n, 2) by a height at each point."""
        camera, seen = self.cameras[number], self.shots[number].seen
        own = np.einsum("nij,njk->nik", seen.whiten, jacobian(camera, seen.points).reshape(-1, 2, 8)) / self.scales[number]
        normals = np.zeros_like(seen.points) if seen.normals is None else seen.normals
        raised = -np.einsum("nik,nk->ni", own[:, :, 3:6], normals @ camera.rotation.T)  # as if the camera moved the other way
        if seen.drift is not None:
            own = np.concatenate([own, np.einsum("nij,njq->niq", seen.whiten, seen.drift) / self.scales[number]], axis=2)
        return own, raised

    def _off(self, number: int) -> Floats:
        """(n, 2) a photo's errors in deviations, lumps and what its points have in common taken off."""
        camera, seen = self.cameras[number], self.shots[number].seen
        height = np.sum(self.field.share[number] * self.heights[self.field.index[number]], axis=1)
        points = seen.points if seen.normals is None else seen.points + height[:, None] * seen.normals
        shared = 0.0 if seen.drift is None else seen.drift @ self.common[number]
        pixels = camera.project(points)[0] + shared - seen.pixels
        return np.einsum("nij,nj->ni", seen.whiten, pixels) / self.scales[number]

    def _known(self) -> list[tuple[Floats, float]]:
        """What is known beforehand but of the nodes: (sparse row of the unknowns as (k, 2) index and factor, error), all in
        deviations."""
        rows: list[tuple[Floats, float]] = []
        for number, (camera, shot) in enumerate(zip(self.cameras, self.shots, strict=True)):
            start, lens = self.width * number, self.first_of_lens
            rows += [(np.array([[start + 8 + place, 1.0]]), value) for place, value in enumerate(self.common[number])]
            if not shot.lens:
                far = float(np.log(camera.distance / shot.prior.distance)) / shot.prior.spread
                weight = 1.0 / np.sqrt(1.0 + far**2)
                rows.append((np.array([[start + 6, weight / shot.prior.spread]]), weight * far))
                rows.append((np.array([[start + 7, 1.0 / RADIAL]]), camera.radial / RADIAL))
                continue
            wide = _width_mm(camera, shot.seen)
            larger = max(float(self.lens[1]), 0.0) / wide
            spread = _tied(larger)
            off = np.log(camera.distance / max(camera.size)) - self.lens[0] - np.log1p(larger)
            by_sensor = 1.0 / (wide * (1.0 + larger))
            rows.append((np.array([[start + 6, 1.0], [lens, -1.0], [lens + 1, -by_sensor]]) * [1.0, 1.0 / spread], off / spread))
            rows.append((np.array([[start + 7, 1.0], [lens + 2, -1.0]]) * [1.0, 1 / ALIKE], (camera.radial - self.lens[2]) / ALIKE))
        prior, first = self.lens_prior, self.first_of_lens
        if prior is None:
            return [*rows, *((np.array([[first + place, 1.0]]), 0.0) for place in range(3))]
        away = (self.lens - [np.log(prior.focal), prior.sensor_mm, 0.0]) / [prior.spread, prior.sensor_off, RADIAL]
        spreads = (prior.spread, prior.sensor_off, RADIAL)
        return [*rows, *((np.array([[first + place, 1.0 / spreads[place]]]), float(away[place])) for place in range(3))]

    def cost(self) -> float:
        """Half of minus the log of the probability, twice."""
        total = float(np.sum(self.heights**2)) / self.lump**2 + sum(off**2 for _, off in self._known())
        for number in range(len(self.shots)):
            total += 4.0 * float(np.log1p(np.sum(self._off(number) ** 2, axis=1) / 4.0).sum()) / TOGETHER
        return total

    def equations(self) -> tuple[Floats, Floats]:
        """(matrix, vector) of the normal equations."""
        count = self.first_node + self.field.count
        normal, slope = np.zeros((count, count)), np.zeros(count)
        for number in range(len(self.shots)):
            self._add(number, normal, slope)
        for row, off in self._known():
            index, factor = row[:, 0].astype(int), row[:, 1]
            normal[np.ix_(index, index)] += np.outer(factor, factor)
            slope[index] += factor * off
        nodes = np.arange(self.first_node, count)
        normal[nodes, nodes] += 1.0 / self.lump**2
        slope[nodes] += self.heights / self.lump**2
        return normal, slope

    def _add(self, number: int, normal: Floats, slope: Floats) -> None:
        """Add a photo's points."""
        own, raised = self._changes(number)
        off = self._off(number)
        weight = 1.0 / (1.0 + np.sum(off**2, axis=1) / 4.0) / TOGETHER
        mine = slice(self.width * number, self.width * (number + 1))
        weighted = own * weight[:, None, None]
        normal[mine, mine] += np.einsum("nik,nil->kl", weighted, own)
        slope[mine] += np.einsum("nik,ni->k", weighted, off)
        index, share = self.field.index[number] + self.first_node, self.field.share[number]
        both = np.einsum("nik,ni->nk", weighted, raised)
        for place in range(self.width):
            row = np.bincount(index.ravel(), (share * both[:, place, None]).ravel(), len(slope))
            normal[mine.start + place] += row
            normal[:, mine.start + place] += row
        slope += np.bincount(index.ravel(), (share * (weight * np.sum(raised * off, axis=1))[:, None]).ravel(), len(slope))
        squared = weight * np.sum(raised**2, axis=1)
        for corner in range(8):
            places = index[:, corner, None] * len(slope) + index
            np.add.at(normal.reshape(-1), places, squared[:, None] * share[:, corner, None] * share)
