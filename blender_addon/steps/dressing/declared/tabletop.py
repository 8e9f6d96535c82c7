"""Sets the table: what the subject stands on, what lies behind it, and the things round it."""

from __future__ import annotations

from dataclasses import dataclass

from ....core.dressing.trades import choices
from ....job.settings import FIRST, SHORT, choice, data, file, integer, length, number, only_when, text

LABEL = "Tabletop"
NEEDS = ("piece", "shot")
USES = ("stand", "surface", "move")
MAKES = ("table", "backdrop", "prop")
COST = 8.0

KINDS = (
    ("planks", "Workbench", "Boards of an old bench: gaps, joints, knots, saw marks, wear"),
    ("slate", "Slate", "A split slab of slate on the bench"),
    ("cloth", "Cloth", "Linen with folds"),
    ("sweep", "Seamless paper", "A sheet that rises behind without a line"),
    ("bat", "Potter's bat", "A round plaster bat on the bench"),
    ("photo", "Photograph", "A surface of your own, from a photograph taken straight down"),
)
BACKDROPS = (
    ("workshop", "Workshop", "A room with shelves and pots, far behind"),
    ("wall", "Wall", "A bare wall, far behind"),
    ("photo", "Photograph", "A picture of your own, upright behind the table"),
    ("none", "Nothing", "Only the surroundings that light the scene"),
)
SERIES = (
    ("related", "Related", "Light, room, camera height and tone are held; boards, props and their places differ by piece"),
    ("alike", "Alike", "Every piece gets the same boards and props in the same places, as in a catalogue"),
)
HELD = 1
"""The number from which the room behind is drawn: the same for every piece of a series."""


@dataclass(kw_only=True)
class Settings:
    MARKS = {"kind": (FIRST, SHORT)}

    trade: str | None = choice(
        None, choices(), help="Whose bench it is: props, table and debris that belong together; auto: by the piece's material"
    )
    kind: str | None = choice(None, KINDS, help="What the subject stands on; auto: as is usual for the trade", label="Table")
    backdrop: str = choice("workshop", BACKDROPS, help="What is seen behind the table")
    photo: str | None = only_when(file(None, label="Table's photograph", help="What the table shows"), kind="photo")
    photo_width: float = only_when(
        length(300.0, low=10.0, high=10_000.0, help="How wide the surface is that the photograph shows"), kind="photo"
    )
    backdrop_photo: str | None = only_when(
        file(None, label="Backdrop's photograph", help="What is seen behind the table"), backdrop="photo"
    )
    backdrop_width: float = only_when(
        length(1500.0, low=100.0, high=20_000.0, help="How wide the backdrop is, at its true size"), backdrop="photo"
    )
    wear: float = number(60.0, low=0.0, high=100.0, unit="%", label="Table wear", help="How used the table looks")
    board_width: float | None = length(
        None, low=15.0, high=400.0, help="Usual width of a board; auto: 88 mm, wider under a large piece", more=True
    )
    gap: float = length(0.9, low=0.0, high=8.0, help="Usual gap between boards", more=True)
    props: int = integer(4, low=0, high=13, help="How many props lie round the subject")
    things: str = text("", label="Which props", help="By name, with commas between; empty: drawn from the trade's", more=True)
    collection: str | None = data(
        "collection",
        label="Own props",
        more=True,
        help="Take the props from a collection of yours; a custom property role, back or beside, says where one stands",
    )
    series: str = choice("related", SERIES, help="What pieces of one series have in common")
    seed: int | None = integer(
        None,
        low=0,
        high=1_000_000,
        label="Arrangement",
        help="Other boards, props, places; near numbers share few props; auto: the place in a batch, else by the job's name",
    )
    room: int = integer(HELD, low=0, high=1_000_000, help="Another number, another room; keep it through a series", more=True)
    width: float | None = length(None, low=200.0, high=6000.0, help="Width of the table; auto: to fit the subject", more=True)
    depth: float | None = length(None, low=200.0, high=4000.0, help="Depth of the table; auto: to fit the subject", more=True)
