"""In what light was a photograph of the piece taken? A room of spherical harmonics and one lamp, a colour each.

A matt point of albedo r shows r (E_room + E_lamp + E_piece) / pi. The room's radiance is a sum of harmonics of order 2, which
hold 98 % of what a matt surface makes of any light (Basri and Jacobs, IEEE PAMI 25, 2003); each harmonic comes to a point
through what the piece leaves free of the sphere, so that hollows are not taken for dark rooms. The piece's own light in its
hollows is that of its mean in the photo. What no light on the form explains (highlights, paint, dirt) counts little. The
photo's tone curve is left as it is: exponents of 0.85 to 1.3 on its light change what the fit leaves by a tenth on our bench.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats
from ..closeups.placing.light import BLACK, BLOWN, directions_round, unshaded
from ..closeups.placing.look import Skin
from ..mesh.triangles import unit
from ..records import record
from ..srgb import luminance
from ..statistics import robust_deviation
from ..surface.light.light import bounced, half_sphere, sky_design
from ..surface.light.spherical_harmonics import basis
from ..surface.light.visibility import Visibility, look_round, spread_samples

ORDER = 2
"""Of the spherical harmonics of the light: nine terms give the irradiance of natural light to 1 % on average (Ramamoorthi and
Hanrahan, An Efficient Representation for Irradiance Environment Maps, 2001)."""
MOST = 3000
"""Pixels by which the light is fitted."""
DIRECTIONS, SAMPLES = 64, 60_000
"""Directions (and as many opposite ones) in which a point looks round, and the points by which the piece hides them."""
FEWEST = 200
"""Usable pixels below which nothing is fitted."""
ROUNDS, TYPICAL = 6, 0.08
"""Rounds of reweighting; share of a pixel's light by which a good fit is off: a guess."""
FLOOR = 0.15
"""Share of the median light that is added to a pixel's before errors are taken relative to it: shadows hold noise and flare."""
HELD = 2e-3
"""Weight that holds the room even where the photo shows no surface that faces it: a guess, small beside the pixels' own."""
RINGS, AGAIN = ((10.0, 5), (5.0, 5), (2.5, 5)), 3
"""Degrees round the best direction so far, and how many directions, in which the lamp is looked for further; how often each."""
START, FIRST_ROUNDS = 4.0, 2
"""Distance in diagonals of the piece, and rounds of reweighting, with which the lamp is looked for first."""
DISTANCES = (40.0, 8.0, 2.5, 1.6, 1.1)
"""Distances of the lamp that are tried then, in diagonals of the piece, the first as good as infinite."""
WORTH = 0.97
"""Share of the cost without a lamp below which a lamp is taken: a guess."""
SIZES = (0.02, 0.1, 0.3)
"""Diameters of the lamp over its distance that are tried: a bulb, a large lamp, a window."""
MOST_RESIDUAL = 0.25
"""Robust deviation of the photo's light from the fitted one, a share of it, beyond which the light is not sure. A guess: good
fits on our bench leave 0.09 to 0.15."""


@record
class Sight:
    """What a photo shows of the piece, a row a pixel: position (n, 3) mm, normal (n, 3) unit, albedo (n, 3) linear, and the
    photo's own light (n, 3), decoded."""

    position: Floats
    normal: Floats
    albedo: Floats
    light: Floats

    def rows(self, chosen: slice | Bools) -> Sight:
        """Some of its rows."""
        return Sight(self.position[chosen], self.normal[chosen], self.albedo[chosen], self.light[chosen])


@record
class PhotoLight:
    """The light of a photo, in its own unit: a white surface that radiates 1 is white in it.

    room: (9, 3) harmonics of the room's radiance (`spherical_harmonics.basis`), a column a channel. middle: (3,) mm, of what is
    seen. way: (3,) unit, from there to the lamp; None without a lamp. flux: (3,) irradiance there on a surface that faces the
    lamp, 0 without. distance: of the lamp, mm. size: its diameter over that. residual: robust deviation of the log of what
    the light does not explain. explained: share of the light's variation over the piece that it does. cast: (3,) colour of the
    mean light on what is seen, luminance 1. lamp_share: the lamp's part of that light.
    """

    room: Floats
    middle: Floats
    way: Floats | None
    flux: Floats
    distance: float
    size: float
    residual: float
    explained: float
    cast: Floats
    lamp_share: float

    @property
    def sure(self) -> bool:
        """Whether the light explains the photo."""
        return self.residual <= MOST_RESIDUAL

    def scaled(self, gains: Floats) -> PhotoLight:
        """The light with its channels multiplied by gains (3,)."""
        return replace(self, room=self.room * gains, flux=self.flux * gains)

    def neutral(self) -> PhotoLight:
        """The light without the colour that it has in the mean: that of the parts against each other stays."""
        return replace(self.scaled(1.0 / np.maximum(self.cast, 0.05)), cast=np.ones(3))


