"""Times single functions against other libraries, one thread each: `python -m scripts.bench.speed.kernels PART` prints JSON.

In a process of its own, so that the number of threads is set before any library is loaded (see `ONE_THREAD`).
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable
from typing import Any

import numpy as np

from blender_addon.core.mesh import components, holes, topology
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan import loose
from blender_addon.core.surface.bandpass import band_pass, gaussian_blur

from .. import median_ratio, median_seconds
from .big_scan import bumpy

WIDE, NARROW = 40.0, 2.0
"""Widths of the blurs in texels: what 3 mm and the finest detail come to on a common texture."""


def blurs(size: int) -> dict[str, Any]:
    """One wide blur, and the difference of a narrow and a wide one, against OpenCV's."""
    import cv2

    cv2.setNumThreads(1)
    image = _picture(size)

    def theirs(sigma: float) -> Any:
        return cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)

    blur = median_ratio(lambda: gaussian_blur(image, WIDE), lambda: theirs(WIDE), repeats=3)
    dog = median_ratio(lambda: band_pass(image, NARROW, WIDE), lambda: theirs(NARROW) - theirs(WIDE), repeats=3)
    return {"blur": blur, "dog": dog, "rms_percent": _off_exact(_picture(min(size, 2048))), "peer": f"OpenCV {cv2.__version__}"}


def _off_exact(image: Any) -> float:
    """RMS error of our difference of blurs over its own RMS in percent, against scipy's in double precision out to 7 sigmas."""
    from scipy.ndimage import gaussian_filter

    narrow, wide = (gaussian_filter(image.astype(float), sigma, mode="reflect", truncate=7.0) for sigma in (NARROW, WIDE))
    exact = narrow - wide
    off = band_pass(image, NARROW, WIDE) - exact
    return 100.0 * float(np.sqrt(np.mean(off**2)) / np.sqrt(np.mean(exact**2)))


def parts(triangles: int) -> dict[str, Any]:
    """Connected components of a mesh, from its faces, against scipy's of the graph of the same edges."""
    import scipy
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    figure = bumpy(triangles)
    faces, count = figure.faces.astype(np.int32), len(figure.points)

    def theirs() -> Any:
        rows, columns = np.concatenate([faces[:, 0], faces[:, 1]]), np.concatenate([faces[:, 1], faces[:, 2]])
        graph = coo_matrix((np.ones(len(rows), np.int8), (rows, columns)), (count, count))
        return connected_components(graph, directed=False)

    ratio = median_ratio(lambda: components.connected_vertices(faces, count), theirs, repeats=3)
    same = int(components.connected_vertices(faces, count).max()) + 1 == theirs()[0]
    return {"parts": ratio, "same": same, "peer": f"SciPy {scipy.__version__}"}


def growth_triangles(most: int) -> dict[str, Any]:
    """How the parts of cleanup grow: seconds of each at four sizes, and the slope of log time over log size."""
    sizes = [max(2000, round(most * share)) for share in (1 / 40, 1 / 10, 1 / 3, 1.0)]
    seconds: dict[str, list[float]] = {}
    for size in sizes:
        figure = bumpy(size)
        mesh = TriangleMesh(
            figure.points.astype(np.float32), figure.faces.astype(np.int32), figure.uv[figure.faces].astype(np.float32)
        )
        works: dict[str, Callable[[], Any]] = {
            "welding": lambda mesh=mesh: topology.welded(mesh),
            "degenerate": lambda mesh=mesh: topology.degenerate_faces(mesh),
            "loose": lambda mesh=mesh: loose.parts(mesh),
            "rims": lambda mesh=mesh: holes.rims(mesh),
        }
        for name, work in works.items():
            seconds.setdefault(name, []).append(median_seconds(work, repeats=3, warm=size < 1_000_000))
    seconds["all"] = [sum(own[place] for own in list(seconds.values())) for place in range(len(sizes))]
    return {"sizes": sizes, "seconds": seconds, "slopes": {name: slope(sizes, own) for name, own in seconds.items()}}


def growth_texels(most: int) -> dict[str, Any]:
    """How the blurs grow from an eighth of the edge `most` to it."""
    edges = [most // 8, most // 4, most // 2, most]
    seconds = []
    for edge in edges:
        picture = _picture(edge)
        seconds.append(median_seconds(lambda picture=picture: band_pass(picture, NARROW, WIDE), repeats=3))
    return {"edges": edges, "seconds": seconds, "slope": slope([edge**2 for edge in edges], seconds)}


def slope(sizes: list[int], seconds: list[float]) -> float:
    """Least-squares slope of log time over log size: 1 is proportional."""
    x, y = np.log(np.array(sizes, float)), np.log(np.array(seconds))
    return float(np.polyfit(x, y, 1)[0]) if all(map(math.isfinite, seconds)) else math.nan


def _picture(size: int) -> Any:
    """(size, size) float32 noise of as much contrast at every size from a texel to a quarter of the picture, as photos have."""
    random, edge = np.random.default_rng(1), 1
    picture = np.zeros((size, size), np.float32)
    while edge <= size // 4:
        blocks = random.random((size // edge, size // edge), dtype=np.float32)
        picture += np.repeat(np.repeat(blocks, edge, axis=0), edge, axis=1)
        edge *= 2
    return picture / picture.max()


PARTS: dict[str, Callable[[int], dict[str, Any]]] = {
    "blurs": blurs, "parts": parts, "growth_triangles": growth_triangles, "growth_texels": growth_texels,
}  # fmt: skip

if __name__ == "__main__":
    print(json.dumps(PARTS[sys.argv[1]](int(sys.argv[2]))))
