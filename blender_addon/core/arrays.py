"""Which kinds of array do functions take and give? One name for each kind of number; a docstring gives the shape.

Kinds are left open in their width (float32 in texels and images, float64 in geometry), because one function serves both.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
"""Real numbers, float32 or float64: (n, 3) points and directions, (v, 3) vertices, (h, w) images."""
Complexes = NDArray[np.complexfloating]
"""Fourier transforms."""
Ints = NDArray[np.integer]
"""Indices and counts of any width: (m, 3) faces, (n,) rows of another array."""
Pixels8 = NDArray[np.uint8]
"""(h, w) or (h, w, channels) pixels of an 8-bit picture."""
Pixels16 = NDArray[np.uint16]
"""The same of a 16-bit picture."""
Pixels = NDArray[np.unsignedinteger]
"""Pixels of either depth."""
Bools = NDArray[np.bool_]
"""Masks: (n,) which rows of another array are meant."""
AnyArray = NDArray[Any]
"""An array of whatever kind a file or Blender holds."""
