"""Where on a photograph does a point of the piece appear? A pinhole camera with an image distance and one radial term.

Points are in mm. Pixels run from the photo's top left corner: x to the right, y down, (0.5, 0.5) the middle of its first pixel.
The optical axis meets the photo's middle. A macro lens holds its image further away than its focal length, so that the image
distance, not the focal length, is what a photo is solved for.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..records import record

FILM_DIAGONAL_MM = float(np.hypot(36.0, 24.0))
"""Diagonal of the 35 mm frame (ISO 1007), to which Exif's FocalLengthIn35mmFilm refers (CIPA DC-008, 4.6.5)."""


@record
class PhotoCamera:
    """The camera of one photograph.

    rotation: (3, 3), its rows are the camera's right, down and viewing axes in the piece's frame. place: (3,) mm, the entrance
    pupil. distance: image distance in pixels. radial: k of the radial term 1 + k r^2, r in half diagonals of the photo. size:
    (width, height) in pixels.
    """

    rotation: Floats
    place: Floats
    distance: float
    radial: float
    size: tuple[int, int]

    def project(self, points: Floats) -> tuple[Floats, Floats]:
        """Pixels (n, 2) of points (n, 3), and their depths (n,) in mm along the viewing axis; pixels are meaningless at depths
        <= 0."""
        seen = (np.asarray(points) - self.place) @ self.rotation.T
        depth = seen[:, 2]
        flat = self.distance * seen[:, :2] / np.where(np.abs(depth) > 1e-9, depth, 1e-9)[:, None]
        half = 0.5 * np.hypot(*self.size)
        bent = flat * (1.0 + self.radial * np.einsum("ij,ij->i", flat, flat) / half**2)[:, None]
        return bent + np.array([0.5 * self.size[0], 0.5 * self.size[1]]), depth

    def bearings(self, pixels: Floats) -> Floats:
        """(n, 3) unit directions, in the piece's frame, of pixels (n, 2)."""
        bent = np.asarray(pixels, float) - np.array([0.5 * self.size[0], 0.5 * self.size[1]])
        half = 0.5 * np.hypot(*self.size)
        flat = bent.copy()
        for _ in range(8):  # the fixed point of flat = bent / (1 + k r^2): |k| is small
            flat = bent / (1.0 + self.radial * np.einsum("ij,ij->i", flat, flat) / half**2)[:, None]
        ways = np.concatenate([flat / self.distance, np.ones((len(flat), 1))], axis=1)
        return (ways / np.linalg.norm(ways, axis=1, keepdims=True)) @ self.rotation

    def scaled(self, size: tuple[int, int]) -> PhotoCamera:
        """The same camera for the photo at another size."""
        return PhotoCamera(self.rotation, self.place, self.distance * size[0] / self.size[0], self.radial, size)


def moved(camera: PhotoCamera, step: Floats) -> PhotoCamera:
    """The camera changed by `step` (8,): turn about its own axes (rad), move along them (mm), log of the image distance,
    radial term."""
    place = camera.place + camera.rotation.T @ step[3:6]
    rotation = turned(step[:3]) @ camera.rotation
    return PhotoCamera(rotation, place, camera.distance * float(np.exp(step[6])), camera.radial + float(step[7]), camera.size)


def turned(vector: Floats) -> Floats:
    """(3, 3) rotation by |vector| radians about `vector` (Rodrigues 1840)."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-12:
        return np.eye(3) + _cross(vector)
    axis = _cross(np.asarray(vector) / angle)
    return np.eye(3) + np.sin(angle) * axis + (1.0 - np.cos(angle)) * axis @ axis


def _cross(v: Floats) -> Floats:
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])


def angle_between(first: Floats, second: Floats) -> float:
    """Degrees of the rotation from one (3, 3) to another."""
    return float(np.degrees(np.arccos(np.clip((np.trace(first @ second.T) - 1.0) / 2.0, -1.0, 1.0))))


def distance_by_film(focal_35mm: float, size: tuple[int, int]) -> float:
    """Image distance in pixels of a lens focused far away, by its focal length as a 35 mm camera would have it (mm)."""
    return focal_35mm / FILM_DIAGONAL_MM * float(np.hypot(*size))


def nearest_rotation(matrix: Floats) -> Floats:
    """(3, 3) the right-handed rotation nearest to a matrix (Kabsch 1976)."""
    u, _, v = np.linalg.svd(matrix)
    return np.asarray(u @ np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ v))]) @ v)
