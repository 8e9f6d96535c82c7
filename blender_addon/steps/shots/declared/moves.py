"""Plans camera moves from a shot: push-in, slide, arc and rack focus, with its lens and a target that stays sharp."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import choice, number, switch, text

LABEL = "Moving pictures"
NEEDS = ("piece", "shot")
USES = ("stand",)
MAKES = ("move",)
COST = 0.5
FPS = (
    ("24", "24", "The rate of cinema"),
    ("25", "25", "The rate of European television"),
    ("30", "30", "The usual rate on the web"),
)


@values
class Settings:
    """Which camera moves are planned; Films renders them."""

    push_in: bool = switch(False, label="Push-in", help="The camera moves nearer and stops at the shot's own framing")
    slide: bool = switch(False, help="The camera moves sideways without turning")
    arc: bool = switch(False, help="The camera moves in an arc round the target")
    rack_focus: bool = switch(False, help="The camera stays; the focus moves from one place on the piece to another")
    of: str = text("hero", label="Of which shot", help="Name of the shot that gives the moves their camera, lens and light")
    seconds: float = number(6.0, low=2.0, high=30.0, unit="s", help="Duration of each move; 5 to 8 is usual")
    fps: str = choice("25", FPS, label="Frames a second", help="Frames per second of the films")
