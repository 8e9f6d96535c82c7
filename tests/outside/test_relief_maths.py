"""Spherical harmonics, blurs and normal maps against published numbers and other libraries."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import unit
from blender_addon.core.surface import bandpass, normal_maps
from blender_addon.core.surface.light import spherical_harmonics as harmonics
from blender_addon.core.surface.texels import rasterize, surface_frames
from scripts.bench._harmonic_light import COSINE, irradiance_basis


def test_cosine_coefficients_and_basis_constants() -> None:
    """A_l = pi, 2 pi/3, pi/4, 0; Y00 .282095, Y1 .488603, Y2 1.092548, Y20 .315392, Y22 .546274
    (Ramamoorthi & Hanrahan 2001).
    """
    assert np.allclose(COSINE, (3.14159, 2.09440, 0.785398, 0), atol=1e-5)
    along = harmonics.basis(np.array([[0, 0, 1.0], [0, 1.0, 0], unit(np.array([1.0, 1, 0])), [1.0, 0, 0]]), 2)
    assert along[0, 0] == pytest.approx(0.282095, abs=1e-6)
    assert along[0, 2] == pytest.approx(0.488603, abs=1e-6)
    assert along[1, 1] == pytest.approx(0.488603, abs=1e-6)
    assert along[2, 4] == pytest.approx(1.092548 / 2, abs=1e-6)  # xy = 1/2
    assert along[0, 6] == pytest.approx(0.315392 * 2, abs=1e-6)  # 3 z^2 - 1 = 2
    assert along[3, 8] == pytest.approx(0.546274, abs=1e-6)


def test_irradiance_constants_of_the_paper() -> None:
    """c1..c5 = .429043 .511664 .743125 .886227 .247708: E = c1 L22 (x2 - y2) + c3 L20 z2 + c4 L00 - ... (same paper)."""
    c1, c2, c3, c4, c5 = 0.429043, 0.511664, 0.743125, 0.886227, 0.247708
    n = unit(np.random.default_rng(0).normal(size=(50, 3)))
    x, y, z = n.T
    expected = np.stack(
        [
            c4 + 0 * x,
            2 * c2 * y,
            2 * c2 * z,
            2 * c2 * x,
            2 * c1 * x * y,
            2 * c1 * y * z,
            c3 * z * z - c5,
            2 * c1 * x * z,
            c1 * (x * x - y * y),
        ],
        axis=1,
    )
    assert np.allclose(irradiance_basis(n), expected, atol=2e-6)  # c2 is rounded up in print


def test_uniform_light_gives_pi_everywhere() -> None:
    """L = 1 gives E = pi (definition of irradiance)."""
    coefficients = np.zeros(9)
    coefficients[0] = 2 * np.sqrt(np.pi)  # L00 of a constant 1
    n = unit(np.random.default_rng(1).normal(size=(20, 3)))
    assert np.allclose(irradiance_basis(n) @ coefficients, np.pi, atol=1e-6)


def test_irradiance_of_a_real_sky_against_numerical_integration() -> None:
    """One of Blender's own CC0 panoramas: nine harmonics against the sum over all pixels, within the 9 % of the paper's
    worst case (Ramamoorthi & Hanrahan 2001, section 2: average error under 3 %)."""
    bpy = pytest.importorskip("bpy")
    folder = Path(bpy.utils.resource_path("LOCAL")) / "datafiles" / "studiolights" / "world"
    files = sorted(folder.glob("*.exr"))
    if not files:
        pytest.skip("this Blender carries no panoramas")
    image = bpy.data.images.load(str(files[0]))
    width, height = image.size
    pixels = np.zeros(width * height * 4, np.float32)
    image.pixels.foreach_get(pixels)
    bpy.data.images.remove(image)
    light = pixels.reshape(height, width, 4)[::4, ::4, :3].mean(axis=2).astype(float)
    light = np.minimum(light, 50)  # a bare sun of one pixel is no test of nine harmonics
    rows, columns = light.shape
    elevation = ((np.arange(rows) + 0.5) / rows - 0.5) * np.pi
    azimuth = (np.arange(columns) + 0.5) / columns * 2 * np.pi
    e, a = np.meshgrid(elevation, azimuth, indexing="ij")
    ways = np.stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)], axis=-1).reshape(-1, 3)
    weight = (np.cos(e) * (np.pi / rows) * (2 * np.pi / columns)).ravel() * light.ravel()
    coefficients = harmonics.basis(ways, 2).T @ weight
    normals = harmonics.sphere_directions(60)
    exact = np.maximum(normals @ ways.T, 0) @ weight
    error = np.abs(irradiance_basis(normals) @ coefficients - exact) / exact.mean()
    assert error.mean() < 0.03
    assert error.max() < 0.09


@pytest.mark.parametrize("sigma", [2.0, 9.0, 40.0])
def test_blur_against_scipy(sigma: float) -> None:
    """scipy.ndimage.gaussian_filter with mode 'reflect'; 0.2 % RMS of the picture's range is what we are held to."""
    ndimage = pytest.importorskip("scipy.ndimage")
    rng = np.random.default_rng(3)
    image = ndimage.gaussian_filter(rng.random((515, 640)), 3).astype(np.float32)
    image = (image - image.min()) / np.ptp(image)
    ours = bandpass.gaussian_blur(image, sigma)
    theirs = ndimage.gaussian_filter(image.astype(float), sigma, mode="reflect", truncate=5)
    assert np.sqrt(np.mean((ours - theirs) ** 2)) < 0.002


