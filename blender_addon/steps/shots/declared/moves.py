"""Plans moving pictures: push-in, slide, arc and rack focus of a shot, with its lens, eased, the target sharp all along."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import choice, number, switch, text

LABEL = "Moving pictures"
NEEDS = ("piece", "shot")
USES = ("stand",)
MAKES = ("move",)
COST = 0.5
FPS = (("24", "24", "As in the cinema"), ("25", "25", "As in European television"), ("30", "30", "As on most screens"))


@dataclass(kw_only=True)
class Settings:
    """Which moves are planned; they are rendered by Films."""

    push_in: bool = switch(False, label="Push-in", help="The camera comes nearer and rests where the shot was taken")
    slide: bool = switch(False, help="The camera glides past to one side, without turning")
    arc: bool = switch(False, help="The camera goes round the target in an arc")
    rack_focus: bool = switch(False, help="The camera rests; the focus goes from one place on the piece to another")
    of: str = text("hero", label="Of which shot", help="Name of the shot whose camera, lens and light they have")
    seconds: float = number(6.0, low=2.0, high=30.0, unit="s", help="Length of each; 5 to 8 s are usual")
    fps: str = choice("25", FPS, label="Frames a second", help="Frames a second of the films")
