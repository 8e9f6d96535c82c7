"""Is what stands far behind kept clear of the subject's head, in every shot, whatever the piece and the frame?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.dressing.background import Hides, Hung, _costs, _Head, box_edges, quiet_arrangement
from blender_addon.core.dressing.tabletops.backdrop import CORNER, assembled, plain_wall, workshop_parts
from blender_addon.core.dressing.tangency import outline_in_frame
from blender_addon.core.mesh.similarity import rotation_about
from blender_addon.core.mesh.solids import moved, rounded_rectangle, slab
from blender_addon.core.shots.framing import look
from blender_addon.core.shots.sight import ShotView, convex_outline, project


def edges_at_head(thing: Hung, view: ShotView, hides: Hides | None = None) -> float:
    """1 where an edge of a thing meets the subject's head in a shot as it hangs, less where it meets what is below, else 0."""
    head = _Head.of(view)
    return 0.0 if head is None else float(_costs(thing, np.zeros((1, 2)), [head], hides)[0])


LEVEL = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def _view(points: np.ndarray, place: tuple, rotation: np.ndarray, *, half: tuple = (0.3, 0.2), kind: str = "hero") -> ShotView:
    """A shot of points from a place, focused on the origin's distance."""
    at = np.array(place, float)
    slopes, depth = project(points, at, rotation)
    view = ShotView(kind, kind, at, rotation, half, float(np.linalg.norm(at)), 0.0, 1e4, 5.0, convex_outline(slopes),
                    float(depth.min()), float(depth.max()))  # fmt: skip
    return replace(view, outlines=(outline_in_frame(points, view),))


def _block(low: tuple, high: tuple) -> np.ndarray:
    """Points all over a block, mm."""
    return np.random.default_rng(1).uniform(low, high, (20_000, 3))


def _hung(mesh: object, ways: np.ndarray) -> Hung:
    return Hung(*box_edges(mesh), ways)


def _box(low: tuple, high: tuple) -> object:
    size, middle = np.subtract(high, low).astype(float), 0.5 * np.add(high, low)
    return moved(
        slab(rounded_rectangle(size[0], size[1], 3.0, 3), size[2], rounding=2.0), np.eye(3), middle - [0, 0, size[2] / 2]
    )


HERO = _view(_block((-20, -20, 0), (20, 20, 80)), (0.0, -400.0, 40.0), LEVEL)


def test_a_board_and_a_shelf_are_moved_away_from_a_head() -> None:
    board = _hung(_box((0.0, 1300.0, -700.0), (40.0, 1320.0, 900.0)), np.array([[1.0, 0.0, 0.0]]))
    assert edges_at_head(board, HERO) == 1.0
    shift, kept = quiet_arrangement([board], [HERO])
    assert 60.0 <= abs(shift[0]) < 400.0 and kept == [True]
    aside = Hung(board.ends + [shift[0], 0.0, 0.0], board.normals, board.ways)  # it stands on the floor: it is not lifted
    assert edges_at_head(aside, HERO) == 0.0
    shelf = _hung(_box((-600.0, 1300.0, 130.0), (600.0, 1500.0, 160.0)), np.eye(3)[[0, 2]])
    assert edges_at_head(shelf, HERO) == 1.0
    shift, kept = quiet_arrangement([shelf], [HERO])  # as long as the wall: it can only be hung higher or lower
    assert shift[1] != 0.0 and kept == [True]


def test_the_front_edge_of_a_shelf_seen_from_above_counts_though_the_shelf_reaches_farther() -> None:
    """Its outline, from the back of its top to the front of its foot, is clear of the head; the edge between them is not."""
    points = _block((-20, -20, 0), (20, 20, 80))
    view = _view(points, (0.0, -400.0, 160.0), look(0.0, 15.0))
    shelf = _hung(_box((-900.0, 900.0, -157.0), (900.0, 2300.0, -133.0)), np.eye(3)[[0, 2]])
    heights = np.unique(np.round(project(shelf.ends.reshape(-1, 3), view.position, view.rotation)[0][:, 1], 3))
    top = project(points, view.position, view.rotation)[0][:, 1].max()
    assert heights.max() > top + 0.03  # the farther edges lie above the head
    assert edges_at_head(shelf, view) == 1.0


def test_what_no_shift_clears_is_left_out() -> None:
    """Rods 25 mm apart behind the head, all the wall high: wherever they stand one of them meets it."""
    ways = np.array([[1.0, 0.0, 0.0]])
    rods = [_box((x, 1300.0, -700.0), (x + 10.0, 1310.0, 900.0)) for x in np.arange(-600.0, 600.0, 25.0)]
    ends, normals = zip(*(box_edges(rod) for rod in rods), strict=True)
    fence = Hung(np.concatenate(ends), np.concatenate(normals), ways)
    post = _hung(_box((300.0, 1300.0, -700.0), (320.0, 1310.0, 900.0)), ways)
    assert quiet_arrangement([fence, post], [HERO])[1] == [False, True]


def test_in_a_close_look_the_whole_outline_is_the_head() -> None:
    low = _hung(_box((-600.0, 1300.0, -90.0), (600.0, 1320.0, -60.0)), np.eye(3)[[0, 2]])
    assert 0.0 < edges_at_head(low, HERO) < 1.0
    assert edges_at_head(low, replace(HERO, kind="detail")) == 1.0