@pytest.mark.oracle
def test_blur_against_opencv() -> None:
    """cv2.GaussianBlur with BORDER_REFLECT, full kernel."""
    cv2 = pytest.importorskip("cv2")
    image = np.random.default_rng(4).random((512, 512)).astype(np.float32)
    theirs = cv2.GaussianBlur(image, (0, 0), 20, borderType=cv2.BORDER_REFLECT)
    assert np.sqrt(np.mean((bandpass.gaussian_blur(image, 20) - theirs) ** 2)) < 0.002


def map_of(height_mm: np.ndarray, step: float) -> np.ndarray:
    """(h, w, 3) tangent-space normals that the relief step would write for a height field on a flat square, rows upwards."""
    rows, columns = height_mm.shape
    wide, high = columns * step, rows * step
    corners = np.array([[0.0, 0, 0], [wide, 0, 0], [wide, high, 0], [0, high, 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    uv = (corners[:, :2] / (wide, high))[faces]
    facing = np.tile([0.0, 0.0, 1.0], (4, 1))
    texels = rasterize(uv, height=rows, width=columns)
    slopes = normal_maps.slopes_from_raster(texels, height_mm, *surface_frames(corners, faces, uv))
    frames = normal_maps.tangent_frames(corners, faces, uv, facing)
    return texels.scatter(normal_maps.tangent_space(texels, frames, np.tile([0.0, 0.0, 1.0], (len(texels), 1)), slopes))


def test_sine_relief_gives_the_published_pixel() -> None:
    """h = a sin kx at x = 0: ak = 1 -> (37, 128, 218), ak = .5 -> (70, 128, 242) in 8 bits (arithmetic; glTF 2.0 encoding)."""
    step = 0.001
    x = (np.arange(401) - 200) * step
    for product, pixel in ((1.0, (37, 128, 218)), (0.5, (70, 128, 242))):
        height = np.tile(product / 2.0 * np.sin(2.0 * x), (5, 1))
        stored = normal_maps.encode(map_of(height, step))[2, 200]
        assert np.abs(stored * 255 - pixel).max() <= 1.0


def test_sphere_relief_gives_the_sphere_s_normals() -> None:
    """n = (x, y, z) / R."""
    axis = np.linspace(-0.5, 0.5, 401)
    x, y = np.meshgrid(axis, axis)
    z = np.sqrt(1 - x**2 - y**2)
    normals = map_of(z, axis[1] - axis[0])
    assert np.allclose(normals[5:-5, 5:-5], np.stack([x, y, z], -1)[5:-5, 5:-5], atol=1 / 255)


def test_flat_pixel_decodes_to_nearly_flat() -> None:
    """glTF 2.0: (128, 128, 255) is flat within 0.4 degrees, +Y is up."""
    normal = normal_maps.decode(np.array([128, 128, 255]) / 255)
    assert np.degrees(np.arccos(normal[2])) < 0.4
    rising = np.tile(np.arange(5.0)[:, None], (1, 5))  # height grows with v, rows run upwards
    assert map_of(rising, 1.0)[2, 2, 1] < 0  # so the normal leans down: -Y


@pytest.mark.parametrize(
    ("base", "detail", "expected"),
    [
        ((0.6, 0, 0.8), (0, 0, 1), (0.6, 0, 0.8)),
        ((0, 0, 1), (0, 0.6, 0.8), (0, 0.6, 0.8)),
        ((0.6, 0, 0.8), (0, 0.6, 0.8), (0.48, 0.60, 0.64)),
    ],
)
def test_reoriented_blending_vectors(base, detail, expected) -> None:
    """The shortest rotation that carries +Z to the base, done to the second normal (Rodrigues' formula), worked by hand.

    Adding the slopes, or averaging the normals, would give (.514, .514, .686) or (.565, .565, .602).
    """
    assert np.allclose(normal_maps.reoriented(np.array(base), np.array(detail)), expected, atol=1e-5)


def test_reoriented_blending_adds_angles_about_one_axis() -> None:
    """20 then 25 degrees about one axis are 45: rotations about one axis add up."""
    lean = lambda deg: np.array([np.sin(np.radians(deg)), 0, np.cos(np.radians(deg))])  # noqa: E731
    assert np.allclose(normal_maps.reoriented(lean(20), lean(25)), lean(45), atol=1e-9)


def touching_fans() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices (n, 3), faces (m, 3), UVs (m, 3, 2) of bent sheets: one with sharp folds, beside it two whose corners touch in
    one vertex and in one point of the layout without sharing an edge, as they do in decimated scans."""
    rng = np.random.default_rng(4)
    x, y = np.meshgrid(np.arange(9.0), np.arange(9.0))
    points = np.stack([x, y, 0.8 * rng.random(x.shape)], axis=-1).reshape(-1, 3)
    low = (np.arange(8)[:, None] * 9 + np.arange(8)).ravel()
    faces = np.concatenate([np.stack([low, low + 1, low + 10], 1), np.stack([low, low + 10, low + 9], 1)])
    kept = np.linalg.norm(points[faces].mean(axis=1)[:, :2] - (4.0, 4.0), axis=1) > 1.6
    middle = (faces == 40).any(axis=1)  # round the vertex in the middle only two faces stay, on opposite sides of it
    opposite = np.flatnonzero(middle)[[0, 3]]
    kept[opposite] = True
    uv = (points[:, :2] + 0.35 * rng.random((len(points), 2))) / 12.0
    return points, faces[kept], uv[faces[kept]]


def test_tangents_agree_with_blender_s_own() -> None:
    """Blender's mesh.calc_tangents follows MikkTSpace: the same at every corner, to 0.1 degrees for Blender's single precision
    (0.06 was the most on a decimated scan of 26,000 triangles), where sharp folds and fans that only touch tell them apart."""
    bpy = pytest.importorskip("bpy")
    from blender_addon.core.mesh.triangles import TriangleMesh, shading_normals
    from blender_addon.scene.meshes import make_object

    vertices, faces, uv = touching_fans()
    item = make_object("sheets", TriangleMesh(vertices, faces, uv))
    item.data.calc_tangents()
    theirs, sign = np.zeros(len(item.data.loops) * 3, np.float32), np.zeros(len(item.data.loops), np.float32)
    item.data.loops.foreach_get("tangent", theirs)
    item.data.loops.foreach_get("bitangent_sign", sign)
    frames = normal_maps.tangent_frames(vertices, faces, uv, shading_normals(vertices, faces))
    agree = (frames.tangent[frames.corners] * theirs.reshape(-1, 3, 3)).sum(axis=-1)
    bpy.data.meshes.remove(item.data)
    assert np.degrees(np.arccos(np.clip(agree, -1, 1))).max() < 0.1
    assert np.array_equal(frames.sign, sign[::3])
