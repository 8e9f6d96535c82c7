"""Makes a scan of any size with a photo texture of any size: a bumpy figure on a round foot, as GLB, PLY or OBJ."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from ..corpus.scans import Figure, _gltf_parts, glb


def bumpy(triangles: int, seed: int = 1) -> Figure:
    """A figure 80 units high with about that many triangles, waves on its girth, and a UV of its own for every spot: along the
    seam of its UVs the points stand twice, at one place, so that it is closed once it is welded."""
    rows = max(8, round((triangles / 2.0) ** 0.5))
    columns = max(8, round(triangles / (2.0 * rows)))
    part = np.linspace(0.0, 1.0, rows)[:, None]
    angle = np.linspace(0.0, 2.0 * np.pi, columns + 1)[None]
    girth = np.interp(part[:, 0], [0.0, 0.12, 0.16, 0.5, 0.8, 1.0], [30.0, 30.0, 16.0, 22.0, 15.0, 4.0])[:, None]
    random = np.random.default_rng(seed)
    waves = sum(
        (np.sin(k * angle + random.uniform(0, 6)) * np.sin(m * np.pi * part + random.uniform(0, 6))) / k
        for k, m in ((3, 4), (7, 9), (19, 23), (41, 57))
    )
    radius = girth * (1.0 + 0.05 * waves * (part > 0.16))
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


def write_glb(path: Path, triangles: int, size: int) -> Path:
    """A GLB of about that many triangles with a texture of size x size; kept when it is there already."""
    if path.is_file():
        return path
    content, data = _gltf_parts(bumpy(triangles))
    image = photo(size)
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
