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


GROUND, OFF_THE_GROUND, CENTRED = ((0.003, 20.0), (0.01, 4.0)), 0.5, 0.002
"""Gap between a file's origin and the lowest point, over the longest side, below which it lies on the ground, and how much that
speaks for the axis; the same where it lies elsewhere; and how far off its box may lie to be called centred. Of 19 labelled
scans 12 stand within 0.3 % and two more within 1 %, where chance would bring 0.3 % and 0.7 %; five lie elsewhere and three are
centred. The factors are kept well below what these counts give: guesses."""


def chances(file: str) -> dict[str, float]:
    """The chance of each axis to be up, given that the file's axes mean anything; they add up to 1."""
    return BY_SUFFIX.get(PurePath(file).suffix.lower(), Y_UP)


def on_the_ground(low: Floats, high: Floats) -> dict[str, float]:
    """How much likelier each axis is to be up for where the file's origin lies, over how likely it is that the file's axes mean
    nothing: whoever sets a piece upright puts it on the ground, so that its lowest point lies at zero along one axis.

    low, high: (3,) the least and the largest coordinates. A box that lies about the origin, or in one of its corners, was put
    there by a program, whatever its pose: that says nothing.
    """
    size = float((high - low).max())
    gaps = np.abs(np.stack([low, high])) / max(size, 1e-30)
    if not size > 0 or (np.abs(low + high) < CENTRED * size).all() or (gaps.min(axis=0) < GROUND[0][0]).sum() > 1:
        return dict.fromkeys(AXES, 1.0)
    found = {}
    for name, up in AXES.items():
        axis = int(np.abs(up).argmax())
        gap = gaps[0 if up[axis] > 0 else 1, axis]
        found[name] = next((factor for limit, factor in GROUND if gap < limit), OFF_THE_GROUND)
    return found


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
