"""Is the truth true? Makers of known pieces, their scans and their light, against forms that can be worked out by hand."""

import importlib.util

import numpy as np
import pytest

pytest.importorskip("bpy")

from blender_addon.core.mesh.triangles import TriangleMesh, edges, face_areas, signed_volume, vertex_normals
from scripts.truth.light import lights, transport
from scripts.truth.light.fine_transport import finely_baked
from scripts.truth.modelling import nets, pigments
from scripts.truth.modelling.fields import box, cut, ellipsoid, rotation
from scripts.truth.modelling.tooling import Canvas, stroke
from scripts.truth.pieces.shape import Shape
from scripts.truth.scan import camera, charts, scanned, texels

BALL = 10.0


def ball(step: float = 1.0, splits: int = 1) -> tuple:
    return nets.modelled(
        lambda points: ellipsoid(points, (0, 0, 0), (BALL,) * 3), (-12,) * 3, (12,) * 3, step=step, splits=splits
    )


def test_a_modelled_ball_is_closed_and_has_its_size():
    """Every edge has two faces; volume within 0.2 % of 4/3 pi r^3 (chords of 0.5 mm on r = 10 cut off about 0.1 %)."""
    vertices, quads = ball()
    faces = nets.triangles(quads)
    assert np.all(edges(faces)[1] == 2)
    assert signed_volume(vertices, faces) == pytest.approx(4 / 3 * np.pi * BALL**3, rel=2e-3)
    assert np.abs(np.linalg.norm(vertices, axis=1) - BALL).max() < 2e-3


def plate(size: float = 20.0, step: float = 0.1) -> Canvas:
    count = int(size / step) + 1
    x, y = np.meshgrid(np.linspace(-size / 2, size / 2, count), np.linspace(-size / 2, size / 2, count), indexing="ij")
    corner = (np.arange(count - 1)[:, None] * count + np.arange(count - 1)).ravel()
    quads = np.stack([corner, corner + count, corner + count + 1, corner + 1], axis=1)
    return Canvas(np.stack([x, y, 0 * x], axis=-1).reshape(-1, 3), quads, 1)


def test_a_stroke_is_as_deep_and_as_wide_as_asked():
    """Depth at its middle: 0.75 x the asked one (pressure grows along it). Width at 1/4 of the depth: 0.93 w, where
    exp(-1.4 s^2) less the burr's foot, 0.32 exp(-5 (s - 1.55)^2), is 1/4; a grid of 0.05 mm finds it to 0.06."""
    canvas = plate(12.0, 0.05)
    stroke(canvas, np.array([-4.0, 0, 0]), np.array([1.0, 0, 0]), length=8.0, width=1.0, depth=0.3)
    middle = np.abs(canvas.vertices[:, 0]) < 0.01
    across, height = canvas.vertices[middle, 1], canvas.height[middle]
    assert height.min() == pytest.approx(-0.225, abs=0.01)
    assert np.ptp(across[height < 0.25 * height.min()]) == pytest.approx(0.93, abs=0.06)
    assert height.max() > 0.2 * 0.225
    far = np.abs(canvas.vertices[:, 1]) > 3.0
    assert np.all(np.abs(canvas.height[far]) < 1e-9)


def test_voxels_fill_a_box_to_its_volume_and_overlaps_once():
    """Partial voxels carry their share, so the volume of axis-aligned boxes is right to the grid's columns (1 %)."""
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float) * (8.0, 6.0, 4.0)
    faces = np.array(
        [
            [0, 1, 3],
            [0, 3, 2],
            [4, 6, 7],
            [4, 7, 5],
            [0, 4, 5],
            [0, 5, 1],
            [2, 3, 7],
            [2, 7, 6],
            [0, 2, 6],
            [0, 6, 4],
            [1, 5, 7],
            [1, 7, 3],
        ]
    )
    assert signed_volume(corners, faces) == pytest.approx(192.0)
    solid, _ = scanned.filled(corners, faces, step=0.2)
    assert solid.sum() * 0.008 == pytest.approx(192.0, rel=0.01)
    twice, _ = scanned.filled(np.concatenate([corners, corners + (4, 0, 1.1)]), np.concatenate([faces, faces + 8]), step=0.2)
    assert twice.sum() * 0.008 == pytest.approx(2 * 192.0 - 4 * 6 * 2.9, rel=0.01)


def test_a_scan_blurs_keeps_size_and_leaves_its_underside_open():
    """Blurring a ball's inside by sigma moves its surface inwards by about sigma^2 / r: 0.04 mm here; noise is 0.02."""
    vertices, quads = ball(step=0.8)
    truth = Shape("ball", vertices + [0, 0, BALL], nets.triangles(quads), np.ones((len(vertices), 3)))
    scan = scanned.scan_mesh(truth, triangles=4000, open_below=3.0, seed=3)
    two = scanned.scan_mesh(truth, triangles=4000, open_below=3.0, seed=3)
    assert np.array_equal(scan.vertices, two.vertices) and np.array_equal(scan.faces, two.faces)
    radius = np.linalg.norm(scan.vertices - [0, 0, BALL], axis=1)
    assert np.median(radius) == pytest.approx(BALL - 0.04, abs=0.06)
    assert np.any(edges(scan.faces)[1] == 1)
    assert scan.vertices[:, 2].min() > 0.3
    assert 0.7 * 4000 < len(scan.faces) <= 4100


