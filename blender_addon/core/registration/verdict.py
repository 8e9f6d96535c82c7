"""How sure are we of a pose? Sure, not sure or no fit, with the reason."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..similarity import Similarity

SURE, NOT_SURE, NO_FIT = "sure", "not sure", "no fit"


@dataclass(frozen=True)
class Candidate:
    """A pose that was looked at.

    pose: moving scan onto the fixed one, in the fixed one's unit. rms: of the matched points' distances to the surface.
    overlap: share (0 to 1) of the moving scan that lies on the fixed one. score: higher is better.
    """

    pose: Similarity
    rms: float
    overlap: float
    score: float = 0.0


@dataclass(frozen=True)
class Registration:
    """What registration found: verdict 'sure', 'not sure' or 'no fit', why, and the candidates, best first."""

    verdict: str
    reason: str
    candidates: tuple[Candidate, ...] = field(default_factory=tuple)

    @property
    def best(self) -> Candidate | None:
        """The best candidate, if there is any."""
        return self.candidates[0] if self.candidates else None
