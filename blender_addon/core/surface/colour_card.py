"""What colour is the clay in the photo? Measured against a grey card or the 24-patch colour chart beside it.

Pictures are display-encoded sRGB arrays (h, w, 3), row 0 at the TOP, as photos are pointed at; points are x and y in pixels.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from .. import srgb
from ..arrays import Floats
from ..colour import delta_e_2000, lab
from ..records import record


@record
class CardConstants:
    """Numbers of reading the card."""

    rows: int = 4
    """Rows of patches of the usual chart."""
    columns: int = 6
    """Patches in a row."""
    clipped: float = 0.985
    """Display-encoded value from which a patch counts as overexposed: a guess."""
    grey: float = 0.18
    """Reflectance of a photographer's grey card (common practice)."""


CARD = CardConstants()


CHART = np.array([
    (0.1730, 0.0821, 0.0568),  # dark skin
    (0.5683, 0.2927, 0.2184),  # light skin
    (0.1035, 0.1960, 0.3315),  # blue sky
    (0.1015, 0.1489, 0.0520),  # foliage
    (0.2215, 0.2159, 0.4347),  # blue flower
    (0.1080, 0.5144, 0.4130),  # bluish green
    (0.7472, 0.2007, 0.0282),  # orange
    (0.0575, 0.1051, 0.4032),  # purplish blue
    (0.5668, 0.0843, 0.1197),  # moderate red
    (0.1111, 0.0423, 0.1430),  # purple
    (0.3456, 0.5088, 0.0495),  # yellow green
    (0.7946, 0.3595, 0.0206),  # orange yellow
    (0.0170, 0.0502, 0.2923),  # blue
    (0.0560, 0.3001, 0.0688),  # green
    (0.4560, 0.0304, 0.0409),  # red
    (0.8573, 0.5677, 0.0068),  # yellow
    (0.5336, 0.0886, 0.3077),  # magenta
    (-0.0375, 0.2470, 0.4005),  # cyan
    (0.9118, 0.9152, 0.8940),  # white 9.5 (.05 D)
    (0.5796, 0.5921, 0.5938),  # neutral 8 (.23 D)
    (0.3549, 0.3654, 0.3678),  # neutral 6.5 (.44 D)
    (0.1901, 0.1918, 0.1932),  # neutral 5 (.70 D)
    (0.0852, 0.0889, 0.0926),  # neutral 3.5 (1.05 D)
    (0.0304, 0.0312, 0.0328),  # black 2 (1.5 D)
])  # fmt: skip
"""Linear Rec. 709 values of the 24 patches, rows from dark skin to black, adapted to D65 by Bradford.

Worked out from their xyY values as colour-science 0.4.7 prints them (the maker's own figures of 2005, ICC D50). Cyan lies a
little outside of the gamut.
"""


@record
class Measured:
    """(3,) linear albedo; mean CIEDE2000 difference of the chart's patches after correction (None for a grey card)."""

    albedo: Floats
    delta_e: float | None


class CardError(ValueError):
    """The card can't be read; the message says why."""


def homography(corners: ArrayLike) -> Floats:
    """(3, 3) projective map from the unit square's corners (0,0), (1,0), (1,1), (0,1) to four points.

    The eight equations of a plane seen in perspective (Hartley & Zisserman, Multiple View Geometry, section 4.1).
    """
    target = np.asarray(corners, float).reshape(4, 2)
    if abs(_area(target)) < 16.0:
        raise CardError("its four corners lie nearly on a line: give them going round the card")
    rows, values = [], []
    for (u, v), (x, y) in zip(((0, 0), (1, 0), (1, 1), (0, 1)), target, strict=True):
        rows += [[u, v, 1, 0, 0, 0, -u * x, -v * x], [0, 0, 0, u, v, 1, -u * y, -v * y]]
        values += [x, y]
    return np.append(np.linalg.solve(np.array(rows, float), np.array(values)), 1.0).reshape(3, 3)


def _area(points: Floats) -> float:
    x, y = points.T
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def sample(picture: Floats, points: Floats) -> Floats:
    """(n, 3) linear colours at pixel positions (n, 2); raises CardError where they fall outside the picture."""
    height, width = picture.shape[:2]
    place = np.floor(points).astype(int)
    if (place < 0).any() or (place[:, 0] >= width).any() or (place[:, 1] >= height).any():
        raise CardError(f"part of it lies outside the picture of {width} x {height} pixels")
    return srgb.decode(picture[place[:, 1], place[:, 0], :3]).astype(float)


def patch_colours(picture: Floats, corners: ArrayLike, *, rows: int = CARD.rows, columns: int = CARD.columns) -> Floats:
    """(rows * columns, 3) linear medians of the middle of each patch of a chart, row by row.

    picture: (h, w, 3) display-encoded, row 0 at the top. corners: (4, 2) px, of the field of patches. rows, columns: of the
    chart.
    """
    warp = homography(corners)
    inner = np.linspace(0.28, 0.72, 13)
    out = []
    for row in range(rows):
        for column in range(columns):
            u, v = np.meshgrid((column + inner) / columns, (row + inner) / rows)
            flat = np.stack([u.ravel(), v.ravel(), np.ones(u.size)])
            seen = warp @ flat
            out.append(np.median(sample(picture, (seen[:2] / seen[2]).T), axis=0))
    return np.array(out)


