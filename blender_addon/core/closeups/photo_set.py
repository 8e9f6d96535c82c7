"""What do the photos of one place show together? Relief and albedo in the pixels of the first photo, joined to the scan's form.

The photos of a set show the same part under a lamp that was moved. Pixels are those of the first photo, rows upwards; a photo
from a place of its own (a hand moves) is read where its own camera sees each pixel's point of the piece.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import field, replace

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.triangles import unit
from ..rasters import bilinear
from ..records import record
from ..srgb import decode, luminance
from ..surface.bandpass import gaussian_blur
from ..surface.relief.finest import finest_mm
from ..surface.texels import Texels
from ..threads import in_parallel
from .camera import PhotoCamera
from .consistency import FEWEST, BlockPixels
from .focus import Focus, in_focus
from .near_lamps import DARKEST, Lamps, Samples, fit_lamps
from .one_lamp import completed
from .seen import Form, faces_seen, pixels_seen
from .stereo import BLOWN, Facing, Shaded, facing

SAMPLES = 900
"""Places of the form by which the lamps are fitted."""
PAINT, PAINT_ALONE = 0.30, 0.05
"""Expected spread of the log of the albedo round its mean over a millimetre: with enough lamps to separate it from relief, and
with one or two, where most of what is seen must be taken for relief. Set on our bench."""
MEAN_MM = 0.8
"""Sigma of the mean over which the albedo is expected to be even."""
LARGEST_MM, LARGEST_ALONE_MM = 8.0, 2.5
"""Wavelength above which the scan's form is used instead of the photos: with three or more lamps, and with one or two. Set on
our bench."""
NOISE_PASSES = 0.4
"""Wavelength at which half of a slope's amplitude passes, over that of the finest detail: measured on our bench."""
BORDER_MM = 0.5
"""Width of the fade at borders."""
BLOCK_MM, BLOCKS, BLOCK_PIXELS = 1.5, 50, 24
"""Edge of the squares whose pixels help to find the lamps, how many squares, and pixels of each."""
CHUNK = 60_000
"""Pixels that are worked on at a time, to bound memory."""


@record
class Reading:
    """What a set shows. pixels: where its pixels lie on the faces that it sees. faces: (k,) those faces of the form. position,
    normal: (n, 3) of the form there. slope: (n, 3) surface gradient to be added to the form. albedo: (n, 3) linear. weight:
    (n,) 0 to 1, how far it counts. doubt: (n, 2) as `Facing` has it. lamps: as fitted. pixel_mm: edge of a pixel on the piece.
    focus: what is sharp. finest: shortest wavelength in mm that rises out of the noise, 0 where that can't be said."""

    pixels: Texels
    faces: Ints
    position: Floats
    normal: Floats
    slope: Floats
    albedo: Floats
    weight: Floats
    doubt: Floats
    lamps: Lamps
    pixel_mm: float
    focus: Focus
    finest: float

    @property
    def area_mm2(self) -> float:
        """Surface whose weight is more than a half."""
        return float((self.weight > 0.5).sum()) * self.pixel_mm**2


@record
class Kept:
    """rows: the photos that count, by their place among those with the lamp on. lamps: theirs. aside: a sentence for each that
    does not count."""

    rows: list[int]
    lamps: Lamps | None
    aside: list[str] = field(default_factory=list)


