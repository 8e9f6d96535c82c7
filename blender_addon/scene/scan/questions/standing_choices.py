"""Decisions on which way is up and where the front is, with a small picture of each alternative."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....core.arrays import Floats
from ....core.scan.facing.choosing import Facing
from ....core.scan.support_plane import Support, confidence_in
from ....job.decisions import Alternative, Decision
from .looks import Looks

ALTERNATIVES, WORTH_SHOWING = 4, 0.01
"""The most alternatives that are shown, and the least probability that each must have."""


def up_decision(found: Sequence[Support], chosen: Support, looks: Looks) -> Decision:
    """The decision on which way is up."""
    ways = [Alternative(_words(way), _sets(way), looks.picture(way.up)) for way in _shown(found, chosen)]
    return Decision(
        "up", "Which way is up?", Alternative(_words(chosen), _sets(chosen), looks.picture(chosen.up)),
        confidence_in(found, chosen), chosen.words, tuple(ways), by_hand=chosen.kind == "given",
    )  # fmt: skip


def _shown(found: Sequence[Support], chosen: Support) -> list[Support]:
    others = [way for way in found if way is not chosen and way.chance > WORTH_SHOWING and way.up @ chosen.up < 0.98]
    return others[:ALTERNATIVES]


def _words(way: Support) -> str:
    if way.kind == "mount":
        return f"held up as the file's {way.axis.upper()} axis says, standing on nothing of its own"
    ground = "standing on a flat face" if way.kind == "flat" else "resting on a few points"
    if way.kind == "given":
        ground = "standing on the side that was given"
    return f"{ground}, with the file's {way.axis.upper()} axis up" if way.axis else ground


def _sets(way: Support) -> dict[str, object]:
    if way.kind == "mount":
        return {"orientation.up": way.axis}
    return {"orientation.up_direction": [round(float(part), 4) for part in way.up]}


def front_decision(found: Sequence[Facing], up: Floats, looks: Looks) -> Decision:
    """The decision on the front; the opposite direction is always among the alternatives."""
    chosen = found[0]
    others = list(found[1:])
    opposite = (chosen.angle_deg + 360.0) % 360.0 - 180.0
    if all(abs((other.angle_deg - opposite + 180.0) % 360.0 - 180.0) > 30.0 for other in others):
        others.append(Facing(opposite, 0.0, ()))
    return Decision(
        "front", "Where is its front?", _facing(chosen, up, looks), float(np.clip(chosen.chance, 0.0, 1.0)), chosen.words,
        tuple(_facing(other, up, looks) for other in others[:ALTERNATIVES]),
    )  # fmt: skip


def given_front(angle_deg: float, up: Floats, looks: Looks) -> Decision:
    """The decision where a setting gives the front."""
    chosen = Facing(angle_deg, 1.0, ("the setting says so",))
    return Decision("front", "Where is its front?", _facing(chosen, up, looks), 1.0, chosen.words, by_hand=True)


def _facing(facing: Facing, up: Floats, looks: Looks) -> Alternative:
    side = abs(facing.angle_deg)
    where = (
        "as the file has it"
        if side < 5.0
        else f"{side:.0f} degrees {'left' if facing.angle_deg < 0 else 'right'} of the file's front"
    )
    return Alternative(
        f"facing {where}", {"orientation.front": round(facing.angle_deg, 1)}, looks.picture(up, facing.angle_deg)
    )
