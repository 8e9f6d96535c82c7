"""How sure can we be of a pose? Sure, not sure or no fit, with the reason."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from ...arrays import Floats
from ...mesh.similarity import Similarity
from ...records import record
from .evidence import Evidence, lead

SURE, NOT_SURE, NO_FIT = "sure", "not sure", "no fit"
SAME_SCALE = 0.01
"""Two poses whose scales differ by less have one scale: both were fitted to noise."""


@record
class Limits:
    """Thresholds of the verdict; shares are 0 to 1. Chosen on our own shapes, with a margin to what their true poses gave.

    matched: least share of the moving scan that must lie on the fixed one.
    beside: greatest share that may run parallel to it, off by more than noise.
    buried: greatest share that may lie inside the fixed scan facing sideways.
    against: greatest share that may contradict the pose.
    deviation: greatest robust deviation of matched points over the fixed scan's size; or `noisy` times what the noise of the
        two scans alone would cause, as long as that is below `noisiest` of the size, beyond which nothing could be decided.
    lead, clearness: how much better (mean loss, and that over chance) the best pose must be than another one.
    lead_shared: or how much more area it must share, so that the other is no rival; lead_twin: the same where both have one
        scale, as the poses of a regular shape have: an unseen side can hide half of what the true one shares.
    loose: least stiffness of the weakest of the seven freedoms over the mean one.
    no_fit_matched, no_fit_against: below this matched share, or above this contradiction, nothing fits at all.
    """

    matched: float = 0.78
    beside: float = 0.065
    buried: float = 0.03
    against: float = 0.035
    deviation: float = 1.2e-3
    noisy: float = 1.3
    noisiest: float = 3e-3
    lead: float = 0.012
    clearness: float = 3.8
    lead_shared: float = 0.25
    lead_twin: float = 0.5
    loose: float = 5e-3
    no_fit_matched: float = 0.6
    no_fit_against: float = 0.12


@record
class Candidate:
    """A pose of the moving scan on the fixed one, in the fixed one's unit, with its evidence."""

    pose: Similarity
    evidence: Evidence

    @property
    def rank(self) -> float:
        """Shared area, reduced by what contradicts the pose; higher is better."""
        return self.evidence.shared * (1.0 - self.evidence.against) ** 2


@record
class Registration:
    """What registration found.

    verdict: 'sure', 'not sure' or 'no fit'. reason: why, in words.
    candidates: best first.
    tie: what shape leaves open though all else fits: 'ways' (several poses), 'turn' (any turn about an axis), or ''.
    axis: direction and point, in the fixed scan's frame, about which any turn fits, where that is the tie.
    """

    verdict: str
    reason: str
    candidates: tuple[Candidate, ...] = field(default_factory=tuple)
    tie: str = ""
    axis: tuple[Floats, Floats] | None = None

    @property
    def best(self) -> Candidate | None:
        """The best candidate, if there is any."""
        return self.candidates[0] if self.candidates else None


def apart(first: Similarity, second: Similarity, middle: Floats, size: float) -> float:
    """The greatest distance by which two poses of a scan carry its points apart, over its scaled size.

    middle: (3,) of the scan; size: its size. The distance is probed at six points, half the size off the middle.
    """
    probes = middle + 0.5 * size * np.concatenate([np.eye(3), -np.eye(3)])
    far = np.linalg.norm(first.apply(probes) - second.apply(probes), axis=1).max()
    return float(far / (size * max(first.scale, second.scale)))


def rivals(candidates: list[Candidate], places: Floats, limits: Limits) -> list[Candidate]:
    """The candidates after the first that shape can't distinguish from it."""
    first, best = candidates[0].pose, candidates[0].evidence
    tied = []
    for other in candidates[1:]:
        gain, clearness = lead(best, other.evidence, places)
        clear = gain > limits.lead and clearness > limits.clearness
        twin = abs(other.pose.scale / first.scale - 1.0) < SAME_SCALE
        if not clear and other.evidence.shared > (1.0 - (limits.lead_twin if twin else limits.lead_shared)) * best.shared:
            tied.append(other)
    return tied


def decide(
    candidates: list[Candidate],
    places: Floats,
    *,
    firmness: float,
    size: float,
    noise: float = 0.0,
    limits: Limits | None = None,
) -> Registration:
    """The verdict on distinct candidates, best first.

    places: as `asked_points` gives them.
    firmness: how well the surface holds the best pose's weakest freedom (`icp.firmness`).
    size: of the fixed scan, in its unit.
    noise: distance of matched points that the noise of the two scans alone explains, in the fixed one's unit.
    limits: the thresholds.
    """
    limits = limits or Limits()
    if not candidates:
        return Registration(NO_FIT, "the two scans share no shape")
    best = candidates[0].evidence
    shown = tuple(candidates)
    if best.matched < limits.no_fit_matched or best.against > limits.no_fit_against:
        return Registration(NO_FIT, f"even the best pose lays only {best.matched:.0%} of it on the first scan", shown)
    if best.matched < limits.matched:
        return Registration(NOT_SURE, f"only {best.matched:.0%} of it lies on the first scan", shown)
    if best.against > limits.against:
        return Registration(NOT_SURE, f"{best.against:.0%} of what can be compared does not agree", shown)
    noisy = best.deviation > limits.deviation * size
    if noisy and best.deviation > min(limits.noisy * noise, limits.noisiest * size):
        return Registration(NOT_SURE, f"the surfaces lie {best.rms:.2g} mm apart, too far for the same thing", shown)
    if best.beside > limits.beside:
        return Registration(NOT_SURE, f"{best.beside:.0%} of it runs beside the first scan, nearly but not on it", shown)
    if best.buried > limits.buried:
        return Registration(NOT_SURE, f"{best.buried:.0%} of it would lie in the first scan where no piece covers it", shown)
    tied = rivals(candidates, places, limits)
    if noisy and (tied or firmness < limits.loose):  # what breaks a tie is finer than this noise
        return Registration(NOT_SURE, "the scans are too noisy to tell the ways apart in which it fits", (candidates[0], *tied))
    if firmness < limits.loose:
        return Registration(
            NOT_SURE, "what the two scans share is so even that it can slide or turn in itself", (candidates[0], *tied), "turn"
        )
    if tied:
        count = len(tied) + 1
        return Registration(
            NOT_SURE, f"it fits in {count} ways equally well, as a regular shape does", (candidates[0], *tied), "ways"
        )
    return Registration(SURE, f"{best.matched:.0%} of it lies on the first scan and no other pose comes near", shown[:1])
