"""How does a further scan lie on the first? Unknown rotation, translation and scale, and how sure we can be.

In: two meshes, the first upright.
Out: candidate poses with their evidence, and a verdict.
Order: `surfels` and `scans` prepare; `starts`, `batch`, `icp` and `evidence` are used by `search` in that order; `verdict`
decides, tie_breakers/ where shape alone can't.
"""

from .overlay import overlay
from .search import from_pairs, register
from .surfels import Surfels, sample_surfels
from .tie_breakers.colour import turned_about
from .verdict import NO_FIT, NOT_SURE, SURE, Candidate, Registration

__all__ = [
    "NOT_SURE",
    "NO_FIT",
    "SURE",
    "Candidate",
    "Registration",
    "Surfels",
    "from_pairs",
    "overlay",
    "register",
    "sample_surfels",
    "turned_about",
]
