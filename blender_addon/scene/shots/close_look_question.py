"""The decision on where the close look goes, with a picture of each possible place."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ...core.mesh.preview import through
from ...core.scan.doubtful import whereabouts
from ...core.shots.close_looks.choosing import Proposal
from ...core.shots.close_looks.detail_spots import CloseLook
from ...core.shots.framing import half_slopes
from ...core.shots.shot_plan import Shot
from ...core.shots.subject import Subject
from ...job.decisions import Alternative, Decision
from ..scan.questions.stand_pictures import screen
from ..thumbnails import Looks
from .cameras import MM

QUESTION = "Where should the close look go?"
OFFERED = 2
"""The most alternative places that are offered."""
WIDTH = 144
"""Width in pixels of the small pictures."""
NAMES = {
    "closeup": "a close look at your close-up",
    "head": "a close look at the head",
    "part": "a close look at the part that tells most",
}
OF_A_HEAD = ("a compact lobe, high or far out, that a narrower neck joins",)
OF_A_PART = ("no neck sets a head off; the upper or foremost part tells most",)
OF_A_CLOSEUP = ("you photographed that part from near",)
OF_A_PLACE = ("there is most to see there",)
OF_NO_FRONT = "which side is its front is not sure"
OTHER_SIDE = "the same from its other side"


def close_look_decision(
    subject: Subject,
    proposed: Sequence[Proposal],
    first: int | None,
    solved: Callable[[CloseLook], Shot],
    looks: Looks,
    *,
    other_side: bool = False,
) -> Decision:
    """The decision 'close_look'; there must be at least one proposal.

    first: the number of the proposal that the user chose, None for none. solved: gives the shot of a close look. looks: points
    of the subject to draw. other_side: whether the proposals show a head from its other side.
    """

    def alternative(place: int, *, turned: bool = False) -> Alternative:
        proposal = proposed[place].turned() if turned else proposed[place]
        shot = solved(proposal.look)
        frame = shot.ask.frame_mm
        picture = through(
            *looks, position=shot.pose.position / MM, rotation=shot.pose.rotation, half=half_slopes(shot.optics, frame),
            size=(WIDTH, max(1, round(WIDTH * frame[1] / frame[0]))),
        )  # fmt: skip
        low, high = subject.points.min(axis=0), subject.points.max(axis=0)
        where = whereabouts(proposal.look.spot, 0.5 * (low + high), np.asarray(high - low))
        words = OTHER_SIDE if turned else NAMES.get(proposal.shows, f"a close look {where}")
        sets: dict[str, object] = {"camera.close_look": place + 1}
        if proposal.other is not None:
            sets["camera.other_side"] = other_side != turned
        return Alternative(words, sets, screen(picture))

    chosen = first - 1 if first is not None and first <= len(proposed) else 0
    best = proposed[chosen]
    others = [alternative(chosen, turned=True)] if best.other is not None else []
    others += [alternative(place) for place in range(len(proposed)) if place != chosen]
    evidence: tuple[str, ...] = {"closeup": OF_A_CLOSEUP, "head": OF_A_HEAD, "part": OF_A_PART}.get(best.shows, OF_A_PLACE)
    if best.other is not None:
        evidence += (OF_NO_FRONT,)
    return Decision(
        "close_look", QUESTION, alternative(chosen), best.sure, evidence, tuple(others[:OFFERED]), first is not None
    )
