"""The smallest closed mesh: a tetrahedron, for tests that need any object."""

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh

TETRA = TriangleMesh(
    np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], np.float32),
    np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], np.int32),
)
