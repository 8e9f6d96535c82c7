"""Sets the table: the surface that the subject stands on, the backdrop, and the props round it."""

from __future__ import annotations

from ....core.dressing.trades import choices
from ....core.records import values
from ....job.settings import FIRST, SHORT, choice, data, file, integer, length, number, only_when, text

LABEL = "Tabletop"
NEEDS = ("piece", "shot")
USES = ("stand", "surface", "move")
MAKES = ("table", "backdrop", "prop")
COST = 8.0

KINDS = (
    ("planks", "Workbench", "Boards of an old bench with gaps, joints, knots, saw marks and wear"),
    ("slate", "Slate", "A split slab of slate on the bench"),
    ("cloth", "Cloth", "Linen with folds"),
    ("sweep", "Seamless paper", "A sheet of paper that curves up behind, without a horizon"),
    ("bat", "Potter's bat", "A round plaster bat on the bench"),
    ("photo", "Photograph", "A surface of your own, from a photograph taken straight down"),
)
BACKDROPS = (
    ("workshop", "Workshop", "A room with shelves and pots, far behind"),
    ("wall", "Wall", "A bare wall, far behind"),
    ("photo", "Photograph", "A picture of your own, upright behind the table"),
    ("none", "Nothing", "No backdrop: only the surroundings that light the scene"),
)
SERIES = (
    (
        "related",
        "Related",
        "Same light, room, camera height and tone; boards, props and their places differ from piece to piece",
    ),
    ("alike", "Alike", "The same boards and props in the same places for every piece, as in a catalogue"),
)
HELD = 1
"""The number from which the room behind is drawn: the same for every piece of a series."""


@values
class Settings:
    MARKS = {"kind": (FIRST, SHORT)}

    trade: str | None = choice(
        None,
        choices(),
        help="Whose workbench it is, which gives matching props, table and debris; auto: by the piece's material",
    )
    kind: str | None = choice(
        None, KINDS, help="Surface that the subject stands on; auto: the usual one of the trade", label="Table"
    )
    backdrop: str = choice("workshop", BACKDROPS, help="What stands behind the table in the picture")
    photo: str | None = only_when(
        file(None, label="Table's photograph", help="Photograph of the surface, taken straight down in even light"),
        kind="photo",
    )
    photo_width: float = only_when(
        length(300.0, low=10.0, high=10_000.0, help="True width of the surface in the photograph"), kind="photo"
    )
    backdrop_photo: str | None = only_when(
        file(None, label="Backdrop's photograph", help="Photograph that stands upright behind the table"), backdrop="photo"
    )
    backdrop_width: float = only_when(
        length(1500.0, low=100.0, high=20_000.0, help="True width of what the backdrop's photograph shows"), backdrop="photo"
    )
    wear: float = number(
        60.0, low=0.0, high=100.0, unit="%", label="Table wear", help="How worn the table looks: 0 new, 100 heavily used"
    )
    board_width: float | None = length(
        None, low=15.0, high=400.0, help="Mean width of the bench's boards; auto: 88 mm, wider under a large piece", more=True
    )
    gap: float = length(0.9, low=0.0, high=8.0, label="Board gap", help="Mean gap between the boards", more=True)
    props: int = integer(4, low=0, high=13, help="Number of props round the subject; 0 for none")
    things: str = text(
        "",
        label="Which props",
        help="Use these props, by name and separated by commas; empty: a selection from the trade's",
        more=True,
    )
    collection: str | None = data(
        "collection",
        label="Own props",
        more=True,
        help="Use the objects of this collection as props; a custom property role, back or beside, says where one stands",
    )
    series: str = choice("related", SERIES, help="How alike the sets of a series are")
    seed: int | None = integer(
        None,
        low=0,
        high=1_000_000,
        label="Arrangement",
        help="Number of the random arrangement of boards and props; auto: the place in a series, else from the job's name",
    )
    room: int = integer(
        HELD,
        low=0,
        high=1_000_000,
        help="Number of the random room behind the table; keep it the same throughout a series",
        more=True,
    )
    width: float | None = length(None, low=200.0, high=6000.0, help="Width of the table; auto: to fit the subject", more=True)
    depth: float | None = length(None, low=200.0, high=4000.0, help="Depth of the table; auto: to fit the subject", more=True)
