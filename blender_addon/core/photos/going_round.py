"""Do the photographs of a set overlap, which side has too few, and which can be left out?

Each photo is compared with the next, in the order in which they were taken. Where two share nothing a new run begins. Turns are
added up along a run; they are rough (15 %), so that sides are reported as quarters of a circle.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ..arrays import Floats, Ints
from ..records import record
from .neighbours import Corners, Pair, compared
from .remarks import LEAVE_OUT, LOOK, RETAKE, Remark

LEAST_MATCHES = 20
"""Median number of corners found again from photo to photo below which overlap can't be judged (too plain a piece)."""
APART = 0.25
"""A pair with fewer than this share of the set's usual matches, and fewer than `FEW`, shares too little (guesses, tried in
`bench photo_set`)."""
FEW = 25
STEP = 25.0
"""Degrees from which a step is called wide: beyond 20 to 30 degrees small features are found again less and less often
(Mikolajczyk & Schmid 2005, whose figures are given here from memory)."""
SAME = 0.004
"""A shift below this share of the working size is the same view."""


@record
class Round:
    """A set in order.

    pairs: each photo with the next. known: whether overlap could be judged. angle: (n,) degrees turned since the run began.
    run: (n,) number of the run. closed: of each run, whether its last photo meets its first again.
    """

    pairs: tuple[Pair, ...]
    known: bool
    angle: Floats
    run: Floats
    closed: tuple[bool, ...]


def gone_round(corners: Sequence[Corners]) -> Round:
    """The set in order. A single photo that shares nothing with its neighbours, which share enough, breaks no run."""
    pairs = tuple(compared(a, b) for a, b in pairwise(corners))
    usual = _usual(pairs)
    known = len(pairs) >= 3 and usual >= LEAST_MATCHES
    broken = np.array([known and _is_apart(pair, usual) for pair in pairs], bool)
    turns = np.array([0.0 if apart else pair.turn for pair, apart in zip(pairs, broken, strict=True)], float)
    for number in np.nonzero(broken[:-1] & broken[1:])[0] + 1:
        over = compared(corners[number - 1], corners[number + 1])
        if not _is_apart(over, usual):
            broken[number - 1 : number + 1] = False
            turns[number - 1 : number + 1] = 0.5 * over.turn
    run = np.concatenate([[0], np.cumsum(broken)]).astype(int)[: len(corners)]
    total = np.concatenate([[0.0], np.cumsum(np.nan_to_num(turns))])[: len(corners)]
    start = np.array([total[np.argmax(run == number)] for number in run]) if len(run) else total
    angle, closed = total - start, []
    for number in range(int(run.max()) + 1 if len(run) else 0):
        members = np.nonzero(run == number)[0]
        meets = known and _meets(corners, members, angle, usual)
        if meets:  # the sum along the run is a full turn
            end = angle[members[-1]] + compared(corners[members[-1]], corners[members[0]]).turn
            angle[members] *= 360.0 / end
        closed.append(meets)
    return Round(pairs, known, angle, run, tuple(closed))


def _usual(pairs: Sequence[Pair]) -> float:
    return float(np.median([pair.matches for pair in pairs])) if pairs else 0.0


def _is_apart(pair: Pair, usual: float) -> bool:
    return pair.matches < max(4.0, min(FEW, APART * usual))


def _meets(corners: Sequence[Corners], members: Ints, angle: Floats, usual: float) -> bool:
    """Whether a run closes: its last photo shares spots with its first, but not with one on the opposite side."""
    if len(members) < 8 or not np.isfinite(angle[members[-1]]) or angle[members[-1]] <= 0.0:
        return False
    first, last = corners[members[0]], corners[members[-1]]
    far = corners[members[np.argmin(np.abs(angle[members] - 0.5 * angle[members[-1]]))]]
    return not _is_apart(compared(last, first), usual) and _is_apart(compared(far, first), usual)


