"""Makes a scan of any size with a photo texture of any size: a bumpy figure on a round foot, as GLB, PLY or OBJ."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from blender_addon.core.arrays import Floats

from ..corpus.scans import Figure, _gltf_parts, glb


def bumpy(triangles: int, seed: int = 1) -> Figure:
    """A figure 80 units high with about that many triangles, waves on its girth, and a UV of its own for every spot: along the
    seam of its UVs the points stand twice, at one place, so that it is closed once it is welded."""
    rows = max(8, round((triangles / 2.0) ** 0.5))
    columns = max(8, round(triangles / (2.0 * rows)))
    part = np.linspace(0.0, 1.0, rows)[:, None]
    angle = np.linspace(0.0, 2.0 * np.pi, columns + 1)[None]
    radius = _radius(part, angle, seed)
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle), 80.0 * np.repeat(part, columns + 1, 1)], -1)
    points[:, -1] = points[:, 0]
    points = points.reshape(-1, 3)
    ends = [[0.0, 0.0, 0.0], [0.0, 0.0, 80.0]]
    uv = np.stack(np.broadcast_arrays(0.49 * angle / np.pi, 0.98 * part), -1).reshape(-1, 2)
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns), indexing="ij")
    row = columns + 1
    at, turn = i * row + j, np.arange(columns)
    quads = np.stack([at, at + 1, at + row + 1, at + row], -1).reshape(-1, 4)
    low, high, top = rows * row, rows * row + 1, (rows - 1) * row
    caps = [np.stack([turn + 1, turn, np.full(columns, low)], 1)]
    caps += [np.stack([top + turn, top + turn + 1, np.full(columns, high)], 1)]
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], *caps])
    return Figure(np.concatenate([points, ends]), faces, np.concatenate([uv, [[0.99, 0.0], [0.99, 0.98]]]))


WAVES = ((3, 4, 0.33), (7, 9, 0.14), (19, 23, 0.4), (41, 57, 0.02))
"""Waves round the figure, half waves up it, and their strength. The third, of 6 mm, bend the form within any few millimetres:
where it does not bend, nothing tells marks of a tool from paint."""


def _radius(part: Floats, angle: Floats, seed: int) -> Floats:
    """Radius of the figure at heights `part` (n, 1), 0 to 1, and angles (1, m) in radians, in its units."""
    girth = np.interp(part[:, 0], [0.0, 0.12, 0.16, 0.5, 0.8, 1.0], [30.0, 30.0, 16.0, 22.0, 15.0, 4.0])[:, None]
    random = np.random.default_rng(seed)
    waves = sum(
        strength * np.sin(k * angle + random.uniform(0, 6)) * np.sin(m * np.pi * part + random.uniform(0, 6))
        for k, m, strength in WAVES
    )
    return np.asarray(girth * (1.0 + 0.05 * waves * (part > 0.16)))


TILE = 1024
"""Side in texels of the pattern of strokes that repeats over the figure."""


def _strokes(size: int, seed: int) -> tuple[Floats, Floats]:
    """Slopes along the rows and the columns of a tile (1024, 1024) of tool strokes every way, a third of a millimetre wide on a
    figure 80 mm high, and finer scratches.

    size: side in texels of the whole texture.
    """
    step = 80.0 / size  # mm a texel
    frequency = np.fft.fftfreq(TILE, step)
    across, along = frequency[:, None], frequency[None]
    noise = np.fft.fft2(np.random.default_rng(seed).normal(size=(TILE, TILE)))
    height = np.zeros((TILE, TILE), complex)
    for width, length, steep in ((0.3, 2.0, 0.15), (0.04, 0.4, 0.25)):
        shape = np.zeros((TILE, TILE))
        for turn in np.pi * np.arange(4) / 4:
            u, v = np.cos(turn) * along + np.sin(turn) * across, np.cos(turn) * across - np.sin(turn) * along
            shape += np.exp(-0.5 * ((np.pi * u * length) ** 2 + (np.pi * v * width) ** 2))
        strokes = noise * shape
        height += strokes * steep / np.fft.ifft2(strokes * 2j * np.pi * along).real.std()
    slopes = [np.fft.ifft2(height * 2j * np.pi * direction).real.astype(np.float32) for direction in (along, across)]
    return slopes[0], slopes[1]


def lit_photo(size: int, seed: int = 2) -> bytes:
    """A JPEG of size x size that shows the figure of `bumpy` with fine strokes of a tool, sharp, as a window and a room light
    it: such a texture holds light that can be read."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    along, across = _strokes(size, seed)
    pixels = np.zeros((size, size, 3), np.uint8)
    angle = (np.arange(size, dtype=np.float64)[None] + 0.5) / size * np.pi / 0.49
    side = np.arange(size) % TILE
    for start in range(0, size, 128):
        rows = np.arange(start, min(size, start + 128))
        part = np.clip((rows[:, None] + 0.5) / size, 0.0, 0.98) / 0.98  # glTF counts v from the top
        d = 1e-4
        radius = _radius(part, angle, 1)
        turned = (_radius(part, angle + d, 1) - _radius(part, angle - d, 1)) / (2 * d)
        raised = (_radius(np.minimum(part + d, 1.0), angle, 1) - _radius(np.maximum(part - d, 0.0), angle, 1)) / (2 * d)
        outward, round_, up = np.ones_like(radius), -turned / radius, -raised / 80.0
        tile = np.ix_(rows % TILE, side)
        round_, up = round_ - along[tile], up - across[tile]
        length = np.sqrt(outward**2 + round_**2 + up**2)
        x = (np.cos(angle) * outward - np.sin(angle) * round_) / length
        y = (np.sin(angle) * outward + np.cos(angle) * round_) / length
        z = up / length
        window = np.maximum(0.0, 0.5 * x - 0.7 * y + 0.5 * z)
        light = 0.25 + 0.15 * z + 0.8 * window
        for channel, albedo in enumerate((0.5, 0.44, 0.38)):
            pixels[rows, :, channel] = np.clip(255.0 * (albedo * light) ** (1 / 2.2), 0, 255)
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, "JPEG", quality=92)
    return data.getvalue()


