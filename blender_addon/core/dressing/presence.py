"""How does a prop show in the picture that leads: whole, cut on purpose, too large, in another piece's places?"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..records import record
from ..shots.framing import project
from ..shots.sight import ShotView, convex_outline, in_sight, outside_distance
from .zones import Zones

HIGHEST, LARGEST = 0.75, 0.4
"""Largest height and area of a prop in the picture, as shares of the subject's outline, so that the piece dominates."""

LARGE = 0.012
"""Share of the frame that a prop covers without being penalised: what is left is the table, on which the eye rests, and no
prop alone makes two pictures of a series look alike. By our own bench."""

WITHIN, CROPPED = 0.97, (0.4, 0.75)
"""A prop is whole within that share of the half frame, and plainly cut where the frame shows a share of it between these: what
it only nicks, or what peeks in, a photographer moves (common practice). By eye."""

CUT, AWKWARD = 0.6, 20.0
"""Penalty for the one prop of a picture that may be cut, and for every other that is neither whole nor that one: a drawn prop
is rather left out, one that the user named is not. By eye."""

FOREIGN = 5.0
"""Penalty for a prop of that size whose visible part lies wholly in zones of the picture that are not the piece's own; up to
twice as much for a larger one. By projections of made-up pieces."""

LEAST_END = 0.18
"""Length of the end, in widths of the frame, that shows at least of a long thing that the frame cuts. By eye."""

STRANGE = 0.5
"""How foreign the place of a drawn prop may be (`Zones.foreign`): in the piece's own zones, or nowhere. By projections of
made-up pieces."""


@record
class Frame:
    """What a prop is judged in: the leading view, the piece's zones in it, the largest share of the frame that a prop covers
    (infinite for what the user named), and how foreign its place may be (`Zones.foreign`)."""

    view: ShotView | None
    zones: Zones | None
    most: float
    strange: float

    @property
    def drawn(self) -> bool:
        """Whether the things were drawn, not named by the user: what covers too much or is cut is left out."""
        return bool(np.isfinite(self.most))

    def whole(self, points: Floats) -> bool:
        """Whether the view shows all of the points (n, 3) clear of the frame's edge."""
        if self.view is None:
            return True
        slopes, depth = project(points, self.view.position, self.view.rotation)
        return bool((depth > 0).all() and (np.abs(slopes) <= WITHIN * np.array(self.view.half_slopes)).all())

    def judged(self, points: Floats, cuts: int) -> Presence:
        """What speaks against a place of a prop (n, 3) mm. cuts: how many things the frame cuts already."""
        view = self.view
        if view is None:
            return Presence(0.0, 0.0, False)
        slopes, depth = project(points, view.position, view.rotation)
        frame = slopes / np.array(view.half_slopes)
        framed = (np.abs(frame) < 1.0).all(axis=1)
        foreign = 0.0 if self.zones is None else self.zones.foreign(frame)
        covers = filled(frame[framed]) / 4.0
        if (depth <= 0).any() or covers > self.most or (foreign > self.strange and self.drawn):
            return NOWHERE
        cut = bool((np.abs(frame) > WITHIN).any())
        penalty = self._cut(frame[framed], float(framed.mean()), cuts) if cut else 0.0
        if (penalty >= AWKWARD and self.drawn) or self._meets(points, slopes, framed):
            return NOWHERE
        low = float(np.clip(-0.55 - frame[:, 1].min(), 0.0, None))  # props along the lower edge make a picture bottom-heavy
        large = 40.0 * max(0.0, covers - LARGE)
        return Presence(penalty + 0.8 * low + large + FOREIGN * foreign * min(covers / LARGE, 2.0), covers, cut)

    def _meets(self, points: Floats, slopes: Floats, framed: Bools) -> bool:
        """Whether a thing is in the subject's sight lines, near its outline, or nearly as tall or large as it. points: (n, 3).
        slopes: (n, 2). framed: (n,) which of them the frame shows."""
        view = self.view
        if view is None or in_sight(points, view, radius_mm=1.0).any():
            return view is not None
        if not len(view.outline):
            return False
        if outside_distance(slopes, view.outline).min() < 0.05 * view.half_slopes[0]:
            return True
        return len(view.outline) >= 3 and bool(framed.any()) and _outgrows(slopes[framed], view.outline)

    def _cut(self, shown: Floats, share: float, cuts: int) -> float:
        """The penalty of a thing that the frame cuts. shown: its points (n, 2) within it, in half frames. share: of all its
        points."""
        if self.view is None or len(shown) < 3:
            return AWKWARD + 3.0
        wide, high = self.view.half_slopes
        end = 0.5 * float(np.hypot(*np.ptp(shown * (1.0, high / wide), axis=0)))
        meant = cuts == 0 and share <= CROPPED[1] and (share >= CROPPED[0] or end >= LEAST_END)
        return CUT if meant else AWKWARD + 1.0 - share


@record
class Presence:
    """The penalty of a prop's place in the picture, infinite where it may not be; the share of the frame that it covers;
    whether the frame cuts it."""

    penalty: float
    covers: float
    cut: bool


NOWHERE = Presence(np.inf, 0.0, False)
"""Of a place where a prop may not be."""


def _outgrows(slopes: Floats, outline: Floats) -> bool:
    """Whether a prop's points (n, 2) stand nearly as high in the picture as the subject's outline (m, 2), or fill as much."""
    size, own = np.ptp(slopes, axis=0), np.ptp(outline, axis=0)
    if size[1] > HIGHEST * own[1] or slopes[:, 1].max() > outline[:, 1].min() + HIGHEST * own[1]:
        return True
    if size.prod() <= 0.5 * LARGEST * own.prod():  # a convex outline fills half of its box at least
        return False
    return hull_area(slopes) > LARGEST * hull_area(outline)


SLICES = 5
"""Slices across its length in which a prop's area in the picture is found, so that what is bent or branched counts little more
than it covers."""


def filled(points: Floats) -> float:
    """About the area that points (n, 2), spread over a thing, cover: of its slices, each as wide as its points are apart."""
    if len(points) < 3:
        return 0.0
    off = points - points.mean(axis=0)
    across, along = (off @ np.linalg.eigh(off.T @ off)[1]).T
    long = float(np.ptp(along))
    place = np.floor(SLICES * (along - along.min()) / max(long, 1e-12)).clip(0, SLICES - 1)
    widths = [float(np.ptp(across[place == number])) for number in range(SLICES) if (place == number).any()]
    return long / SLICES * sum(widths)


def hull_area(points: Floats) -> float:
    """Area of the convex outline of points (n, 2), by the shoelace formula."""
    ring = convex_outline(points)
    x, y = ring.T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