def remarks(found: Round, names: Sequence[str]) -> list[list[Remark]]:
    """Remarks on how each photo relates to its neighbours."""
    said: list[list[Remark]] = [[] for _ in names]
    if not found.known:
        return said
    usual = _usual(found.pairs)
    apart = np.array([_is_apart(pair, usual) for pair in found.pairs], bool)
    odd = np.zeros(len(names), bool)
    odd[1:-1] = apart[:-1] & apart[1:] & (found.run[:-2] == found.run[2:])
    for number, pair in enumerate(found.pairs):
        if odd[number]:
            words = f'Shares nothing with "{names[number - 1]}" and "{names[number + 1]}"'
            said[number].append(Remark("alone", RETAKE, words))
        elif apart[number] and not odd[number + 1]:
            words = f'Little is shared with the next, "{names[number + 1]}" ({pair.matches} spots, {usual:.0f} usually)'
            said[number].append(Remark("apart", LOOK, words))
        elif not apart[number] and pair.turn > STEP and pair.matches < 0.7 * usual:  # a wide step loses spots
            words = f'A wide step to the next, "{names[number + 1]}": about {pair.turn:.0f} degrees'
            said[number].append(Remark("apart", LOOK, words))
    return said


def twice(
    corners: Sequence[Corners], candidates: Sequence[tuple[int, int]], names: Sequence[str], width: Floats
) -> list[list[Remark]]:
    """Remarks on photos that repeat a view: on the softer of two, else on the later.

    width: (n,) of edges, nan where unknown. candidates: pairs of photos, by number, that may show the same view. names: of the
    photos.
    """
    said: list[list[Remark]] = [[] for _ in names]
    gone: set[int] = set()
    for first, second in candidates:
        if first in gone or second in gone:
            continue
        pair = compared(corners[first], corners[second])
        if not (pair.matches >= 8 and pair.matches >= 0.3 * pair.of and pair.shift < SAME):
            continue
        out, stays = (first, second) if width[first] > 1.15 * width[second] else (second, first)
        gone.add(out)
        said[out].append(Remark("twice", LEAVE_OUT, f'The same view as "{names[stays]}"'))
    return said


def surplus(found: Round, weak: Floats, limit: int) -> list[int]:
    """Indices of the photos to leave out so that `limit` remain, those with the nearest neighbours first. weak: (n,) bool,
    photos with a fault, which go sooner."""
    stay = list(range(len(found.run)))
    out: list[int] = []
    while len(stay) > max(limit, 1):
        cost = [_gap(found, stay, place) * (WEAK if weak[number] else 1.0) for place, number in enumerate(stay)]
        place = int(np.argmin(cost))
        out.append(stay.pop(place))
    return sorted(out)


def _gap(found: Round, stay: Sequence[int], place: int) -> float:
    """Degrees between the neighbours of a photo, were it gone; the end of a run counts as far."""
    number = stay[place]
    sides = [stay[k] for k in (place - 1, place + 1) if 0 <= k < len(stay) and found.run[stay[k]] == found.run[number]]
    if len(sides) < 2:
        return 180.0
    if not found.known:  # only the order is known
        return float(sides[1] - sides[0])
    return float(found.angle[sides[1]] - found.angle[sides[0]])


WEAK = 0.5
"""Factor on the distance to the neighbours of a photo with a fault."""
QUARTERS = ("from the side of the first photo to a quarter turn", "from a quarter to half a turn",
            "from half a turn to three quarters", "from three quarters back to the first")  # fmt: skip
LEAST_REACH = 60.0
"""Degrees that a run must cover before its sides are judged."""
WANTED = 6
"""Photos a quarter turn that a ring should have, one every 15 degrees (common practice: 10 to 20)."""


def sides(found: Round, good: Floats) -> list[str]:
    """Sentences about sides that have too few photos. good: (n,) bool, photos that count."""
    if not found.known:
        return []
    said = []
    for number in range(len(found.closed)):
        members = np.nonzero(found.run == number)[0]
        if len(members) < 8:
            continue
        name = "" if len(found.closed) == 1 else f"Run {number + 1} (from photo {members[0] + 1}): "
        reach = float(found.angle[members[-1]])
        if reach < LEAST_REACH:  # the piece could not be found, or the camera did not move
            continue
        if not found.closed[number] and reach < 330.0:
            said.append(f"{name}the photos go round by about {reach:.0f} degrees and don't meet their beginning again")
        count = np.bincount(np.minimum(found.angle[members[good[members]]] // 90.0, 3).astype(int), minlength=4)
        for quarter in range(4):
            if reach >= 90.0 * (quarter + 1) - 30.0 and count[quarter] < WANTED - 1:  # one may have counted with the next
                said.append(
                    f"{name}{QUARTERS[quarter]} there {'is' if count[quarter] == 1 else 'are'} {count[quarter]} good "
                    f"photo{'' if count[quarter] == 1 else 's'}; {WANTED} or more are needed"
                )
    return said
