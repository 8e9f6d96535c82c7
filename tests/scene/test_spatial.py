"""Do queries find the same whether a mesh is handed over in one piece or in many?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.scene import spatial
from tests.scan_shapes import statuette

FIGURE = statuette(rows=24, columns=30, open_bottom=False)


@pytest.mark.parametrize("chunk", [7, 24 * 30, 10**6])
def test_a_mesh_in_pieces_is_the_same_mesh(chunk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A ray to the middle of each face from a little outside hits that face, at that distance."""
    monkeypatch.setattr(spatial, "CHUNK", chunk)
    queries = spatial.SurfaceQueries(FIGURE.vertices, FIGURE.faces)
    corners = np.asarray(FIGURE.vertices, float)[FIGURE.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(across, axis=1)
    across[size > 0] /= size[size > 0, None]
    face, distance = queries.cast(corners.mean(axis=1) + 0.01 * across, -across)
    whole = size > 1e-6 * size.max()
    assert np.array_equal(face[whole], np.flatnonzero(whole))
    assert np.allclose(distance[whole], 0.01, atol=1e-5)  # 32-bit numbers some 50 mm from zero