class PhotoSet:
    """The photos of one place, read one after the other: `add` each, then `reading`."""

    def __init__(self, form: Form, camera: PhotoCamera):
        """camera: of the first photo, at the size that is worked on. Raises ValueError when it sees nothing of the piece."""
        self.form, self.camera = form, camera
        self.faces = np.flatnonzero(faces_seen(camera, form))
        if len(self.faces) < 8:
            raise ValueError("the camera found for it sees next to nothing of the piece: check the spots")
        self.pixels = pixels_seen(camera, form, self.faces, camera.size)
        corners = form.faces[self.faces]
        self.position = self.pixels.interpolate(corners, form.vertices)
        self.normal = unit(self.pixels.interpolate(corners, form.normals)).astype(np.float32)
        depth = (self.position - camera.place) @ camera.rotation[2]
        self.depth = depth.astype(np.float32)
        self.pixel_mm = float(np.median(depth) / camera.distance)
        self.values: list[Floats] = []
        self.usable: list[Bools] = []
        self.colour = np.zeros((len(self.pixels), 3), np.float32)
        self.sharp: list[Floats] = []
        self.dark: Floats | None = None

    def add(self, photo: Floats, camera: PhotoCamera | None = None, *, lamp_off: bool = False) -> None:
        """A photo (h, w, 3) display-encoded 0 to 1, row 0 at the bottom. camera: its own, where it was taken from elsewhere."""
        linear = decode(photo)
        grey = luminance(linear)
        at = None if camera is None else camera.project(self.position)[0] - 0.5
        size = self.camera.size if camera is None else camera.size
        inside = np.ones(len(self.pixels), bool)
        if at is not None:
            inside = (at >= 0).all(axis=1) & (at <= np.array(size) - 1).all(axis=1)

        def read(raster: Floats) -> Floats:
            if at is None:
                return np.asarray(raster.reshape(-1)[self.pixels.index])
            return bilinear(raster, at[:, 0], size[1] - 1 - at[:, 1]).astype(np.float32)

        values = read(grey)
        if lamp_off:
            self.dark = values
            return
        self.values.append(values)
        self.usable.append(inside & (read(photo.max(axis=2)) < BLOWN) & (values > DARKEST / 4))
        for channel in range(3):
            self.colour[:, channel] += read(linear[..., channel])

    def reading(self, relief: Floats | None = None, *, keep: Kept) -> Generator[float, None, Reading]:
        """Fit the lamps and read relief and albedo. relief: (n, 3) slopes that the scan's own texture gave, whose coarse bands
        stay. keep: which photos count, and their lamps. Yields the fraction done."""
        values = np.stack([self.values[k] for k in keep.rows], axis=1)
        usable = np.stack([self.usable[k] for k in keep.rows], axis=1)
        lamps = keep.lamps
        assert lamps is not None, "no photo counts"
        seen, room = self.light(values, lamps)
        focus = in_focus(self.pixels, seen, self.depth)
        yield 0.3
        expected = self._even_albedo(seen, usable, lamps, room)
        found = yield from self._facing(seen, usable, lamps, room, expected)
        if len(keep.rows) == 1:
            found = self._completed(found, lamps)
        slope = self._joined(found, relief, LARGEST_MM if len(keep.rows) >= FEWEST else LARGEST_ALONE_MM)
        weight = self._weight(found, focus)
        finest = finest_mm(self.pixels, slope, weight, self.pixel_mm)
        slope = self._without_noise(slope, finest)
        tint = self.colour / np.maximum(luminance(self.colour), 1e-4)[:, None]
        albedo = np.clip(found.albedo[:, None] * tint, 0, 1).astype(np.float32)
        yield 1.0
        return Reading(
            self.pixels, self.faces, self.position, self.normal, slope, albedo, weight, found.doubt.astype(np.float32), lamps,
            self.pixel_mm, focus, finest,
        )  # fmt: skip

    def lamps(self, rows: list[int]) -> Lamps:
        """The lamps of some photos by places of the coarse form, averaged over blocks of pixels."""
        values, usable = (np.stack([of[row] for row in rows], axis=1) for of in (self.values, self.usable))
        values = values if self.dark is None else np.maximum(values - self.dark[:, None], 1e-5)
        samples = replace(self.samples(values, usable), pixels=self._block_pixels(values, usable))
        towards = unit(self.camera.place - samples.points.mean(axis=0))
        return fit_lamps(samples, towards, room=self.dark is None, curve=self.dark is None)

    def light(self, values: Floats, lamps: Lamps) -> tuple[Floats, float]:
        """The values (n, k) as light, and what of it is the room's."""
        if self.dark is not None:
            return np.maximum(values - self.dark[:, None], 0), 0.0
        return np.power(np.maximum(values, 0), lamps.curve), lamps.room

    def samples(self, values: Floats, usable: Bools) -> Samples:
        """Means over squares of pixels of the coarse form."""
        width = self.pixels.shape[1]
        edge = max(1, int(np.sqrt(len(self.pixels) / SAMPLES)))
        row, column = np.divmod(self.pixels.index, width)
        _, group = np.unique((row // edge) * (width // edge + 1) + column // edge, return_inverse=True)
        count = int(group.max()) + 1
        number = np.bincount(group, minlength=count)

        def mean(of: Floats) -> Floats:
            return np.stack([np.bincount(group, column, count) for column in of.T], axis=1) / number[:, None]

        full = number > 0.7 * edge * edge
        whole = mean(usable.astype(float)) > 0.97
        bright = mean(values)
        return Samples(
            mean(self.position)[full], unit(mean(self.normal))[full], bright[full], (whole & (bright > DARKEST))[full],
            number[full].astype(float),
        )  # fmt: skip

    def _block_pixels(self, values: Floats, usable: Bools) -> BlockPixels | None:
        """Some pixels of squares of BLOCK_MM, spread over the photo; None with fewer than three photos or next to no
        squares."""
        if values.shape[1] < FEWEST:
            return None
        width = self.pixels.shape[1]
        edge = max(6, round(BLOCK_MM / self.pixel_mm))
        row, column = np.divmod(self.pixels.index, width)
        _, group, number = np.unique(
            (row // edge) * (width // edge + 1) + column // edge, return_inverse=True, return_counts=True
        )
        full = np.flatnonzero(number > 0.7 * edge * edge)
        if len(full) < 6:
            return None
        rng = np.random.default_rng(1)
        chosen = full[:: -(-len(full) // BLOCKS)]
        order = rng.permutation(len(group))
        order = order[np.isin(group[order], chosen)]
        order = order[np.argsort(group[order], kind="stable")]
        first = np.searchsorted(group[order], chosen)
        rank = np.arange(len(order)) - first[np.searchsorted(chosen, group[order])]
        rows = order[rank < BLOCK_PIXELS]
        block = np.searchsorted(chosen, group[rows])
        good = usable[rows] & (values[rows] > DARKEST / 2)
        return BlockPixels(
            self.position[rows].astype(float), self.normal[rows].astype(float), values[rows].astype(float), good, block
        )

    def _even_albedo(self, seen: Floats, usable: Bools, lamps: Lamps, room: float) -> Floats:
        """(n,) mean albedo round each pixel, by the form's own shading."""
        total, light = np.zeros(len(seen), np.float32), np.zeros(len(seen), np.float32)
        for first in range(0, len(seen), CHUNK):
            part = slice(first, first + CHUNK)
            shade = lamps.light(self.position[part], self.normal[part])
            good = usable[part] & (shade > 0.1 * shade.max(axis=1, keepdims=True))
            total[part] = (seen[part] * good).sum(axis=1)
            light[part] = (shade * good).sum(axis=1)
        mask = self.pixels.mask().astype(np.float32)
        sigma = MEAN_MM / self.pixel_mm
        over, under = (gaussian_blur(self.pixels.scatter(plane), sigma) for plane in (total, light))
        known = gaussian_blur(mask, sigma)
        over, under = (plane.reshape(-1)[self.pixels.index] for plane in (over, under))
        level = float(total.sum() / max(light.sum(), 1e-9))
        return np.where(known.reshape(-1)[self.pixels.index] > 1e-3, over / np.maximum(under, 1e-6), level).astype(np.float32)

    def _facing(self, seen: Floats, usable: Bools, lamps: Lamps, room: float, albedo: Floats) -> Generator[float, None, Facing]:
        paint = PAINT if seen.shape[1] >= 3 else PAINT_ALONE
        parts = [slice(first, first + CHUNK) for first in range(0, len(seen), CHUNK)]

        def solve(part: slice) -> Facing:
            ways, strength = lamps.ways(self.position[part].astype(float))
            shaded = Shaded(self.normal[part].astype(float), ways, strength, room, seen[part].astype(float), usable[part])
            return facing(shaded, albedo[part].astype(float), paint=paint)

        found = []
        for number, solved in enumerate(in_parallel(solve, parts)):
            found.append(solved)
            yield 0.3 + 0.6 * number / len(parts)
        return Facing(
            *(np.concatenate([getattr(part, name) for part in found]) for name in ("normals", "albedo", "doubt", "lamps"))
        )

    def _completed(self, found: Facing, lamps: Lamps) -> Facing:
        """What a single lamp shows, with the slopes across it that a surface must have."""
        ways, strength = lamps.ways(self.position)
        axes = self.camera.rotation * np.array([[1.0], [-1.0], [-1.0]])
        slope = self._slope(found)
        slope = completed(self.pixels, axes, self.normal, slope, (ways * strength[..., None])[:, 0], _trusted(found))
        return replace(found, normals=unit(self.normal - slope))

    def _slope(self, found: Facing) -> Floats:
        """(n, 3) slopes that turn the form's normals into those found, of 63 degrees at the most."""
        climb = np.maximum(np.einsum("ij,ij->i", found.normals, self.normal), 0.2)
        slope = (self.normal - found.normals / climb[:, None]).astype(np.float32)
        slope *= np.minimum(1.0, 2.0 / np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-6))
        return np.asarray(slope)

    def _joined(self, found: Facing, relief: Floats | None, largest_mm: float) -> Floats:
        """(n, 3) slopes: the photos' below a wavelength of `largest_mm`, the scan's own above."""
        slope = self._slope(found)
        if relief is not None:
            slope = slope - relief
        sigma = largest_mm / (2 * np.pi) * 1.18 / self.pixel_mm  # half of the amplitude passes at that wavelength
        mask = self.pixels.mask()
        trusted = _trusted(found)
        under = np.maximum(gaussian_blur(self.pixels.scatter(trusted.astype(np.float32)), sigma), 1e-4)
        for axis in range(3):
            over = gaussian_blur(self.pixels.scatter((trusted * slope[:, axis]).astype(np.float32)), sigma)
            slope[:, axis] -= np.where(mask, over / under, 0).reshape(-1)[self.pixels.index]
        if relief is not None:
            slope = slope + relief
        slope -= np.einsum("ij,ij->i", slope, self.normal)[:, None] * self.normal
        return slope.astype(np.float32)

    def _without_noise(self, slope: Floats, finest: float) -> Floats:
        """Slopes without what is finer than the finest detail that rises out of the noise."""
        sigma = NOISE_PASSES * finest / (2 * np.pi) * 1.18 / self.pixel_mm
        if sigma < 0.3:
            return slope
        mask = self.pixels.mask()
        under = np.maximum(gaussian_blur(mask.astype(np.float32), sigma), 1e-3)
        calm = [gaussian_blur(self.pixels.scatter(slope[:, axis]), sigma) / under for axis in range(3)]
        return np.stack([plane.reshape(-1)[self.pixels.index] for plane in calm], axis=1).astype(np.float32)

    def _weight(self, found: Facing, focus: Focus) -> Floats:
        """(n,) how far each pixel counts: sharp, facing, away from borders, confidence by the photos rather than expected."""
        way = unit(self.camera.place - self.position)
        turned = np.einsum("ij,ij->i", way, self.normal)
        inner = gaussian_blur(self.pixels.mask().astype(np.float32), BORDER_MM / self.pixel_mm / 2).reshape(-1)[
            self.pixels.index
        ]
        confidence = 1.0 - np.clip((found.doubt[:, 0] - 0.25) / 0.2, 0, 1)
        weight = focus.weight * _ramp(turned, 0.25, 0.5) * _ramp(inner, 0.55, 0.95) * confidence * (found.lamps > 0)
        eased = gaussian_blur(self.pixels.scatter(weight.astype(np.float32)), 1.5).reshape(-1)[self.pixels.index]
        return np.minimum(eased, _ramp(inner, 0.55, 0.95)).astype(np.float32)


def _trusted(found: Facing) -> Floats:
    """(n,) 0 to 1: how far the photos rather than the form tell each pixel's slope."""
    return np.asarray(1.0 / (1.0 + (found.doubt[:, 0] / 0.15) ** 2))


def _ramp(values: Floats, low: float, high: float) -> Floats:
    x = np.clip((values - low) / (high - low), 0, 1)
    return np.asarray(x * x * (3 - 2 * x))