def usable(light: Floats) -> Bools:
    """(n,) whether pixels of a decoded photo (n, 3) are neither black nor overexposed."""
    return np.asarray((light.max(axis=1) < BLOWN) & (luminance(light) > BLACK))


def room_design(visibility: Visibility, normals: Floats) -> Floats:
    """(n, 9) irradiance over pi of each harmonic of a room's radiance, through the visibility of receivers with normals (n, 3).

    With nothing hidden that is A_l Y_lm / pi, A = pi, 2 pi / 3, pi / 4 (Ramamoorthi and Hanrahan 2001, equation 8).
    """
    return np.asarray(sky_design(visibility, normals).astype(float) @ basis(visibility.directions, ORDER))


def fitted_light(sight: Sight, skin: Skin, *, seed: int = 1) -> PhotoLight:
    """The light of a photo. seed: of the places by which the piece hides parts of the room.

    Raises ValueError where too little of the piece can be read.
    """
    sight = sight.rows(usable(sight.light))
    if len(sight.light) < FEWEST:
        raise ValueError("hardly any of the piece is neither black nor overexposed in the photo")
    fit = _Fit(sight.rows(slice(None, None, max(1, len(sight.light) // MOST))), skin, seed)
    plain, with_lamp = fit.tried(None, np.inf, 0.0), fit.with_lamp()
    return fit.light(with_lamp if with_lamp.cost < WORTH * plain.cost else plain)


@record
class _Trial:
    """A light with its cost; its lamp's direction, distance (mm) and size."""

    cost: float
    unknown: Floats
    way: Floats | None
    distance: float
    size: float


class _Fit:
    """The pixels of one fit, and what does not change from trial to trial."""

    def __init__(self, sight: Sight, skin: Skin, seed: int):
        self.sight, self.skin = sight, skin
        self.middle = sight.position.mean(axis=0).astype(float)
        vertices, faces = skin.form.vertices, skin.form.faces
        if skin.form.others is not None:
            faces = np.concatenate([faces, skin.form.others[1] + len(vertices)])
            vertices = np.concatenate([vertices, skin.form.others[0]])
        samples = spread_samples(vertices, faces, count=SAMPLES, seed=seed)
        self.seen = seen = look_round(samples, sight.position, sight.normal, half_sphere(DIRECTIONS))
        mean = np.broadcast_to(np.median(sight.light, axis=0), (len(samples.position), 3)).astype(np.float32)
        own = bounced(seen, sight.normal, mean)[0]
        self.albedo = np.maximum(sight.albedo, 0.01).astype(float)
        self.room = room_design(seen, sight.normal)
        self.bounce = self.albedo * own
        self.bright = luminance(sight.light).astype(float)
        self.scale = self.bright + FLOOR * float(np.median(self.bright))
        self.all_round = basis(seen.directions, ORDER)

    def with_lamp(self) -> _Trial:
        """The best light with a lamp: its direction, then its distance, its direction more closely, and its size."""
        first = min(map(self._looked_at, range(len(self.seen.directions))), key=lambda trial: trial.cost)
        best = self.tried(first.way, first.distance, first.size)  # its cost is by other shadows than those of the trials below
        for degrees, count in RINGS[:1]:
            best = self._round(best, degrees, count)
        for times in DISTANCES:
            best = min(best, self.tried(best.way, times * self.skin.reach, best.size), key=lambda trial: trial.cost)
        for degrees, count in RINGS[1:]:
            best = self._round(best, degrees, count)
        for size in SIZES[1:]:
            best = min(best, self.tried(best.way, best.distance, size), key=lambda trial: trial.cost)
        return best

    def _looked_at(self, row: int) -> _Trial:
        """A first trial with the lamp in one of the directions in which the pixels looked round, far away."""
        way = self.seen.directions[row].astype(float)
        shown = np.maximum(self.sight.normal @ way, 0) * self.seen.open[:, row] / np.pi
        return self._trial(shown, way, START * self.skin.reach, SIZES[0], FIRST_ROUNDS)

    def _round(self, best: _Trial, degrees: float, count: int) -> _Trial:
        """The best light with the lamp near where it is best so far, and again from there while that helps."""
        for _ in range(AGAIN):
            assert best.way is not None
            trials = [self.tried(way, best.distance, best.size) for way in directions_round(best.way, degrees, count)]
            before, best = best, min([best, *trials], key=lambda trial: trial.cost)
            if best is before:
                break
        return best

    def tried(self, way: Floats | None, distance: float, size: float) -> _Trial:
        """The best light with the lamp there."""
        return self._trial(None if way is None else self._lamp(way, distance, size), way, distance, size, ROUNDS)

    def _trial(self, shown: Floats | None, way: Floats | None, distance: float, size: float, rounds: int) -> _Trial:
        """The best light with a lamp that gives the pixels `shown` (n,), in so many rounds."""
        design = self.room if shown is None else np.concatenate([self.room, shown[:, None]], axis=1)
        robust, unknown = np.ones(len(design)), np.zeros((design.shape[1], 3))
        for _ in range(rounds):
            unknown = self._solved(design, robust / self.scale**2, lamp=way is not None)
            off = self._off(design @ unknown)
            spread = max(robust_deviation(off, 0.0), 0.01)
            robust = 1 / (1 + (off / (1.5 * spread)) ** 2)
        cost = float(np.log1p((self._off(design @ unknown) / TYPICAL) ** 2).mean())
        return _Trial(cost, unknown, way, distance, size)

    def _lamp(self, way: Floats, distance: float, size: float) -> Floats:
        """(n,) irradiance over pi of a lamp that gives 1 at the middle on what faces it."""
        towards = self.middle + distance * way - self.sight.position
        far = np.linalg.norm(towards, axis=1)
        cosine = np.maximum(np.einsum("ij,ij->i", towards / far[:, None], self.sight.normal), 0)
        ways = [way] if size <= SIZES[0] else [way, *directions_round(way, float(np.degrees(size / 3.0)), 6)]
        free = np.mean([unshaded(self.sight.position, unit(towards), self.skin) for towards in ways], axis=0)
        return np.asarray(cosine * (distance / far) ** 2 * free / np.pi)

    def _off(self, shown: Floats) -> Floats:
        """(n,) how far luminance is off, relative to the pixel's own with a floor."""
        return np.asarray((luminance(self.albedo * shown + self.bounce) - self.bright) / self.scale)

    def _solved(self, design: Floats, weight: Floats, *, lamp: bool) -> Floats:
        """(9 or 10, 3) weighted least squares; the room's radiance is kept from below 0 in all directions, and the lamp."""
        found = np.zeros((design.shape[1], 3))
        positive = self.all_round
        if lamp:
            positive = np.zeros((len(self.all_round) + 1, design.shape[1]))
            positive[:-1, :-1], positive[-1, -1] = self.all_round, 1.0
        for channel in range(3):
            rows = design * self.albedo[:, channel : channel + 1]
            matrix = (rows * weight[:, None]).T @ rows
            right = rows.T @ (weight * (self.sight.light[:, channel] - self.bounce[:, channel]))
            size = float(np.trace(matrix)) / len(matrix)
            held = np.full(len(matrix), HELD * size)
            held[0] *= 1e-3
            matrix = matrix + np.diag(held)
            solution = np.linalg.solve(matrix, right)
            for _ in range(12):  # directions of negative radiance are pushed to 0, more each round
                below = positive[positive @ solution < 0]
                if not len(below):
                    break
                matrix = matrix + 0.3 * size * below.T @ below / len(positive)
                solution = np.linalg.solve(matrix, right)
            found[:, channel] = solution
        if lamp:
            found[-1] = np.maximum(found[-1], 0)
        return found

    def light(self, trial: _Trial) -> PhotoLight:
        """A trial as a light, with how well it explains the photo."""
        lamp = trial.way is not None and trial.unknown[9].max() > 0
        design = self.room
        if trial.way is not None:
            design = np.concatenate([design, self._lamp(trial.way, trial.distance, trial.size)[:, None]], axis=1)
        modelled = np.maximum(luminance(self.albedo * (design @ trial.unknown) + self.bounce), BLACK)
        rest = np.log(np.maximum(self.bright, BLACK) / modelled)
        whole = np.log(np.maximum(self.bright, BLACK) / luminance(self.albedo))
        residual, varied = (robust_deviation(part) for part in (rest, whole))
        mean = np.maximum((design @ trial.unknown).mean(axis=0), 1e-9)
        bright = float(luminance(mean))
        share = float(luminance((design[:, 9:] @ trial.unknown[9:]).mean(axis=0))) / bright
        explained = float(np.clip(1.0 - (residual / max(varied, 1e-6)) ** 2, 0.0, 1.0))
        return PhotoLight(
            trial.unknown[:9], self.middle, trial.way if lamp else None, trial.unknown[9] if lamp else np.zeros(3),
            float(trial.distance), float(trial.size), residual, explained, mean / bright, share if lamp else 0.0,
        )  # fmt: skip


def matching_gains(photo: Floats, render: Floats, *, by_channel: bool) -> Floats:
    """(3,) factors on the light of a linear render's pixels (n, 3) that bring it to the photo's (n, 3), by their medians.

    by_channel: colour as well; else only brightness. Pixels that are black or overexposed in the photo do not count. Raises
    ValueError where none is left.
    """
    good = usable(photo) & (luminance(render) > BLACK)
    if good.sum() < 20:
        raise ValueError("render and photo have next to nothing in common that is neither black nor overexposed")
    if not by_channel:
        return np.full(3, float(np.median(luminance(photo[good]) / luminance(render[good]))))
    return np.asarray(np.median(photo[good], axis=0) / np.maximum(np.median(render[good], axis=0), 1e-6), float)