def unwrapped_ball() -> tuple[TriangleMesh, np.ndarray, np.ndarray, np.ndarray]:
    vertices, quads = ball(step=1.5)
    faces = nets.triangles(quads)
    mesh, island = charts.unwrapped(TriangleMesh(vertices, faces), islands=60, texels=512, seed=1)
    return mesh, island, vertices, faces


def test_islands_do_not_overlap_and_keep_an_even_scale():
    mesh, island, *_ = unwrapped_ball()
    assert island.max() + 1 >= 60
    assert mesh.uv.min() >= 0.0 and mesh.uv.max() <= 1.0
    a, b, c = (mesh.uv[:, k] for k in range(3))
    flat = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    assert np.all(flat > 0)
    _, face, _ = texels.covered(mesh, 512)
    assert len(face) == pytest.approx(flat.sum() * 512**2, rel=0.01)  # fewer when islands overlapped
    ratio = flat / face_areas(mesh.vertices, mesh.faces)
    assert np.percentile(ratio, 95) / np.percentile(ratio, 5) < 3.5


def test_texels_of_a_shifted_truth_know_the_shift():
    mesh, _, vertices, faces = unwrapped_ball()
    part = texels.texels(mesh, vertices * 1.02, faces, 256)
    assert np.all(part.truth_face >= 0)
    assert np.percentile(np.abs(part.height - 0.2), 99) < 0.02  # r = 10 grown by 2 %; facets of 0.75 mm sag by 0.007
    assert np.allclose(part.truth_weights.sum(axis=1), 1.0, atol=1e-5)


def test_an_even_sky_lights_an_open_surface_fully_and_a_groove_by_its_view_of_it():
    """Irradiance over pi under radiance 1: 1 in the open; (1 + cos a) / 2 on a long wall that meets another one at the angle a.

    A point at distance d from a long wall of height h sees it under a = atan(h / d); the wall's view factor is (1 - cos a) / 2
    (Lambert; the strip formula in any table of view factors), the sky has the rest.
    """
    step, length = 0.15, 30.0
    along, across = np.meshgrid(np.arange(-length, length, step), np.arange(step / 2, 12.0, step), indexing="ij")
    floor = np.stack([along, across, 0 * along], -1).reshape(-1, 3)
    wall = np.stack([along, 0 * along, across], -1).reshape(-1, 3)
    vertices = np.concatenate([floor, wall, wall - [0, 0.5, 0]])  # the wall has two sides, as a closed body's has
    normals = np.repeat([[0.0, 0, 1], [0, 1.0, 0], [0, -1.0, 0]], len(floor), axis=0)
    flow = transport.baked(vertices, normals)
    sky = np.ones((transport.COUNT, 1))
    light = flow.direct(sky)[:, 0]
    near = (
        (np.abs(vertices[:, 0]) < 5)
        & (vertices[:, 1] >= 0)
        & (vertices[:, 1] + vertices[:, 2] > 0.8)
        & (vertices[:, 1] + vertices[:, 2] < 1.5)
        & (normals[:, 1] >= 0)
    )
    assert np.median(light[near & (normals[:, 2] > 0)]) == pytest.approx(0.548, abs=0.03)  # wall 12 high, 1.15 away
    edge = (np.abs(vertices[:, 0]) < 5) & (vertices[:, 1] + vertices[:, 2] > 11.5)
    # at the rim, 11.75 away from a wall 12 high: the wall spans 45.6 degrees, sky (1 + cos 45.6) / 2
    assert np.median(light[edge & (normals[:, 2] > 0)]) == pytest.approx(0.85, abs=0.05)
    again = flow.bounced(light[:, None], np.full((len(vertices), 1), 0.5), bounces=1)
    assert again.min() >= 0 and np.median(again[flow.cluster[near]]) == pytest.approx(0.5 * 0.5 * 0.62, abs=0.08)


def test_turning_the_piece_turns_the_light_and_a_full_turn_changes_nothing():
    room = lights.light("window", 2)
    ways = transport.directions()
    full = lights.turned(room, 360.0).rooms[0](ways)
    assert np.allclose(full, room.rooms[0](ways), atol=1e-9)
    spin = rotation(("z", 70.0))
    assert np.allclose(lights.turned(room, 70.0).rooms[0](ways), room.rooms[0](ways @ spin.T), atol=1e-9)
    for name in lights.NAMES:
        light = lights.light(name, 5)
        assert all(np.all(radiance(ways) > 0) for radiance in light.rooms)
        assert np.allclose(lights.shares(light, ways).sum(axis=1), 1.0)


