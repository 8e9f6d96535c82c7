"""What would a camera see of the textured piece? Colour, normal and place behind each pixel, without any light."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.triangles import unit
from ...rasters import repeated_pixel
from ...records import record
from ...srgb import luminance
from ...surface.texels import Texels, extend, rasterize
from ..camera import PhotoCamera
from ..seen import Form, flat_uv
from .fewer_faces import with_fewer_faces

MARGIN = 0.1
"""Share of the photo's sides round it that is drawn too, so that faces at its border are drawn whole."""
GROWN = 3
"""Texels that a picture is grown past the faces' borders, where a pixel's place may fall."""
LARGEST = 2100
"""Longest side in texels of the pictures that are kept."""
CELLS = (58, 117, 240)
"""Cells across the piece's diagonal of the forms with fewer faces, for looks whose pixels are as large as the cells."""
FEWER = 0.7
"""Share of the piece's faces that such a form may have at the most to be worth its making."""
PLAIN = 0.5
"""Albedo of a piece without any colour."""


class Skin:
    """The piece's colour as grey, and the relief that its texture shows, for looks from near and far."""

    def __init__(self, form: Form, *, texel_mm: float, texture: Texture | None = None, colours: Floats | None = None):
        """form: in mm. texture: of its faces; or colours: (v, 3) linear of its vertices; or neither. texel_mm: edge of the
        texture's texel on the piece, or of a mesh edge."""
        self.form, self.texture, self.texel_mm = form, texture, texel_mm
        self.levels = [] if texture is None else _levels(texture)
        self.by_vertex = None if colours is None else luminance(colours)
        self._fewer: dict[int, Skin] = {}

    @cached_property
    def middle(self) -> Floats:
        """(3,) mm, the middle of its box."""
        return np.asarray((self.form.vertices.min(axis=0) + self.form.vertices.max(axis=0)) / 2)

    @cached_property
    def reach(self) -> float:
        """Diagonal of its box in mm."""
        return float(np.linalg.norm(np.ptp(self.form.vertices, axis=0)))

    def fewer(self, pixel_mm: float) -> Skin:
        """The skin for looks with such pixels: on fewer faces where the piece has many more than they can show."""
        cells = next((number for number in CELLS if self.reach / number <= pixel_mm), None)
        if cells is None:
            return self
        if cells not in self._fewer:
            form, grey = with_fewer_faces(self.form, self._grey(self.reach / cells), self.reach / cells)
            coarser = self
            if len(form.faces) < FEWER * len(self.form.faces):
                coarser = Skin(form, texel_mm=self.texel_mm)
                coarser.by_vertex, coarser.middle, coarser.reach = grey.astype(np.float32), self.middle, self.reach
            self._fewer[cells] = coarser
        return self._fewer[cells]

    def _grey(self, pixel_mm: float) -> Floats:
        """(v,) albedo of the vertices, as seen with such pixels."""
        if self.texture is None:
            return np.full(len(self.form.vertices), PLAIN) if self.by_vertex is None else self.by_vertex
        shown = self._picked(self.texture.uv.reshape(-1, 2), pixel_mm)[:, 0]
        corners = self.form.faces.ravel()
        number = np.bincount(corners, minlength=len(self.form.vertices))
        return np.asarray(np.bincount(corners, shown, len(self.form.vertices)) / np.maximum(number, 1))

    def _picked(self, uv: Floats, pixel_mm: float) -> Floats:
        """(n, 1 or 4) grey and slopes of the texture at places (n, 2), from a picture as coarse as the pixels are."""
        assert self.texture is not None, "the piece has no texture"
        finest = self.texel_mm * self.texture.picture.shape[0] / self.levels[0].shape[0]
        level = int(np.clip(np.log2(max(pixel_mm / finest, 1e-6)) + 0.3, 0, len(self.levels) - 1))
        return np.asarray(self.levels[level][repeated_pixel(uv, self.levels[level].shape)])

    def surface(self, texels: Texels, pixel_mm: float) -> tuple[Floats, Floats]:
        """Albedo (n,) and unit normals (n, 3) of pixels on the form's faces; from a texture as coarse as the pixels are."""
        normal = unit(texels.interpolate(self.form.faces, self.form.normals)).astype(np.float32)
        if self.texture is not None:
            shown = self._picked(np.einsum("nc,nci->ni", texels.weight, self.texture.uv[texels.face]), pixel_mm)
            return shown[:, 0], unit(normal - shown[:, 1:]) if shown.shape[1] > 1 else normal
        if self.by_vertex is not None:
            return texels.interpolate(self.form.faces, self.by_vertex), normal
        return np.full(len(texels), PLAIN, np.float32), normal


