"""Is a camera that was found on the picture right? Sure, not sure or no fit, with the words for the latter two."""

from __future__ import annotations

from .refinement import Fit

LEAST, ENOUGH = 0.2, 0.45
"""Share of the patches found that lie right, below which nothing fits and from which on a camera may be sure. Right cameras
have 0.59 to 0.9 on our bench, those of a wrong side 0.02 to 0.1."""
FEWEST, MANY = 16, 30
"""Patches that lie right, in the same way."""
MOST_TEXELS = 1.5
"""The scan's texels (or working pixels, where these are larger) that a sure camera may shift the piece by: a guess."""
MOST_PLACE = 0.6
"""Percent of the distance that a sure camera's place may be uncertain by (standard deviation): of those at the limit nine in
ten lie within one percent. What the piece is shifted by says little of that, since a longer lens from further away shows
nearly the same."""
RIVAL = 0.6
"""Share of the best camera's patches from which on another camera is a rival: a piece that looks alike from two sides."""


def judged(fit: Fit | None, other: Fit | None = None) -> tuple[str, str]:
    """(verdict, why). other: the next best camera that shows the piece from elsewhere."""
    verdict, why = _seen(fit, other)
    if fit is None or verdict != "sure":
        return verdict, why
    limit = MOST_TEXELS * max(fit.texel_mm, fit.worked_mm)
    if fit.shift_mm > limit:
        return (
            "not sure",
            f"the piece is placed to {fit.shift_mm:.2f} mm only: a photo with more of it in view places it better",
        )
    if fit.place_percent > MOST_PLACE:
        return (
            "not sure",
            f"the camera's distance is known to {fit.place_percent:.1f} % only, since a longer lens from further away shows "
            "nearly the same: a photo from nearer, or one with more depth in view, settles it",
        )
    return "sure", ""


def may_be_right(fit: Fit | None, other: Fit | None = None) -> bool:
    """Whether the photo shows the piece where the camera has it, and from nowhere else, so that it tells something of its lens.

    other: as for `judged`.
    """
    return fit is not None and _seen(fit, other)[0] != "no fit" and not _rivals(fit, other)


def _rivals(fit: Fit, other: Fit | None) -> bool:
    return other is not None and other.right > RIVAL * fit.right and other.agreement >= ENOUGH


def _seen(fit: Fit | None, other: Fit | None) -> tuple[str, str]:
    """(verdict, why) by the parts of the piece that are seen."""
    if fit is None or fit.right < FEWEST or fit.agreement < LEAST:
        return "no fit", (
            "the photo shows next to nothing of what the scan would show from there: is it another piece, mirrored, or "
            "cropped, too dark, blown or soft?"
        )
    if fit.agreement < ENOUGH or fit.right < MANY:
        return "not sure", f"{fit.right} of {fit.found} small parts of the piece lie where the camera should see them"
    if _rivals(fit, other):
        return "not sure", "the piece looks nearly the same from another side: mark six spots"
    return "sure", ""
