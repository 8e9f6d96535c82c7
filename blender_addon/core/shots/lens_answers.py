"""Which lens setting gives what a photographer wants? The f-number for a depth, the distance for a size, or why it can't be.

Each answer is a lens setting and a sentence; for an impossible wish it says why and what is possible instead.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..records import record
from . import optics as lens
from .focus_bracket import bracket
from .optics import Optics


@record
class Answer:
    """`possible`: whether the wish can be met. `optics`: the setting, or the nearest one. `slices`: of a focus bracket."""

    possible: bool
    optics: Optics
    words: str
    slices: int = 1


def hold(
    optics: Optics, near_mm: float, far_mm: float, coc_mm: float, *, keep_focus: bool = False, widest: float = 1.0,
    smallest: float = 32.0,
) -> Answer:  # fmt: skip
    """The f-number (and focus) that holds everything from near to far sharp.

    keep_focus leaves the focus where it is. Past `smallest` the answer is a focus bracket at the largest f-number that
    diffraction allows. Raises ValueError when near lies within the lens's focal distance or not before far.

    widest: smallest f-number of the lens.
    """
    if not 0.0 < near_mm <= far_mm:
        raise ValueError(f"the near end must come before the far end, not {near_mm:g} and {far_mm:g} mm")
    if near_mm <= optics.focal_mm / optics.pupil_ratio:
        raise ValueError(f"{near_mm:.0f} mm is nearer than a {optics.focal_mm:g} mm lens can focus: step back")
    if keep_focus:
        exact = replace(optics, fnumber=lens.fnumber_reaching(optics, near_mm, far_mm, coc_mm))
    else:
        exact = lens.holding(near_mm, far_mm, optics.focal_mm, coc_mm, pupil_ratio=optics.pupil_ratio)
    chosen = replace(exact, fnumber=lens.marked(max(exact.fnumber, widest)))
    limit = lens.diffraction_fnumber(chosen.magnification, coc_mm, pupil_ratio=optics.pupil_ratio)
    deep = f"{far_mm - near_mm:.1f} mm"
    if exact.fnumber <= smallest:
        words = f"f/{chosen.fnumber:g} at {chosen.focus_mm:.0f} mm holds {deep}"
        if chosen.fnumber > limit * 1.06:
            words += f"; past f/{lens.marked(limit, up=False):g} diffraction softens more than depth gains"
        return Answer(True, chosen, words)
    best = replace(exact, fnumber=max(min(lens.marked(limit, up=False), smallest), 2.8))
    count = len(bracket(best, near_mm, far_mm, coc_mm, most=10000).focus_mm)
    words = (
        f"{deep} at magnification {exact.magnification:.2f} would need f/{exact.fnumber:.0f}, which no lens has: "
        f"take a focus bracket of {count} slices at f/{best.fnumber:g}, or the labelled departure from the true lens"
    )
    return Answer(False, best, words, count)


def at_focal_length(optics: Optics, focal_mm: float) -> Answer:
    """The same size in the picture at another focal length: magnification and f-number stay, the distance changes."""
    focus = lens.focus_for(focal_mm, optics.magnification, pupil_ratio=optics.pupil_ratio)
    found = replace(optics, focal_mm=focal_mm, focus_mm=focus)
    nearer = "nearer, with stronger perspective" if focus < optics.focus_mm else "farther, with flatter perspective"
    words = f"{focal_mm:g} mm at {focus:.0f} mm ({abs(focus - optics.focus_mm):.0f} mm {nearer})"
    blur = found.aperture_mm / optics.aperture_mm
    return Answer(True, found, f"{words}; the far background blurs {blur:.2g} times as much")


@record
class ReadOut:
    """What the lens gives at its present setting, lengths in mm, as a photographer reads it before the exposure."""

    magnification: float
    working_distance: float
    effective_fnumber: float
    near: float
    far: float
    depth: float
    field_width: float
    background_blur: float
    background_blur_percent: float
    airy: float
    coc: float
    diffraction_from: float

    @property
    def diffraction_wins(self) -> bool:
        return self.airy > self.coc

    def lines(self) -> list[tuple[str, str]]:
        """Name and value of each, short enough for half a sidebar; the last is a sentence and has no name."""
        here = ", as here" if self.diffraction_wins else ""
        far = f"{self.far:.1f} mm" if math.isfinite(self.far) else "infinity"
        depth = f"{self.depth:.2f} mm" if math.isfinite(self.depth) else "to infinity"
        m = self.magnification
        return [
            ("Magnification", f"{m:.3f} ({f'1:{1 / m:.1f}' if m < 1.0 else f'{m:.1f}:1'})"),
            ("Working distance", f"{self.working_distance:.0f} mm"),
            ("Effective f-number", f"f/{self.effective_fnumber:.1f}"),
            ("Sharp from", f"{self.near:.1f} mm"),
            ("Sharp to", far),
            ("Depth", depth),
            ("Field width", f"{self.field_width:.1f} mm"),
            ("Background blur", f"{self.background_blur:.2f} mm ({self.background_blur_percent:.1f} %)"),
            ("Airy disc", f"{1000 * self.airy:.1f} µm"),
            ("Counts as sharp", f"{1000 * self.coc:.1f} µm"),
            ("", f"Beyond f/{self.diffraction_from:.3g} diffraction softens{here}"),
        ]


def read_out(
    optics: Optics, frame_width_mm: float, coc_mm: float, *, nearest_mm: float | None = None, background_mm: float = math.inf
) -> ReadOut:
    """The read-out. nearest_mm: depth of the subject's nearest point (working distance; else that of the focus)."""
    near, far = lens.limits(optics, coc_mm)
    blur = float(np.asarray(lens.blur_disc(optics, background_mm)))
    m = optics.magnification
    return ReadOut(
        magnification=m, working_distance=optics.focus_mm if nearest_mm is None else nearest_mm,
        effective_fnumber=optics.effective_fnumber, near=near, far=far, depth=far - near, field_width=frame_width_mm / m,
        background_blur=blur, background_blur_percent=100.0 * blur / frame_width_mm,
        airy=lens.airy_disc(optics.effective_fnumber), coc=coc_mm,
        diffraction_from=lens.diffraction_fnumber(m, coc_mm, pupil_ratio=optics.pupil_ratio),
    )  # fmt: skip
