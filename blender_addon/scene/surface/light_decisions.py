"""Decisions on a texture: is it a photo of a lit surface, and is what it shows relief or paint?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ...job.decisions import Alternative, Decision
from ...job.settings import choice

if TYPE_CHECKING:
    from ...core.surface.light.evidence import LightEvidence
    from ...core.surface.relief.recovery import Recovery

PHOTO, PAINT = "photo", "none"
SHADING = (
    ("auto", "Auto", "Judged by the texture: where it shows no light, no relief is read and no light is removed"),
    (PHOTO, "Photo", "It is a photo of a lit surface: its shading shows the form"),
    (PAINT, "No light", "It holds no light: an albedo, a map or a painting"),
)
RELIEF_MARKS, PAINTED_MARKS = "relief", "paint"
MARKS = (
    ("auto", "Auto", "Marks that don't grow where the light grazes are shown weaker, as they may be paint"),
    (RELIEF_MARKS, "Relief", "All marks are relief: tooth, strokes, scratches"),
    (PAINTED_MARKS, "Paint", "Marks finer than 1.2 mm are paint: brush marks, grain, speckle"),
)
"""The choices of the setting `marks` of relief."""
EVEN = 0.5
"""Probability without any evidence."""


def shading_setting() -> Any:
    """The setting `shading`, which the steps relief and albedo share."""
    words = "Whether the texture contains light at all: a photo does, a painted or computed texture does not"
    return choice("auto", SHADING, help=words, more=True)


def shading_decision(evidence: LightEvidence, setting: str) -> Decision:
    """The decision whether a texture contains the light of a room. setting: the step's, 'auto' if not set by hand."""
    lit = setting == PHOTO or (setting == "auto" and evidence.trust > 0)
    both = {
        True: Alternative("the texture is a photo of a lit surface", _set(PHOTO)),
        False: Alternative("the texture holds no light: nothing is carved from it or taken out of it", _set(PAINT)),
    }
    sure = EVEN + (1.0 - EVEN) * (evidence.trust if lit else evidence.doubt)
    return Decision(
        "shading",
        "Is the texture a photo of the piece in the light of a room?",
        both[lit],
        1.0 if setting != "auto" else sure,
        evidence.words(),
        (both[not lit],),
        setting != "auto",
    )


def paint_decision(recovery: Recovery, setting: float | None, marks: str) -> Decision:
    """The decision whether the texture's detail, beyond its light, is relief or paint.

    setting: the strength set by hand, or None. marks: the setting of that name, 'auto' if not set by hand.
    """
    strength, kept = recovery.strength, min(recovery.marks.kept)
    shown = strength if setting is None else setting
    words = "it is paint: no relief is shown" if shown == 0 else f"it is relief, shown at {shown:.2f}"
    if shown > 0 and kept < 1:
        words += f", its marks up to {recovery.marks.widest_mm:g} mm at {100 * kept:.0f} % of that, as they may be paint"
    full = {"relief.strength": 1.0} | ({"relief.marks": RELIEF_MARKS} if kept < 1 else {})
    others = [Alternative("it is relief, shown in full", full)] if shown < 1 or kept < 1 else []
    others += [Alternative("it is paint: no relief is shown", {"relief.strength": 0.0})] if shown > 0 else []
    by_hand = setting is not None or marks != "auto"
    sure = EVEN + (1.0 - EVEN) * min(abs(2.0 * strength - 1.0), abs(2.0 * kept - 1.0))
    return Decision(
        "paint",
        "Is what the texture shows beyond the light relief or paint?",
        Alternative(words, {"relief.strength": round(shown, 3)}),
        1.0 if by_hand else sure,
        (f"{100 * recovery.trust:.0f} % of it was read as shading", *recovery.marks.words()),
        tuple(others),
        by_hand,
    )


def _set(value: str) -> dict[str, str]:
    return {"relief.shading": value, "albedo.shading": value}
