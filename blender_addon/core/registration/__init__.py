"""How does a further scan lie on the first? Unknown rotation, translation and scale, and how sure we can be."""

from .surfels import Surfels, sample_surfels
from .verdict import Candidate, Registration

__all__ = ["Candidate", "Registration", "Surfels", "sample_surfels"]
