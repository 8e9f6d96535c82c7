"""How fine is the relief of a texture of 0.025 mm a texel, that of an 8 K texture on a piece of 146 mm? Against known truth.

The piece is a small one with as much on each square millimetre (`scripts/truth/pieces/engraved.py`). The lens blurs by 0.8
texels: a guess, sharper than the bench's other photos (1.7 texels).
"""

from __future__ import annotations

import io

import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.triangles import unit
from blender_addon.core.rasters import bilinear
from blender_addon.core.srgb import decode, luminance
from blender_addon.core.surface.normal_maps import encode, from_tangent_space, tangent_frames, tangent_space
from blender_addon.core.surface.relief.finer import Base, read_finer
from blender_addon.core.surface.relief.finest import finest_of_picture
from blender_addon.core.surface.relief.own_map import slopes_of_normals
from blender_addon.core.surface.relief.recovery import Photographed, recover
from blender_addon.core.surface.texels import extend
from blender_addon.core.surface.textured_surface import read_surface, without
from blender_addon.job.runner import finish
from scripts.truth.scan.camera import Camera
from scripts.truth.scanner import TruthCase, truth_case

from .._coherence import coherent_mm
from .measures import Ready

SIZE, TRIANGLES, BLUR_MM = 1024, 5500, 0.02
MARGIN = 8  # texels, as the step extends its maps


def case_of(light: str) -> TruthCase:
    """The engraved piece under a light."""
    return truth_case("engraved", light, size=SIZE, triangles=TRIANGLES, camera=Camera(blur=BLUR_MM))


def enlarged_texture(light: str) -> Floats:
    """(SIZE, SIZE, 3) 8 bits: a soft photo of half the size with a camera's noise, enlarged and stored as JPEG.

    It holds nothing finer than the halved texture, and noise as coarse as fine marks.
    """
    from PIL import Image

    soft = truth_case("engraved", light, size=SIZE, triangles=TRIANGLES, camera=Camera(blur=0.1, noise=0.0)).texture
    half = soft.reshape(SIZE // 2, 2, SIZE // 2, 2, 3).mean(axis=(1, 3))
    half += np.random.default_rng(0).normal(0, 5, half.shape)
    shown = Image.fromarray(np.clip(half, 0, 255).astype(np.uint8)).resize((SIZE, SIZE), Image.Resampling.BICUBIC)
    data = io.BytesIO()
    shown.save(data, "JPEG", quality=95)
    return np.asarray(Image.open(data))


def normal_maps(case: TruthCase, texture: Floats) -> tuple[Floats, Floats]:
    """The normal map of the halved texture (h, w, 3) alone, and that with the full one's relief, as the step makes them."""
    picture = decode(texture.astype(np.float32) / 255)
    half = 0.25 * (picture[::2, ::2] + picture[1::2, ::2] + picture[::2, 1::2] + picture[1::2, 1::2])
    surface = read_surface(case.scan, np.ones(len(case.scan.faces), bool), height=len(half), width=len(half))
    surface = without(surface, surface.texels.shared)
    photo = Photographed(surface, np.ascontiguousarray(half.reshape(-1, 3)[surface.texels.index]))
    found = finish(recover([photo], largest_mm=3.0))
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    slopes = found.relief.slope if found.found else 0 * found.relief.slope
    mask = surface.texels.mask()
    coarse = surface.texels.scatter(encode(tangent_space(surface.texels, frames, surface.normal, slopes)))
    coarse[~mask] = (0.5, 0.5, 1.0)
    coarse = extend(coarse, mask, MARGIN)
    bright = np.log(np.maximum(luminance(picture), 1e-4)).astype(np.float16)
    detail = finest_of_picture(bright, mask, 0.5 * surface.texel_mm)
    finer = finish(read_finer(Base(surface, found, coarse), bright, detail_mm=detail))
    return coarse, coarse if finer is None else finer.normals


def slopes_in(part: Ready, normals: Floats) -> Floats:
    """(n, 3) slopes of a normal map (h, w, 3) of any size in a case's texels."""
    surface = part.surface
    height, width = surface.texels.shape
    row, column = np.divmod(surface.texels.index, width)
    x = (column + 0.5) * normals.shape[1] / width - 0.5
    y = (row + 0.5) * normals.shape[0] / height - 0.5
    stored = np.stack([bilinear(normals[..., axis].astype(np.float32), x, y) for axis in range(3)], axis=1)
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    return slopes_of_normals(surface.normal, from_tangent_space(surface.texels, frames, surface.normal, unit(2 * stored - 1)))


def finest_mm(part: Ready, slopes: Floats) -> float:
    """The shortest wavelength at which slopes (n, 3) and the truth are coherent by a half, 0 where they never are."""
    true = slopes_of_normals(part.surface.normal, part.true_normal)
    return coherent_mm(part.surface.texels, slopes, true, part.known & (part.border > 4), part.surface.texel_mm)
