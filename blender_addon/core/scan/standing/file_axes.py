"""How much do a file's own axes say about which way is up? By format, after Blender's importer has turned it.

Files are written y up or z up, and importers assume one of them. Of 66 scans that we checked, +Z after import was up in 58;
how the rest is shared out among the axes, and between formats, is a guess. A scan straight from photographs may lie in any
pose: that is taken for one in five.
"""

from __future__ import annotations

from pathlib import PurePath

import numpy as np

from ...arrays import Floats

MEANT = 0.8
"""Chance that a file's axes mean anything."""
AXES: dict[str, Floats] = {
    "z": np.array([0.0, 0.0, 1.0]), "-y": np.array([0.0, -1.0, 0.0]), "y": np.array([0.0, 1.0, 0.0]),
    "x": np.array([1.0, 0.0, 0.0]), "-x": np.array([-1.0, 0.0, 0.0]), "-z": np.array([0.0, 0.0, -1.0]),
}  # fmt: skip
"""Unit vectors of the six directions."""
SET_UP = ("z", "-y", "y")
"""Axes that are up where a file was oriented by hand; agreement with another axis is chance."""
Y_UP = {"z": 0.85, "-y": 0.11, "y": 0.025, "x": 0.005, "-x": 0.005, "-z": 0.005}
"""Formats that are read as y up: what was written z up into them comes in with -Y up."""
BY_SPECIFICATION = {"z": 0.92, "-y": 0.05, "y": 0.015, "x": 0.005, "-x": 0.005, "-z": 0.005}
"""Formats whose specification or header says what is up (glTF 2.0, section 3.4; FBX and USD keep it in the file)."""
AS_WRITTEN = {"z": 0.77, "y": 0.16, "-y": 0.055, "x": 0.005, "-x": 0.005, "-z": 0.005}
"""Formats that say nothing and are read as they are: what was written y up comes in with +Y up."""
BY_SUFFIX = {
    ".obj": Y_UP, ".ply": AS_WRITTEN, ".stl": AS_WRITTEN, ".glb": BY_SPECIFICATION, ".gltf": BY_SPECIFICATION,
    ".fbx": BY_SPECIFICATION, ".usd": BY_SPECIFICATION, ".usda": BY_SPECIFICATION, ".usdc": BY_SPECIFICATION,
    ".usdz": BY_SPECIFICATION,
}  # fmt: skip


def chances(file: str) -> dict[str, float]:
    """The chance of each axis to be up, given that the file's axes mean anything; they add up to 1."""
    return BY_SUFFIX.get(PurePath(file).suffix.lower(), Y_UP)


def density(degrees: float) -> float:
    """How much likelier an angle between up and a meant axis is than between an axis and some other direction of the thing.

    Of labelled scans 85 % stand within 1.5 degrees of an axis and nearly all within ten; that is 0.00017, 0.001 and 0.0064
    of the sphere. But in a file whose axes mean something other faces lie square to them, too: one in six is taken to (a
    guess).
    """
    for limit, share in ((1.5, 500.0), (4.0, 60.0), (10.0, 6.0)):
        if degrees <= limit:
            return share
    return 0.0
