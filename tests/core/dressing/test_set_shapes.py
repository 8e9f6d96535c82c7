"""Tabletops, props and debris as shapes: true sizes, closed where they should be, nothing standing on edge."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from blender_addon.core.dressing.debris.layout import MIXES, Amounts, Ground, Share, lay_out, work_density
from blender_addon.core.dressing.debris.pieces import BODIES, library
from blender_addon.core.dressing.props import digest, kinds, make_prop
from blender_addon.core.dressing.tabletops.backdrop import assembled, workshop_parts
from blender_addon.core.dressing.tabletops.cloth import cloth
from blender_addon.core.dressing.tabletops.grid import Extent, lines
from blender_addon.core.dressing.tabletops.planks import Planks, planks
from blender_addon.core.dressing.tabletops.round import bat, sweep
from blender_addon.core.dressing.tabletops.stone import slate
from blender_addon.core.dressing.trades import TRADES, Largest, debris_of, draw, size_of, trade_of
from blender_addon.core.mesh.triangles import face_areas, face_normals, signed_volume
from blender_addon.core.noise import noise

SMALL = Extent(width=420.0, depth=300.0, reach=45.0, fine=1.2, coarse=10.0)


def away(xy: np.ndarray) -> np.ndarray:
    return np.maximum(np.linalg.norm(np.asarray(xy)[:, :2], axis=1) - 25.0, 0.0)


TOPS = {
    "planks": lambda seed: planks(SMALL, Planks(), seed=seed), "slate": lambda seed: slate(SMALL, (260.0, 200.0), seed=seed),
    "cloth": lambda seed: cloth(SMALL, outside=away, seed=seed), "bat": lambda seed: bat(SMALL, 230.0, seed=seed),
    "sweep": lambda seed: sweep(SMALL, floor=300.0, height=300.0, seed=seed),
}  # fmt: skip


@pytest.mark.parametrize("kind", TOPS)
def test_a_top_looks_up_and_changes_with_the_seed(kind: str) -> None:
    first, same, other = TOPS[kind](1), TOPS[kind](1), TOPS[kind](2)
    assert np.array_equal(first.mesh.vertices, same.mesh.vertices)
    assert first.mesh.vertices.shape != other.mesh.vertices.shape or not np.allclose(first.mesh.vertices, other.mesh.vertices)
    middle = np.linalg.norm(first.mesh.vertices[first.mesh.faces].mean(axis=1)[:, :2], axis=1) < 60
    up = face_normals(first.mesh.vertices, first.mesh.faces)[middle]
    assert (up[:, 2] > 0).mean() > 0.98  # the bat's rim has nicks
    assert np.isfinite(first.mesh.vertices).all() and all(np.isfinite(values).all() for values in first.mesh.colours.values())


def test_planks_have_gaps_of_true_depth_uneven_boards_and_grain_that_follows_them() -> None:
    top = planks(SMALL, Planks(gap=1.0), seed=3)
    assert top.mesh.vertices[:, 2].min() < -30.0  # the apron
    surface = top.mesh.vertices[top.mesh.vertices[:, 2] > -20.0]
    assert (surface[:, 2] < -3.0).sum() > 100  # gaps are cut, not painted
    tones = np.unique(top.mesh.colours["wood_board"][:, 0].round(6))
    assert len(tones) >= 4 and np.ptp(tones) > 0.2  # boards differ
    widths = np.diff(np.sort(np.unique(surface[surface[:, 2] < -3.0][:, 1].round(0))))
    assert np.ptp(widths[widths > 20.0]) > 4.0  # no even stripes


def test_cloth_is_flat_where_the_subject_stands_and_folded_elsewhere() -> None:
    top = cloth(SMALL, outside=away, height=10.0, seed=2)
    points = top.mesh.vertices[top.mesh.vertices[:, 2] > -20]
    under = np.linalg.norm(points[:, :2], axis=1) < 25
    assert np.abs(points[under, 2]).max() < 0.05
    assert points[~under, 2].max() > 3.0


def test_lines_hold_the_places_asked_for_and_are_fine_in_the_middle() -> None:
    places = lines(-200, 150, reach=40, fine=1.0, coarse=8.0, extra=[3.3, -77.1])
    assert {3.3, -77.1, -200.0, 150.0} <= set(places.tolist()) and (np.diff(places) > 0).all()
    assert np.diff(places[np.abs(places) < 38]).max() <= 1.6 and np.diff(places).max() <= 9.6


def test_the_room_is_behind_all_and_hides_nothing() -> None:
    points = assembled(workshop_parts(1350.0, seed=2)).vertices
    assert np.linalg.norm(points[:, :2], ord=np.inf, axis=1).min() > 700.0  # half a bench and room behind it
    assert points[:, 2].min() < -700.0


def test_of_the_room_only_loose_things_can_be_taken_away() -> None:
    taken: list[float] = []

    def away(points: np.ndarray) -> bool:
        taken.append(float(np.ptp(points, axis=0).max()))
        return True

    room = workshop_parts(1350.0, seed=2)
    full, bare = assembled(room), assembled(room, away=away)
    assert len(taken) > 10 and max(taken) < 330.0
    assert len(bare.faces) < len(full.faces)
    assert np.ptp(bare.vertices[:, 2]) == pytest.approx(np.ptp(full.vertices[:, 2]))


@pytest.mark.parametrize("name", kinds())
def test_props_are_of_hand_size_stand_on_zero_and_differ_by_seed(name: str) -> None:
    first, other = make_prop(name, seed=1), make_prop(name, seed=2)
    points = first.mesh.vertices
    assert np.isfinite(points).all() and points[:, 2].min() == pytest.approx(0.0, abs=1e-9)
    assert (
        20.0 < 2 * first.radius < 260.0
    )  # offcuts and pellets are the smallest (`test_prop_sizes.py`) and np.ptp(points[:, 2]) < 100.0
    assert first.mesh.material is not None and first.mesh.material.max() + 1 == len(first.materials)
    if name not in ("rule", "scale card"):  # measures are all alike
        assert points.shape != other.mesh.vertices.shape or not np.allclose(points, other.mesh.vertices)


@pytest.mark.parametrize("key", TRADES)
def test_a_bench_draws_from_its_trade_and_nothing_outgrows_the_piece(key: str) -> None:
    """In a series of twelve no prop lies in more than four pictures, at a third of the trade's props a picture."""
    trade = TRADES[key]
    own = {kind.name for kind in trade.props()}
    assert len(own) >= 8
    count = min(4, len(own) // 3)
    dealt = [draw(trade, count, Largest(100.0), place=place) for place in range(1, 13)]
    assert all(len(set(names)) == count and set(names) <= own for names in dealt)
    shown = Counter(name for names in dealt for name in names)
    assert max(shown.values()) <= 4 and len(shown) >= 7
    low = [draw(trade, count, Largest(30.0), place=place) for place in range(1, 13)]
    assert all(size_of(name, seed=place)[0] <= 30.0 for place, names in enumerate(low, 1) for name in names)


def test_only_material_that_is_still_worked_leaves_debris() -> None:
    assert debris_of("clay", "dry") == "clay" and debris_of("wood") == "wood"
    assert all(debris_of(kind, state) is None for kind, state in (
        ("clay", "fired"), ("glaze", ""), ("bronze", ""), ("own", ""), ("plaster", ""), ("wax", "")))  # fmt: skip
    assert trade_of("bronze").key == "founder" and trade_of("bronze", "carver").key == "carver"


def test_a_new_prop_moves_no_other() -> None:
    """A prop is drawn from the digest of its own name, not from its place in a list (first corner of one individual)."""
    first = make_prop("rib", seed=3).mesh.vertices[0]
    again = kinds()["rib"].make(np.random.default_rng([3, digest("rib"), 401])).mesh.vertices[0]
    assert np.array_equal(first, again)


@pytest.mark.parametrize("body", BODIES)
def test_pieces_are_closed_lie_low_and_have_true_thickness(body: str) -> None:
    """Thickness of planed wood 0.10 to 0.22 mm: Ugulino & Hernandez 2017 (abstract); powder under 1 mm: from memory."""
    for piece in library(body, seed=3, variants=4):
        assert signed_volume(piece.mesh.vertices, piece.mesh.faces) > 0
        assert np.linalg.norm(piece.mesh.vertices[:, :2], axis=1).max() <= piece.radius + 1e-9
        assert piece.base[:, 2].max() <= max(0.06 * piece.height, 0.15 * piece.thickness) + 1e-9
        if piece.kind != "shaving":  # a curl may be as high as it is wide; all else lies on its broad side
            assert piece.height < 2.0 * piece.radius
        if (body, piece.kind) == ("wood", "shaving"):
            assert 0.10 <= piece.thickness <= 0.22
        if piece.kind == "grain":
            assert piece.radius < 0.5


def test_an_unknown_body_is_refused() -> None:
    with pytest.raises(ValueError, match="cheese"):
        library("cheese")


def test_layout_keeps_clear_and_never_overlaps() -> None:
    n = 60
    x, y = np.meshgrid(np.linspace(-80, 80, n), np.linspace(-80, 80, n))
    vertices = np.stack([x, y, 0.3 * noise(x / 14, y / 14, seed=3)], -1).reshape(-1, 3)
    place = np.arange(n * n).reshape(n, n)
    a, b, c, d = place[:-1, :-1], place[:-1, 1:], place[1:, 1:], place[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    pieces = library("clay", seed=1)
    ground = Ground(
        vertices, faces, work_density(away, falloff=30.0, drift=0.7, seed=2),
        lambda places, radii, tall: away(places) < radii + 1.0,
    )  # fmt: skip
    laid = lay_out(ground, pieces, Amounts(MIXES["clay"], 400, grains=500), seed=5)
    assert len(laid) == 900
    radii = np.array([pieces[k].radius for k in laid.piece]) * laid.sizes
    gap = np.linalg.norm(laid.places[:, None, :2] - laid.places[None, :, :2], axis=2)
    np.fill_diagonal(gap, np.inf)
    assert (gap >= radii[:, None] + radii[None] + 0.15 - 1e-9).all()
    assert (away(laid.places) >= radii + 1.0 - 1e-9).all()
    kinds = [pieces[k].kind for k in laid.piece]
    assert kinds.count("grain") == 500 and 4 <= kinds.count("shaving") <= 12 and kinds.count("crumb") > 300
    assert np.allclose(np.einsum("nij,nkj->nik", laid.turns, laid.turns), np.eye(3), atol=1e-9)
    assert (laid.turns[:, 2, 2] > 0.75).all()  # flat side down
    crumbs = np.sort(radii[[kind == "crumb" for kind in kinds]])
    assert crumbs[-1] > 2.2 * np.median(crumbs)  # heavy tail: few large, many small


def test_a_full_place_gives_fewer_and_an_empty_mix_none() -> None:
    vertices = np.array([[0.0, 0, 0], [6, 0, 0], [6, 6, 0], [0, 6, 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    everywhere = lambda points: np.ones(len(points))  # noqa: E731
    free = lambda places, radii, tall: np.zeros(len(places), bool)  # noqa: E731
    ground = Ground(vertices, faces, everywhere, free)
    few = lay_out(ground, library("clay"), Amounts([Share("offcut", 1.0, 0.9, 1.0, 1.1)], 200))
    assert 0 < len(few) < 20
    assert len(lay_out(ground, library("clay"), Amounts([], 0))) == 0


@pytest.mark.parametrize("seed", range(4))
def test_a_shaving_of_clay_lies_like_a_bridge_or_a_roll_and_does_not_stand_on_its_back(seed: int) -> None:
    """A boat with its ends in the air has its middle under two fifths of its height, a ring half way up, a bridge above."""
    for piece in library("clay", seed=seed):
        if piece.kind == "shaving":
            area = face_areas(piece.mesh.vertices, piece.mesh.faces)
            middle = area @ piece.mesh.vertices[piece.mesh.faces].mean(axis=1)[:, 2] / area.sum()
            assert middle > 0.4 * piece.height, (piece.height, middle)


@pytest.mark.parametrize("seed", range(12))
def test_nothing_in_the_room_hangs_in_the_air(seed: int) -> None:
    """The middle of each pot's foot lies over the top of a shelf, a sill or the low bench, within its rounded edge."""
    room = workshop_parts(1350.0, seed=seed)
    shift = np.array([240.0, -160.0])
    moved = [part.moved(shift).vertices for part in room.fixed]
    tops = [(points.min(axis=0), points.max(axis=0)) for points in moved]
    assert room.loose
    for pot in room.loose:
        points = pot.moved(shift).vertices
        low = float(points[:, 2].min())
        foot = points[points[:, 2] < low + 1.0].mean(axis=0)[:2]
        over = [top[2] for least, top in tops if (least[:2] < foot).all() and (foot < top[:2]).all()]
        assert min(abs(height - low) for height in over) < 1.0  # a shelf's edge is rounded by 2 mm


@pytest.mark.parametrize("shift", [(240.0, -160.0), (-360.0, 0.0), (90.0, 160.0)])
def test_no_pot_is_moved_into_a_wall(shift: tuple[float, float]) -> None:
    """Half a pot that comes out of a wall seems to float: what cannot stand whole is left out, and little is."""
    seen: list[np.ndarray] = []
    room = workshop_parts(1350.0, seed=2)
    shifts = {wall: np.array(shift) for wall in range(4)}
    assembled(room, shifts=shifts, away=lambda points: bool(seen.append(points)))
    assert len(seen) > 0.7 * len(room.loose)
    assert max(np.abs(points[:, :2]).max() for points in seen) < 1350.0
