"""How does a real lens image at a distance? Magnification, blur, depth of field and diffraction of a thin lens with pupils.

Distances are in mm from the entrance pupil, which is where Blender's camera stands. For a lens of focal length f whose exit
pupil is p times its entrance pupil, an object at s is imaged at magnification m with s = f (1/m + 1/p); for p = 1 that is the
thin lens's s = f (1 + 1/m) (A. R. Greenleaf, *Photographic Optics*, 1950). That with pupils follows from the principal planes
and is derived in D. Jacobson's *Photographic Lenses Tutorial* (1995), an essay passed on by its readers.
"""

from __future__ import annotations

import math

import numpy as np

from ..arrays import Floats
from ..records import record

GREEN_LINE = 546e-6
"""Wavelength for diffraction, mm: the green mercury line e, a reference wavelength of optics (ISO 7944, from memory)."""

LARGEST = 5.0
"""The largest magnification of a macro lens (common practice); beyond 5:1 a microscope is used."""

THIRD_STOPS = (
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0,
    14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0,
)  # fmt: skip
"""Marked f-numbers a third of a stop apart, as engraved (rounding is by convention)."""


@record
class Optics:
    """A lens focused at a distance: focal length, marked f-number, focus distance from the entrance pupil (mm), pupil ratio."""

    focal_mm: float
    fnumber: float
    focus_mm: float
    pupil_ratio: float = 1.0

    @property
    def magnification(self) -> float:
        """Image size over object size, in the plane of focus."""
        return magnification(self.focal_mm, self.focus_mm, pupil_ratio=self.pupil_ratio)

    @property
    def effective_fnumber(self) -> float:
        """N (1 + m/p), which determines exposure and diffraction."""
        return self.fnumber * (1.0 + self.magnification / self.pupil_ratio)

    @property
    def aperture_mm(self) -> float:
        """Diameter of the entrance pupil."""
        return self.focal_mm / self.fnumber


def magnification(focal_mm: float, focus_mm: float, *, pupil_ratio: float = 1.0) -> float:
    """m = f / (s - f/p). Raises ValueError within the front focal distance, where nothing can be brought to focus."""
    room = focus_mm - focal_mm / pupil_ratio
    if room <= 0.0:
        raise ValueError(f"{focus_mm:g} mm is within the focal distance of a {focal_mm:g} mm lens")
    return focal_mm / room


def focus_for(focal_mm: float, m: float, *, pupil_ratio: float = 1.0) -> float:
    """The distance (mm) at which the lens images at magnification m: s = f (1/m + 1/p)."""
    return focal_mm * (1.0 / m + 1.0 / pupil_ratio)