def test_what_the_table_hides_or_the_blur_takes_away_meets_nothing() -> None:
    shelf = _hung(_box((-600.0, 1300.0, 130.0), (600.0, 1500.0, 160.0)), np.eye(3)[[0, 2]])
    assert edges_at_head(shelf, HERO, hides=lambda lens, points: np.ones(len(points), bool)) == 0.0
    assert edges_at_head(shelf, replace(HERO, aperture_mm=200.0)) == 0.0
    turning = replace(HERO, kind="turntable")
    assert quiet_arrangement([shelf], [turning])[0] == pytest.approx([0.0, 0.0])


def test_a_long_thing_that_begins_beside_the_camera_counts_where_it_is_behind() -> None:
    rail = _hung(_box((65.0, -900.0, 130.0), (95.0, 1300.0, 160.0)), np.eye(3)[[0, 2]])
    far = _hung(_box((65.0, 900.0, 130.0), (95.0, 1300.0, 160.0)), np.eye(3)[[0, 2]])
    assert edges_at_head(rail, HERO) == edges_at_head(far, HERO) == 1.0


def test_the_edges_of_a_turned_box_are_found() -> None:
    """12 of the right lengths, each between two sides at right angles that face away from the middle."""
    turn = rotation_about("x", 0.3) @ rotation_about("z", 0.4)
    mesh = moved(_box((-50, -10, -200), (50, 10, 200)), turn, [3.0, 4.0, 5.0])
    ends, normals = box_edges(mesh)
    long = np.sort(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1))
    assert long == pytest.approx([20.0] * 4 + [100.0] * 4 + [400.0] * 4, abs=0.5)  # the rounding has no corner at the ends
    assert np.abs(np.einsum("nc,nc->n", normals[:, 0], normals[:, 1])).max() < 1e-9
    out = ends.mean(axis=1) - [3.0, 4.0, 5.0]
    assert (np.einsum("nc,nsc->ns", out, normals) > 5.0).all()


@pytest.mark.parametrize("seed", range(8))
def test_no_edge_of_the_room_is_at_a_head_whatever_the_piece_and_the_frame(seed: int) -> None:
    """Pieces of any proportions, heroes from anywhere, and close looks at their heads: measured anew on what was kept."""
    rng = np.random.default_rng(seed)
    size = float(np.exp(rng.uniform(np.log(20), np.log(400))))
    wide, deep, high = size * np.exp(rng.normal(0.0, 0.5, 3))
    body = _block((-wide / 2, -deep / 2, 0), (wide / 2, deep / 2, 0.7 * high))
    head = _block((-wide / 6, -deep / 6, 0.7 * high), (wide / 6, deep / 6, high))
    points, views = np.concatenate([body, head]), []
    aspect = float(rng.choice([1.5, 1.0, 0.67]))
    for kind, zoom, target in (("hero", 1.0, 0.5), ("view", 1.0, 0.5), ("detail", 3.0, 0.85)):
        rotation = look(float(rng.uniform(-180, 180)), float(rng.uniform(0, 30)))
        half = (0.19, 0.19 / aspect) if aspect >= 1.0 else (0.19 * aspect, 0.19)
        away = max(0.6 * wide / half[0], 0.6 * high / half[1]) / zoom + max(wide, deep)
        views.append(_view(points, tuple([0, 0, target * high] + rotation[:, 2] * away), rotation, half=half, kind=kind))
    half_room = max(1350.0, 1.5 * max(float(np.abs(view.position).max()) for view in views))
    room = workshop_parts(half_room, seed=seed, scale=half_room / 1350.0)
    for wall in range(4):
        hung = room.hung(wall)
        shift, kept = quiet_arrangement(list(hung.values()), views, scale=half_room / 1350.0)
        for thing, stays in zip(hung.values(), kept, strict=True):
            here = Hung(thing.ends + shift[: len(thing.ways)] @ thing.ways, thing.normals, thing.ways)
            assert not stays or max(edges_at_head(here, view) for view in views) < 1.0


def test_a_group_that_is_left_out_takes_along_what_stands_on_it() -> None:
    room = workshop_parts(1350.0, seed=2)
    group = room.loose[0].group
    pots = sum(len(part.mesh.faces) for part in (*room.loose, *room.fixed) if part.group == group)
    assert len(assembled(room).faces) - len(assembled(room, without=[group]).faces) == pytest.approx(pots, abs=0.2 * pots)


def test_the_walls_have_no_edge_between_them() -> None:
    """From wall to wall the normal turns in steps of at most 10 degrees, which smooth shading hides; all face the table."""
    mesh = plain_wall(1000.0)
    corners = mesh.vertices[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    upright = normals[np.abs(normals[:, 2]) < 1e-6]
    middles = corners.mean(axis=1)[np.abs(normals[:, 2]) < 1e-6]
    assert (np.einsum("nc,nc->n", upright[:, :2], middles[:, :2]) < 0.0).all()
    angles = np.sort(np.degrees(np.arctan2(upright[:, 1], upright[:, 0])))
    assert np.diff(np.unique(np.round(angles, 3))).max() < 10.0
    assert np.hypot(*np.abs(mesh.vertices[:, :2]).T).max() < 1.42 * 1000.0 and 0.0 < CORNER < 0.5