@record
class Texture:
    """uv: (m, 3, 2) of the form's faces. picture: (h, w, 3) linear, row 0 at v = 0. slopes: (h, w, 3) surface gradient of the
    relief that the texture showed, in the piece's frame, or None."""

    uv: Floats
    picture: Floats
    slopes: Floats | None = None


def _levels(texture: Texture) -> list[Floats]:
    """(h, w, 1 or 4) grey and slopes, and again and again at half of the size, by the means of the texels that faces cover."""
    height, width = texture.picture.shape[:2]
    mask = rasterize(texture.uv, height=height, width=width).mask()
    covered = mask[..., None].astype(np.float32)
    values = luminance(texture.picture)[..., None]
    if texture.slopes is not None:
        values = np.concatenate([values, texture.slopes.astype(np.float32)], axis=2)
    values = values * covered
    levels: list[Floats] = []
    while not levels or min(values.shape[:2]) >= 128:
        if max(values.shape) <= LARGEST:
            levels.append(extend(values / np.maximum(covered, 1e-6), covered[..., 0] > 0, GROWN))
        values, covered = _halved(values), _halved(covered)
    return levels


def _halved(values: Floats) -> Floats:
    height, width = (side // 2 for side in values.shape[:2])
    return np.asarray(values[: 2 * height, : 2 * width].reshape(height, 2, width, 2, -1).mean(axis=(1, 3)))


@record
class Look:
    """What a camera sees. texels: which of its pixels show the piece, row 0 at the bottom, and where on its faces. albedo: (n,)
    grey. normal, position: (n, 3), position in mm. pixel_mm: edge of a pixel on the piece, the median."""

    texels: Texels
    albedo: Floats
    normal: Floats
    position: Floats
    pixel_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """(height, width) of the photo."""
        return self.texels.shape

    @property
    def index(self) -> Ints:
        """(n,) flat pixels that show the piece."""
        return self.texels.index

    def mask(self) -> Bools:
        """(height, width) bool: the piece."""
        return np.asarray(self.raster(np.ones(len(self.index), np.float32)) > 0)

    def raster(self, values: Floats) -> Floats:
        """(height, width) float32 of values (n,), 0 beside the piece."""
        raster = np.zeros(self.shape[0] * self.shape[1], np.float32)
        raster[self.index] = values
        return raster.reshape(self.shape)


def look(skin: Skin, camera: PhotoCamera) -> Look | None:
    """What a camera sees of the piece at its own size; None where that is next to nothing."""
    form, (width, height) = skin.form, camera.size
    vertices, faces = form.vertices, form.faces
    if form.others is not None:
        faces = np.concatenate([faces, form.others[1] + len(vertices)])
        vertices = np.concatenate([vertices, form.others[0]])
    uv, depth = flat_uv(camera, vertices)
    inside = (depth > 0) & (uv > -MARGIN).all(axis=1) & (uv < 1 + MARGIN).all(axis=1)
    drawn = np.flatnonzero(inside[faces].all(axis=1))
    if len(drawn) < 4:
        return None
    pixel_mm = float(np.median(depth[faces[drawn]])) / camera.distance
    drawn = drawn[np.argsort(-depth[faces[drawn]].mean(axis=1), kind="stable")]  # the nearest is drawn last
    wide, high = (2 * round(MARGIN * side) + side for side in (width, height))
    aside, below = (wide - width) // 2, (high - height) // 2
    placed = (uv * (width, height) + (aside, below)) / (wide, high)
    corners = placed[faces[drawn]]
    texels = rasterize(corners, height=high, width=wide)
    row, column = np.divmod(texels.index, wide)
    a, b, c = (corners[texels.face, corner] for corner in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    owner = drawn[texels.face]
    good = (turn > 0) & (owner < len(form.faces))  # a face seen from behind hides and shows nothing
    good &= (row >= below) & (row < below + height) & (column >= aside) & (column < aside + width)
    if good.sum() < 60:
        return None
    kept = Texels(
        (height, width), (row[good] - below) * width + column[good] - aside, owner[good], texels.weight[good],
        texels.shared[good],
    )  # fmt: skip
    albedo, normal = skin.surface(kept, pixel_mm)
    return Look(kept, albedo, normal, kept.interpolate(form.faces, vertices), pixel_mm)