def blur_disc(optics: Optics, distance_mm: Floats | float) -> Floats:
    """Diameter on the sensor (mm) of a point at a distance, A m |d - s| / d by similar triangles. At infinity it is A m."""
    d = np.asarray(distance_mm, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(np.isinf(d), 1.0, np.abs(d - optics.focus_mm) / d)
    return optics.aperture_mm * optics.magnification * share


def limits(optics: Optics, coc_mm: float) -> tuple[float, float]:
    """Nearest and farthest distance (mm) whose blur disc stays within the circle of confusion; far may be inf.

    s A m / (A m +- c), exact for a thin lens; equal to s (H - f) / (H +- s - ...) of Greenleaf (1950) with H = f^2/(N c) + f.
    """
    spread = optics.aperture_mm * optics.magnification
    near = optics.focus_mm * spread / (spread + coc_mm)
    far = optics.focus_mm * spread / (spread - coc_mm) if spread > coc_mm else math.inf
    return near, far


def depth_of_field(optics: Optics, coc_mm: float) -> float:
    """Far limit less near limit, mm."""
    near, far = limits(optics, coc_mm)
    return far - near


def airy_disc(effective_fnumber: float, *, wavelength_mm: float = GREEN_LINE) -> float:
    """Diameter of the first dark ring of the diffraction spot on the sensor, 2.44 lambda N_e, mm."""
    return 2.0 * 1.2196699 * wavelength_mm * effective_fnumber


def diffraction_fnumber(m: float, coc_mm: float, *, pupil_ratio: float = 1.0, wavelength_mm: float = GREEN_LINE) -> float:
    """The marked f-number at which the Airy disc fills the circle of confusion; past it diffraction wins.

    m: magnification. pupil_ratio: exit over entrance pupil.
    """
    return coc_mm / (airy_disc(1.0, wavelength_mm=wavelength_mm) * (1.0 + m / pupil_ratio))


def holding(near_mm: float, far_mm: float, focal_mm: float, coc_mm: float, *, pupil_ratio: float = 1.0) -> Optics:
    """The lens set so that exactly near to far is sharp: focus at 2 n f/(n + f), and the f-number that holds both ends.

    From `limits`: c = A m (s - near)/near with A = F/N gives N = F m (s - near) / (c near).

    pupil_ratio: exit over entrance pupil.
    """
    focus = 2.0 * near_mm * far_mm / (near_mm + far_mm) if math.isfinite(far_mm) else 2.0 * near_mm
    m = magnification(focal_mm, focus, pupil_ratio=pupil_ratio)
    fnumber = focal_mm * m * (focus - near_mm) / (coc_mm * near_mm)
    return Optics(focal_mm, max(fnumber, 1e-6), focus, pupil_ratio)


def fnumber_reaching(optics: Optics, near_mm: float, far_mm: float, coc_mm: float) -> float:
    """The f-number that holds near and far sharp with the focus left where it is."""
    ends = np.array([near_mm, far_mm])
    blur = blur_disc(Optics(optics.focal_mm, 1.0, optics.focus_mm, optics.pupil_ratio), ends)
    return float(blur.max() / coc_mm)


def marked(fnumber: float, *, up: bool = True) -> float:
    """The engraved third stop at or above (`up`) or below an exact f-number; outside the scale its nearest end.

    An engraved 5.6 stands for 5.657, so 1.5 % of slack is given before the next stop is taken.
    """
    stops = np.array(THIRD_STOPS)
    if up:
        fits = stops[stops >= fnumber / 1.015]
        return float(fits[0]) if len(fits) else float(stops[-1])
    fits = stops[stops <= fnumber * 1.015]
    return float(fits[-1]) if len(fits) else float(stops[0])


@record
class BlenderLens:
    """What to write into Blender's camera: focal length (mm), f-stop, sensor size (mm) for a horizontal fit."""

    lens: float
    fstop: float
    sensor_width: float
    sensor_height: float


SENSOR_FLOOR = 1.0
"""The smallest sensor side that Blender takes, mm."""


def iris_gain(blades: int) -> float:
    """Diameter of the round opening over that of the circle through the corners of a polygon with the same area.

    The polygon's area is (n/2) r^2 sin(2 pi/n); Blender inscribes it in the aperture circle, which loses light and blur.
    """
    return math.sqrt(blades / (2.0 * math.pi) * math.sin(2.0 * math.pi / blades)) if blades >= 3 else 1.0


def in_blender(optics: Optics, frame_mm: tuple[float, float], *, blades: int = 0) -> BlenderLens:
    """The camera with the thin lens's field of view and blur. `frame_mm`: the used part of the sensor, width and height.

    Blender takes the focal length as the image distance. A sensor made smaller by 1 + m/p cures field of view and blur at
    once; where a side would fall under Blender's 1 mm, sensor, lens and f-stop all grow by one factor, which changes nothing
    in the picture. With iris blades the f-stop is lowered so that the polygon has the round opening's area.
    """
    stretch = 1.0 + optics.magnification / optics.pupil_ratio
    grow = max(1.0, SENSOR_FLOOR * stretch / min(frame_mm))
    fstop = optics.fnumber * grow * iris_gain(blades)
    return BlenderLens(optics.focal_mm * grow, fstop, frame_mm[0] * grow / stretch, frame_mm[1] * grow / stretch)
