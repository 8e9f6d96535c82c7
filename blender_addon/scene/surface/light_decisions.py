"""What is decided about a texture's light, in words for a person: is it a photo, and does it show relief or paint?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...job.decisions import Alternative, Decision

if TYPE_CHECKING:
    from ...core.surface.light.evidence import LightEvidence

PHOTO, PAINT = "photo", "none"
SHADING = (
    ("auto", "By itself", "By the evidence in the texture: none, and nothing is carved or taken out"),
    (PHOTO, "Photo", "It is a photo of a lit surface: its shading shows the form"),
    (PAINT, "No light", "It holds no light: an albedo, a map or a painting"),
)
"""The choices of the setting `shading` of relief and of the step that takes the light out."""
EVEN = 0.5
"""Chance at which the evidence of a light is even."""


def shading_decision(evidence: LightEvidence, setting: str) -> Decision:
    """Whether a texture holds the light of a room. setting: that of the step, 'auto' where it was not chosen by hand."""
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


def paint_decision(trust: float, strength: float, setting: float | None) -> Decision:
    """Whether what the texture shows beyond its light is relief or paint. trust: part that was read as shading. strength: that
    it is shown at by itself. setting: the strength by hand, None where it was not chosen."""
    shown = strength if setting is None else setting
    words = "it is paint: no relief is shown" if shown == 0 else f"it is relief, shown at {shown:.2f}"
    others = [Alternative("it is relief, shown in full", {"relief.strength": 1.0})] if shown < 1 else []
    others += [Alternative("it is paint: no relief is shown", {"relief.strength": 0.0})] if shown > 0 else []
    return Decision(
        "paint",
        "Is what the texture shows beyond the light relief or paint?",
        Alternative(words, {"relief.strength": round(shown, 3)}),
        1.0 if setting is not None else EVEN + (1.0 - EVEN) * abs(2.0 * strength - 1.0),
        (f"{100 * trust:.0f} % of it was read as shading",),
        tuple(others),
        setting is not None,
    )


def _set(value: str) -> dict[str, str]:
    return {"relief.shading": value, "albedo.shading": value}