def photo(size: int, seed: int = 2) -> bytes:
    """A JPEG of size x size: soft light over a grain, as a photo texture has."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    random = np.random.default_rng(seed)
    line = np.linspace(0.0, 1.0, size, dtype=np.float32)
    shade = 120.0 + 60.0 * np.sin(9.0 * line)[:, None] * np.cos(7.0 * line)[None]
    pixels = np.zeros((size, size, 3), np.uint8)
    grain = random.normal(0.0, 9.0, (512, 512)).astype(np.float32)
    tiled = np.tile(grain, (-(-size // 512), -(-size // 512)))[:size, :size]
    for channel, tint in enumerate((1.0, 0.9, 0.8)):
        pixels[..., channel] = np.clip((shade + tiled) * tint, 0, 255)
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, "JPEG", quality=88)
    return data.getvalue()


def write_glb(path: Path, triangles: int, size: int, *, lit: bool = False) -> Path:
    """A GLB of about that many triangles with a texture of size x size; kept when it is there already.

    lit: the texture is `lit_photo`, whose light and fine strokes can be read, instead of `photo`.
    """
    if path.is_file():
        return path
    content, data = _gltf_parts(bumpy(triangles))
    image = lit_photo(size) if lit else photo(size)
    start = len(data) + -len(data) % 4
    content["bufferViews"].append({"buffer": 0, "byteOffset": start, "byteLength": len(image)})
    content["images"] = [{"bufferView": 3, "mimeType": "image/jpeg", "name": "colour"}]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(glb(content, data.ljust(start, b"\0") + image))
    return path


def write_obj(path: Path, triangles: int) -> Path:
    """An OBJ of about that many triangles with UVs."""
    figure = bumpy(triangles)
    corners = figure.faces + 1
    with path.open("w") as file:
        np.savetxt(file, figure.points, "v %.5f %.5f %.5f")
        np.savetxt(file, figure.uv, "vt %.5f %.5f")
        np.savetxt(file, np.repeat(corners, 2, axis=1), "f %d/%d %d/%d %d/%d")
    return path


def held_mb(which: str = "VmHWM") -> float:
    """Memory held at the most ('VmHWM') or now ('VmRSS'), MB, as Linux counts it for this process."""
    words = Path("/proc/self/status").read_text(encoding="ascii")
    return float(words.split(f"{which}:")[1].split()[0]) / 1e3