def test_speckle_has_the_density_that_was_asked_for():
    """1.5 dots a mm2 of 0.08 to 0.16 mm radius cover about 1 - exp(-1.5 pi <r^2>) = 6.7 % (dots fall independently)."""
    size, edge = 400, 0.05
    row, column = np.divmod(np.arange(size * size), size)
    position = np.stack([column * edge, row * edge, 0.0 * row], axis=1)
    zero = np.zeros(size * size, int)
    part = texels.Texels(size, np.arange(size * size), zero, position, position, position, zero, position, position[:, 0])
    factor = camera.speckles(part, 1.5, np.random.default_rng(4), texel_area=edge**2)
    covered = np.mean(factor < 0.9)
    assert covered == pytest.approx(0.067, abs=0.02)
    alone = camera.speckles(part, 0.0, np.random.default_rng(4), texel_area=edge**2)
    assert np.all(alone == 1.0)


def test_display_values_follow_the_standard():
    """IEC 61966-2-1: linear 0.18 is shown as 0.4614 (118 of 255), 0.0031308 as 0.04045."""
    assert camera.encoded(np.array([0.18]))[0] == pytest.approx(0.4614, abs=5e-4)
    assert camera.encoded(np.array([0.0031308]))[0] == pytest.approx(0.04045, abs=1e-5)


@pytest.mark.skipif(importlib.util.find_spec("PIL") is None, reason="pillow writes the JPEG")
def test_jpeg_keeps_rows_and_colours():
    picture = np.zeros((64, 64, 3), np.uint8)
    picture[:16] = (200, 60, 30)
    back = camera.through_jpeg(picture, 92)
    assert np.abs(back[:14].astype(int) - (200, 60, 30)).max() < 12 and back[20:].max() < 25


def test_pigments_stay_between_soot_and_chalk():
    points = np.random.default_rng(0).uniform(-30, 60, (4000, 3))
    for name in pigments.NAMES:
        colour = pigments.pigment(name, points)
        assert colour.min() >= 0.03 and colour.max() <= 0.85
        assert np.log(colour).std(axis=0).max() > 0.25, name
        assert np.array_equal(colour, pigments.pigment(name, points))


def test_a_shape_s_digest_sees_a_hundredth_of_a_millimetre_and_nothing_below_a_nanometre():
    vertices, quads = ball(step=2.0, splits=0)
    shape = Shape("ball", np.round(vertices, 3), nets.triangles(quads), np.ones((len(vertices), 3)))
    assert Shape("ball", shape.vertices + 1e-7, shape.faces, shape.albedo).digest() == shape.digest()
    moved = shape.vertices.copy()
    moved[3, 0] += 0.01
    assert Shape("ball", moved, shape.faces, shape.albedo).digest() != shape.digest()
    assert vertex_normals(shape.vertices, shape.faces).shape == (len(vertices), 3)


def test_the_hound_is_closed_of_its_size_and_the_same_again() -> None:
    """On a coarse grid: a closed skin (an even number of faces at every edge; four where a thin part touches itself on the
    grid),
    96 x 43 x 54 mm to a step."""
    from scripts.truth.pieces.hound import hound

    first, again = hound(step=1.6), hound(step=1.6)
    assert first.digest() == again.digest()
    assert np.ptp(first.vertices, axis=0) == pytest.approx([96.0, 43.0, 54.0], abs=1.6)
    edges = np.sort(np.concatenate([first.faces[:, [0, 1]], first.faces[:, [1, 2]], first.faces[:, [2, 0]]]), axis=1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] % 2 == 0).all()
    assert 0.02 <= first.albedo.min() and first.albedo.max() <= 0.35  # walnut is dark


def test_light_in_a_small_round_pit_is_that_of_an_integrating_sphere():
    """From a point of a sphere's wall any other part of the wall is seen by its share of the sphere's area. A half-round pit
    therefore gives each of its points half of an even sky, and the series of its own light adds up:
    E = s (1 + r s + (r s)^2 + ...) with s = 1/2 (J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors,
    sphere to itself; from memory). 2 mm wide, as a tool's mark is; 4 % are left to the pixels of 0.1 mm at the rim."""
    radius, albedo, top = 1.0, 0.78, 1.5
    vertices, quads = nets.modelled(
        lambda points: cut(
            box(points, np.zeros(3), np.array([2.0, 2.0, top]), 0.2), ellipsoid(points, (0, 0, top), (radius,) * 3), 0.02
        ),
        (-2.5,) * 3, (2.5,) * 3, step=0.25, splits=1,
    )  # fmt: skip
    faces = nets.triangles(quads)
    found = finely_baked(vertices, faces, vertex_normals(vertices, faces))
    sky = found.direct((transport.directions()[:, 2:] > 0).astype(float))
    light = sky + found.bounced(sky, np.full((len(vertices), 1), albedo), bounces=3)
    deep = (np.abs(np.linalg.norm(vertices - [0, 0, top], axis=1) - radius) < 0.05) & (vertices[:, 2] < top - 0.3 * radius)
    assert sky[deep].mean() == pytest.approx(0.5, rel=0.04)
    assert light[deep].mean() == pytest.approx(0.5 * sum((albedo / 2) ** bounce for bounce in range(4)), rel=0.04)