def by_grey_card(picture: Floats, corners: ArrayLike, spot: tuple[float, float, float], *, grey: float = CARD.grey) -> Measured:
    """The albedo of a spot by a neutral card beside it: per-channel gain (von Kries).

    picture: (h, w, 3) display-encoded, row 0 at the top. corners: (4, 2) px, of the card. spot: x, y and radius in px.
    grey: the card's reflectance.
    """
    card = patch_colours(picture, corners, rows=1, columns=1)[0]
    _refuse_clipped(card[None])
    if (card < 0.004).any():
        raise CardError("it is nearly black in the photo: take one with more light")
    return Measured(np.clip(grey * _spot(picture, spot) / card, 0.0, 1.0), None)


def by_chart(picture: Floats, corners: ArrayLike, spot: tuple[float, float, float], *, worst: float = 12.0) -> Measured:
    """The albedo of a spot by the 24-patch chart beside it, whichever way round its corners were given.

    picture: (h, w, 3) display-encoded, row 0 at the top. corners: (4, 2) px, of the chart. spot: x, y and radius in px.
    worst: greatest mean colour difference (CIEDE2000) of the fit that is accepted.

    The six neutrals straighten the photo's tone curve, channel by channel; then a 3 x 3 matrix that keeps neutrals neutral is
    fitted to all patches (least squares in cube roots, where eyes judge; the matrix itself acts on linear light).
    """
    best: tuple[float, Floats] | None = None
    points = np.asarray(corners, float).reshape(4, 2)
    clay = _spot(picture, spot)
    for order in _orders(points):
        seen = patch_colours(picture, order)
        try:
            curve = _tone_curve(seen[-6:])
        except CardError:
            continue
        straight = np.stack([curve(seen[:, channel], channel) for channel in range(3)], axis=1)
        matrix = _matrix(straight)
        fixed = straight @ matrix.T
        off = float(np.mean(delta_e_2000(lab(np.clip(fixed, 0, 1)), lab(np.clip(CHART, 0, 1)))))
        if best is None or off < best[0]:
            albedo = np.array([curve(clay[channel : channel + 1], channel)[0] for channel in range(3)]) @ matrix.T
            best = off, albedo
    if best is None or best[0] > worst:
        raise CardError("its patches do not look like the 24-patch chart there: check the four corners")
    return Measured(np.clip(best[1], 0.0, 1.0), best[0])


def _orders(points: Floats) -> list[Floats]:
    """The corners from each start and both ways round: a chart may lie on its side or head down."""
    ways = [points, points[::-1]]
    return [np.roll(way, shift, axis=0) for way in ways for shift in range(4)]


def _spot(picture: Floats, spot: tuple[float, float, float]) -> Floats:
    x, y, radius = spot
    reach = np.linspace(-1.0, 1.0, 25)
    u, v = np.meshgrid(reach, reach)
    inside = u * u + v * v <= 1.0
    points = np.stack([x + max(radius, 1.0) * u[inside], y + max(radius, 1.0) * v[inside]], axis=1)
    return np.median(sample(picture, points), axis=0)


def _refuse_clipped(colours: Floats) -> None:
    if (srgb.encode(colours) > CARD.clipped).any():
        raise CardError("it is overexposed in the photo: take one with less exposure")


def _tone_curve(neutrals: Floats) -> Callable[[Floats, int], Floats]:
    """Photo value to linear light by the six neutrals, straight lines between them in logarithms."""
    wanted = np.log(CHART[-6:][::-1])
    have = np.log(np.maximum(neutrals[::-1], 1e-5))
    if (np.diff(have, axis=0) <= 0.02).any():
        raise CardError("its grey steps do not rise")

    def straight(values: Floats, channel: int) -> Floats:
        x, y, goal = np.log(np.maximum(values, 1e-6)), have[:, channel], wanted[:, channel]
        low = goal[0] + (x - y[0]) * (goal[1] - goal[0]) / (y[1] - y[0])
        high = goal[-1] + (x - y[-1]) * (goal[-1] - goal[-2]) / (y[-1] - y[-2])
        inside = np.interp(x, y, goal)
        return np.exp(np.where(x < y[0], low, np.where(x > y[-1], high, inside)))

    return straight


def _matrix(straight: Floats) -> Floats:
    """(3, 3) whose rows add up to 1, fitted to the chart with weights that make errors count by lightness."""
    weight = 1.0 / np.maximum(CHART.mean(axis=1), 0.02) ** (2 / 3)
    out = []
    for channel in range(3):
        base, others = straight[:, channel], [c for c in range(3) if c != channel]
        a = (straight[:, others] - base[:, None]) * weight[:, None]
        b = (CHART[:, channel] - base) * weight
        found = np.linalg.lstsq(np.vstack([a, 0.02 * np.eye(2)]), np.append(b, [0.0, 0.0]), rcond=None)[0]
        row = np.zeros(3)
        row[others], row[channel] = found, 1.0 - found.sum()
        out.append(row)
    return np.array(out)
