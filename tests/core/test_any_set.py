"""Do tables, light set-ups, shots and laid-out pictures come out sound for any size, seed and camera that a setting allows?

Inputs are drawn by hypothesis, always the same ones. Tolerances are some thousand roundings of the numbers' precision.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

pytest.importorskip("hypothesis")

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from blender_addon.core import rasters, statistics
from blender_addon.core.delivery import cost, resampling
from blender_addon.core.dressing import exposure, light_setups, trades
from blender_addon.core.dressing.tabletops import backdrop, cloth, photographed, planks, round, stone
from blender_addon.core.dressing.tabletops.grid import Extent
from blender_addon.core.files.pictures import exif, icc
from blender_addon.core.mesh import polygon, sections, triangles
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan import upright
from blender_addon.core.shots import crop_box, focus_bracket, framing, lens_answers, turntable
from blender_addon.core.shots.optics import Optics, focus_for
from blender_addon.core.surface import atlas, colour_card

EACH = settings(
    max_examples=25, derandomize=True, deadline=None, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)  # fmt: skip
FEW = settings(EACH, max_examples=6)
"""For what takes a tenth of a second or more each time."""


def number(low: float, high: float) -> Any:
    return st.floats(low, high, allow_nan=False)


SEEDS = st.integers(0, 1_000_000)
DIRECTIONS = (
    st.tuples(*[number(-1.0, 1.0)] * 3)
    .filter(lambda row: math.hypot(*row) > 0.01)
    .map(lambda row: triangles.unit(np.array(row)))
)


def is_sound(mesh: TriangleMesh, reach: float) -> None:
    """Plain numbers within `reach` of the middle, and faces that name the points there are."""
    assert len(mesh.faces) and np.isfinite(mesh.vertices).all() and np.abs(mesh.vertices).max() <= reach
    assert mesh.faces.min() >= 0 and mesh.faces.max() < len(mesh.vertices)


@FEW
@given(number(200, 2500), number(200, 2000), number(10, 200), number(0, 1), number(15, 400), number(0, 8), SEEDS)
def test_tables(width: float, depth: float, reach: float, wear: float, board: float, gap: float, seed: int) -> None:
    extent = Extent(width, depth, min(reach, 0.4 * min(width, depth)), 2.0, 30.0)
    size = 4.0 * max(width, depth) + 2000.0
    kinds = planks.Planks(width=board, gap=gap, wear=wear)
    for top in (
        planks.planks(extent, kinds, seed=seed), stone.slate(extent, (0.6 * width, 0.6 * depth), wear=wear, seed=seed),
        cloth.cloth(extent, outside=lambda places: np.hypot(*places[:, :2].T) - reach, seed=seed),
        photographed.photo_top(extent),
        round.bat(extent, 0.5 * min(width, depth), seed=seed, wear=wear),
        round.sweep(extent, floor=0.3 * depth, height=300.0, seed=seed),
    ):  # fmt: skip
        is_sound(top.mesh, size)
        assert top.thickness >= 0.0 and top.material
    room = backdrop.workshop_parts(size, seed=seed)
    is_sound(backdrop.assembled(room), 4.0 * size + 8000.0)
    is_sound(backdrop.plain_wall(size), 4.0 * size + 8000.0)
    is_sound(photographed.photo_wall((width, depth), np.array([0.0, 1.0]), size), 4.0 * size)


@EACH
@given(st.sampled_from([key for key, *_ in light_setups.SETUPS]), number(5, 2000), DIRECTIONS, number(-360, 360), st.booleans())
def test_set_ups(name: str, size: float, camera: Any, turn: float, strips: bool) -> None:
    """All lamps lie away from the subject, and light comes from above; turned round, the set-up throws as much."""
    middle = np.array([0.0, 0.0, 0.5 * size])
    set_up = light_setups.make_setup(name, subject=middle, size=size, camera=camera, turn=turn, strips=strips)
    again = light_setups.make_setup(name, subject=middle, size=size, camera=camera, turn=turn + 90.0, strips=strips)
    for lamp in set_up.lamps:
        assert np.isfinite(lamp.centre).all() and np.linalg.norm(lamp.centre - middle) > 0.5 * size and lamp.radiance > 0.0
    total = light_setups.total_light(set_up, middle)
    flux = light_setups.flux(set_up, middle)
    assert total > 0.0 and np.linalg.norm(flux) <= total * 4.0
    assert light_setups.total_light(again, middle) == pytest.approx(total, rel=1e-6)
    assert np.linalg.norm(light_setups.flux(again, middle)) == pytest.approx(np.linalg.norm(flux), rel=1e-6)
    assert 0.0 <= exposure.shade_share(flux, total, camera) <= 1.0
    assert np.linalg.norm(exposure.card_normal(camera, flux)) == pytest.approx(1.0)


@EACH
@given(st.sampled_from(sorted(trades.TRADES)), st.integers(0, 13), st.integers(0, 500), number(5, 300), st.integers(0, 99))
def test_props_are_drawn_once_each_and_none_stands_too_tall(
    key: str, count: int, place: int, tallest: float, deck: int
) -> None:
    trade = trades.trade_of("clay", key)
    names = trades.draw(trade, count, trades.Largest(tallest), place=place, deck=deck)
    assert len(set(names)) == len(names) <= count and {*names} <= {kind.name for kind in trade.props()}
    assert all(
        trades.fits(name, place, trades.Largest(tallest)) and trades.size_of(name, seed=place)[0] <= tallest for name in names
    )
    assert names == trades.draw(trade, count, trades.Largest(tallest), place=place, deck=deck)
    assert trades.works(key) == (trade.debris is not None)


@EACH
@given(number(1e-6, 1e3), number(-20, 20), number(-3, 3))
def test_a_room_is_as_light_as_wished_within_what_its_paint_allows(measured: float, stops: float, wish: float) -> None:
    level = exposure.room_level(measured, stops=stops, wish=wish)
    held = exposure.held_in_series(stops, wish)
    assert held in (stops, wish) and (held == wish) == (abs(stops - wish) <= exposure.HELD or stops == wish)
    assert exposure.ROOM_LEVELS[0] <= level <= exposure.ROOM_LEVELS[1]
    assert exposure.room_level(measured, stops=stops, wish=wish + 0.5) >= level


@EACH
@given(number(10, 300), number(0.02, 3.0), number(1.0, 32.0), number(1.01, 2.0), number(0.005, 0.05), number(0.0, 0.9))
def test_brackets_hold_all_they_are_asked_for(
    focal: float, m: float, fnumber: float, deep: float, coc: float, overlap: float
) -> None:
    optics = Optics(focal, fnumber, focus_for(focal, m))
    near, far = optics.focus_mm, optics.focus_mm * deep
    assume(near > 1.2 * focal)
    try:
        slices = focus_bracket.bracket(optics, near, far, coc, overlap=overlap)
    except ValueError as refusal:  # more slices than anybody takes
        assert "slices would be needed" in str(refusal)
        return
    assert (np.diff(slices.focus_mm) > 0).all() and focus_bracket.reach(optics, coc) > 0.0
    assert focus_bracket.gap(slices, near, far) <= 1e-6 * far
    sharp = focus_bracket.blur_px(optics, optics.focus_mm, np.array([optics.focus_mm, far]), px_per_mm=100.0)
    assert sharp[0] == pytest.approx(0.0, abs=1e-6) and sharp[1] >= 0.0
    moved = lens_answers.at_focal_length(optics, 2.0 * focal).optics
    assert moved.magnification == pytest.approx(optics.magnification, rel=1e-6) and moved.focal_mm == pytest.approx(2.0 * focal)


@EACH
@given(number(-180, 180), number(-80, 89), number(20, 200), number(0.05, 2.0), DIRECTIONS, number(0.2, 5.0))
def test_a_spot_in_focus_lies_in_the_middle_and_its_box_is_found(
    azimuth: float, tilt: float, focal: float, m: float, spot: Any, aspect: float
) -> None:
    pose = framing.pose_at(40.0 * spot, rotation=framing.look(azimuth, tilt), focal_mm=focal, m=m)
    slopes, depth = framing.project(40.0 * spot[None], pose.position, pose.rotation)
    assert np.abs(slopes).max() < 1e-9 and depth[0] == pytest.approx(pose.focus_mm)
    optics = Optics(focal, 8.0, pose.focus_mm)
    across, up = framing.half_slopes(optics, (36.0, 24.0))
    assert across / up == pytest.approx(1.5) and across > 0.0
    whole = crop_box.box_shot(pose, optics, (36.0, 24.0), aspect, (0.0, 0.0, 1.0, 1.0))
    assert np.abs(whole.focus - 40.0 * spot).max() < 1e-6 * pose.focus_mm
    seen, looked, far = crop_box.seen_from(pose.position, 40.0 * spot)
    assert far == pytest.approx(pose.focus_mm) and looked == pytest.approx(tilt, abs=1e-5)
    assert abs((seen - azimuth + 180.0) % 360.0 - 180.0) < 1e-4
    wide, high = crop_box.shape_of(aspect)
    assert wide > 0 and high > 0 and wide / high == pytest.approx(aspect, rel=0.05)


@EACH
@given(st.integers(2, 500), st.sampled_from(["steady", "eased"]), st.sampled_from([1.0, -1.0]), SEEDS)
def test_a_turn_begins_and_ends_at_one_angle(frames: int, pace: str, turns: float, seed: int) -> None:
    at = [turntable.angle_at(frame, frames, pace=pace, turns=turns) for frame in (0, frames)]
    assert at[0] == 0.0 and at[1] == pytest.approx(turns * 2.0 * math.pi)
    assert turntable.angles(frames, pace=pace, turns=turns)[-1] == pytest.approx(
        turntable.angle_at(frames - 1, frames, pace=pace, turns=turns)
    )
    cloud = np.random.default_rng(seed).normal(size=(60, 3))
    solid = framing.swept(cloud)
    widest = np.hypot(*cloud[:, :2].T).max()
    assert np.hypot(*solid[:, :2].T).max() <= widest / math.cos(math.pi / 48.0) * (1.0 + 1e-9)  # a ring's 48 sides lie outside


@EACH
@given(st.lists(st.tuples(st.integers(1, 9000), st.integers(1, 9000)), min_size=1, max_size=9), SEEDS)
def test_pictures_of_an_atlas_lie_apart_and_every_face_in_its_own(sizes: list[tuple[int, int]], seed: int) -> None:
    layout = atlas.packed(sizes)
    assert len(layout.cells) == len(sizes) and max(layout.width, layout.height) <= atlas.ATLAS.largest
    for number_, cell in enumerate(layout.cells):
        assert cell.column >= 0 and cell.row >= 0
        assert cell.column + cell.width <= layout.width and cell.row + cell.height <= layout.height
        for other in layout.cells[:number_]:
            assert (
                cell.column + cell.width <= other.column or other.column + other.width <= cell.column
                or cell.row + cell.height <= other.row or other.row + other.height <= cell.row
            )  # fmt: skip
    random = np.random.default_rng(seed)
    which = random.integers(0, len(sizes), 20)
    uv = atlas.moved_uv(random.normal(0.5, 2.0, (20, 1, 2)) + random.normal(0.0, 0.1, (20, 3, 2)), which, layout)
    assert (uv >= 0.0).all() and (uv <= 1.0).all() and np.isfinite(uv).all()


@EACH
@given(SEEDS, number(-1.0, 1.0), number(0.02, 2.0))
def test_lines_on_a_mesh_lie_at_their_level(seed: int, level: float, spacing: float) -> None:
    random = np.random.default_rng(seed)
    points, faces = random.normal(size=(12, 3)), random.integers(0, 12, (20, 3))
    faces = faces[(np.diff(np.sort(faces, axis=1), axis=1) > 0).all(axis=1)]
    found = sections.level_lines(points, faces, points[:, 2], level)
    assert np.abs(found[..., 2] - level).max(initial=0.0) < 1e-9
    kept = sections.clipped_lines(found, np.array([1.0, 0.0, 0.0]), -0.5, 0.5)
    assert np.abs(kept[..., 0]).max(initial=0.0) <= 0.5 + 1e-9 and len(kept) <= len(found)
    axes = np.eye(3)
    hatched = sections.hatching(points, faces, axis=axes[2], across=axes[0], depths=(-0.5, 0.5), spacing=spacing)
    assert np.abs(hatched[..., 2]).max(initial=0.0) <= 0.5 + 1e-9
    normal = polygon.vector_area(points)
    assert np.allclose(polygon.vector_area(points[::-1]), -normal)
    angles = triangles.corner_angles(points, faces)
    assert np.allclose(angles.sum(axis=1), math.pi, atol=1e-6)
    crosses = triangles.face_crosses(points, faces)
    assert np.allclose(triangles.gathered(crosses, faces, 12).sum(axis=0), 3.0 * crosses.sum(axis=0))
    outline = upright.footprint(points, level)
    if len(outline) > 2:
        long, short = upright.rectangle_sides(outline)
        assert long >= short >= 0.0 and upright.round_base(outline)[0] > 0.0


@EACH
@given(st.lists(number(-1e3, 1e3), min_size=1, max_size=30), number(0.01, 10.0), number(-50.0, 50.0), number(-3.0, 3.0))
def test_spread_follows_scale_and_not_place(values: list[float], scale: float, shift: float, distance: float) -> None:
    row = np.array(values)
    spread = statistics.robust_deviation(row)
    assert spread >= 0.0 and statistics.robust_deviation(scale * row + shift) == pytest.approx(
        scale * spread, abs=1e-9, rel=1e-9
    )
    weights = resampling.cubic(distance + np.arange(-6.0, 7.0), 1 / 3, 1 / 3)
    if abs(distance) < 3.0:
        assert weights.sum() == pytest.approx(1.0)  # Mitchell and Netravali 1988: the filters keep an even ground even
    assert (
        cost.memory_bytes(10) <= cost.memory_bytes(1000) and cost.in_words(abs(shift) * 1e3) and cost.size_in_words(len(values))
    )


@EACH
@given(st.integers(1, 9), st.integers(1, 9), SEEDS)
def test_rasters_are_read_between_what_they_hold(height: int, width: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    raster = random.random((height, width))
    x, y = random.uniform(-3.0, width + 2.0, 30), random.uniform(-3.0, height + 2.0, 30)
    read = rasters.bilinear(raster, x, y)
    assert (read >= raster.min() - 1e-9).all() and (read <= raster.max() + 1e-9).all()
    picture = random.random((height, width, 3))
    seen = rasters.colours_at(picture, random.normal(0.0, 3.0, (30, 2)))
    assert {tuple(row) for row in seen.tolist()} <= {tuple(row) for row in picture.reshape(-1, 3).tolist()}
    rows, columns = rasters.nearest_pixel(random.random((30, 2)), (height, width))
    assert rows.min() >= 0 and rows.max() < height and columns.min() >= 0 and columns.max() < width
    places = random.integers(-3, 4, (30, 2)) + random.uniform(0.01, 0.99, (30, 2))
    home = rasters.repeated_pixel(places, (height, width))
    assert np.array_equal(home, rasters.repeated_pixel(places + 2.0, (height, width)))
    assert rasters.resized(raster, (height, width)) == pytest.approx(raster, abs=1e-6)
    ramp = np.add.outer(np.arange(height), 2.0 * np.arange(width))
    across, up = (np.clip((np.arange(side) + 0.5) / 3 - 0.5, 0, side // 3 - 1) for side in (3 * width, 3 * height))
    assert rasters.resized(ramp, (3 * height, 3 * width)) == pytest.approx(np.add.outer(up, 2.0 * across), abs=1e-4)


@EACH
@given(SEEDS, st.binary(max_size=400), st.integers(0, 9))
def test_cards_profiles_and_what_a_camera_wrote(seed: int, data: bytes, held: int) -> None:
    random = np.random.default_rng(seed)
    corners = np.array([[0.0, 0.0], [90.0, 0.0], [90.0, 60.0], [0.0, 60.0]]) + random.uniform(-15.0, 15.0, (4, 2))
    found = colour_card.homography(corners)
    places = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]]) @ found.T
    assert np.allclose(places[:, :2] / places[:, 2:], corners, atol=1e-6)
    for gamut in icc.GAMUTS.values():
        assert icc.profile(gamut)[36:40] == b"acsp"  # ICC.1:2022, 7.2.12: the profile file signature
        assert np.allclose(icc.between(gamut, gamut), np.eye(3))
    exif.read_exif(b"\xff\xd8\xff\xe1" + len(data).to_bytes(2, "big") + b"Exif\0\0II*\0" + data)  # any bytes: fields or none
    turned = exif.as_held(random.random((3, 5)), held)
    assert sorted(turned.shape) == [3, 5]
