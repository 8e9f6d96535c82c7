"""Is the stand distinguished from the piece, by creases, colour or paint, and left on when there is none?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.cut import FILLED, closed, cut
from blender_addon.core.mesh.face_graph import FaceGraph, cheapest_border
from blender_addon.core.mesh.topology import submesh
from blender_addon.core.mesh.triangles import TriangleMesh, edges, face_areas, vertex_normals
from blender_addon.core.scan.separation import POSSIBLE, SURE, find_stand, leftover
from blender_addon.core.scan.stand_border import without_toes
from scripts.truth.modelling.fields import ellipsoid, with_limb
from scripts.truth.pieces import stands
from scripts.truth.pieces.footings import footing
from scripts.truth.pieces.stands import meshed, subjects
from tests.scan_shapes import box


def scanned(name: str, step: float = 1.2) -> tuple[TriangleMesh, Any, Any]:
    """A subject with noise, its faces' colour, and which faces are the piece's."""
    subject = subjects()[name]
    vertices, faces = meshed(subject.whole, step)
    noise = vertex_normals(vertices, faces) * np.random.default_rng(1).normal(0.0, 0.04, (len(vertices), 1))
    middle = vertices[faces].mean(axis=1)
    floor = [0.0, 0.0, vertices[:, 2].min()]
    return TriangleMesh(vertices + noise - floor, faces), subject.paint(middle), subject.is_piece(middle)


def overlap(mesh: TriangleMesh, stand: Any, piece: Any) -> float:
    area = face_areas(np.asarray(mesh.vertices), mesh.faces)
    return float(area[~stand & piece].sum() / area[~stand | piece].sum())


@pytest.mark.parametrize("name", ["slab", "broken", "disc", "plinth", "stone"])
def test_stand_is_found_with_colour(name: str) -> None:
    """At least 95 % of the piece's area, as asked of made-up shapes; level tops, a tilted one and a stone without one."""
    mesh, colour, piece = scanned(name)
    found = find_stand(mesh, colour=colour)
    assert found.field is not None, found.reason
    assert overlap(mesh, found.stand, piece) >= 0.95


def test_a_foot_on_a_rough_stone_keeps_its_colour() -> None:
    """Colours without grain, as vertex colours are; the foot that stands low on the stone's flank is 2.6 % of the piece."""
    subject = subjects()["stone"]
    mesh, _, piece = scanned("stone", 0.9)
    smooth = subject.paint(np.asarray(meshed(subject.whole, 0.9)[0]))[mesh.faces].mean(axis=1)
    assert overlap(mesh, find_stand(mesh, colour=smooth).stand, piece) >= 0.985


def test_a_stand_of_two_steps_comes_off_whole() -> None:
    """The lower step has the larger level top, and a crease round it; colour says that the upper one is stone as well.

    95 % of the piece's area, as asked of made-up shapes; 61 % where the lower top is taken for the only one.
    """

    def steps(points: Any) -> Any:
        lower = stands.box(points, (0, 0, 4), (34, 24, 4), 0.8)
        return stands.joined(lower, stands.box(points, (-5, 3, 11), (22, 17, 4), 0.8), 0.6)

    def whole(points: Any) -> Any:
        return stands.figure_on(steps, points, top=14.4, height=50.0)

    vertices, faces = meshed(whole, 1.2)
    middle = vertices[faces].mean(axis=1)
    stone = np.abs(steps(middle)) < 0.25
    colour = np.where(stone[:, None], stands.STONE(middle), stands.CLAY)
    mesh = TriangleMesh(vertices - [0.0, 0.0, vertices[:, 2].min()], faces)
    assert overlap(mesh, find_stand(mesh, colour=colour).stand, ~stone) >= 0.95


def test_toes_that_lie_along_the_top_stay_with_the_piece() -> None:
    """A line that cuts across a bird's toes, since that is shorter than the way round them, is led round: 0.9 of the area of
    what is over 0.5 mm high comes back, and of the level top 0.01 at most goes with it, which is the fillet beside a toe."""
    ankles = np.array([[-12.0, 0.0], [12.0, 0.0]])
    toes = [
        [(x, 0, 16), (x, 0, 9.0), (x + side, -y, 8.8)] for x, _ in ankles for side, y in ((-8, 9), (0, 13), (8, 9), (0, -11))
    ]

    def bird(points: Any) -> Any:
        body = ellipsoid(points, (0, 2, 34), (15, 17, 20))
        for toe in toes:
            body = with_limb(points, body, toe, [3.0, 1.7, 1.2], fillet=1.0)
        return body

    def plate(points: Any) -> Any:
        return stands.box(points, (0, 0, 4), (36, 26, 4), 0.8)

    vertices, faces = meshed(lambda points: stands.joined(bird(points), plate(points), 0.4), 0.8)
    noise = vertex_normals(vertices, faces) * np.random.default_rng(1).normal(0.0, 0.04, (len(vertices), 1))
    mesh = TriangleMesh(vertices + noise, faces)
    graph = FaceGraph.of(mesh)
    middle, height = graph.centre, float(np.ptp(vertices[:, 2]))
    mine = (bird(middle) < plate(middle)) & (middle[:, 2] > 8.5)
    away = np.linalg.norm(middle[:, None, :2] - ankles, axis=2).min(axis=1)
    across = ~mine | ((away > 4.0) & (middle[:, 2] < 12.0))
    assert graph.area[mine & across].sum() > 0.03 * graph.area[mine].sum()
    stand = without_toes(graph, graph.smoothed_normals(0.6), across, height)
    assert graph.area[mine & stand].sum() < 0.1 * graph.area[mine & across].sum()
    level = (middle[:, 2] < 8.2) & (bird(middle) > 1.0)
    assert graph.area[level & ~stand].sum() < 0.01 * graph.area[level].sum()


def test_a_rock_is_no_plate() -> None:
    """A rough stone under a figure in one colour may be part of the piece: left on, and not even asked about."""
    mesh, _, _ = scanned("stone")
    found = find_stand(mesh)
    assert found.field is None and not found.others


@pytest.mark.parametrize("name", ["slab", "disc"])
def test_stand_is_found_without_colour(name: str) -> None:
    """A dusted scan is white all over: the crease and the level top must do."""
    mesh, _, piece = scanned(name)
    found = find_stand(mesh)
    assert found.field is not None and overlap(mesh, found.stand, piece) >= 0.95


def test_cut_apart_it_is_closed() -> None:
    mesh, colour, _ = scanned("disc", 0.9)
    assert np.all(edges(mesh.faces)[1] == 2)
    halves = cut(mesh, find_stand(mesh, colour=colour).field)
    for half in (halves.above, halves.below):
        assert np.all(edges(half.faces)[1] == 2)


def test_the_stump_of_a_piece_goes_with_its_lid() -> None:
    """A stand's scan that shows the legs, cropped and closed over them: the lid lies within the piece, on nothing of it."""
    mesh, _, piece = scanned("slab")
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    low = middle[:, 2] < 30.0
    stump, lid = closed(submesh(mesh, low))
    assert lid.any() and np.array_equal(lid, stump.face_marks[FILLED])
    on_piece = np.concatenate([piece[low], np.zeros(lid.sum(), bool)])
    found = leftover(stump, on_piece=on_piece, near_line=np.zeros(len(on_piece), bool))
    assert found.field is not None and not found.stand[lid].any()
    stand = cut(stump, found.field).below
    assert stand.vertices[:, 2].max() < 15.0  # the slab's top is at 13 mm


def test_a_figure_without_a_stand_is_left_whole() -> None:
    mesh, colour, _ = scanned("bare")
    found = find_stand(mesh, colour=colour)
    assert found.field is None and "piece" in found.reason


def test_a_body_is_no_stand_for_its_head() -> None:
    """A neck is a crease all round and the shoulders jut out below it; but they are not level, and it lies past half way up."""

    def field(points: Any) -> Any:
        body, head = ellipsoid(points, (0, 0, 25), (20, 22, 30)), ellipsoid(points, (0, 0, 62), (18, 17, 17))
        return np.maximum(np.minimum(body, head), -points[..., 2])

    vertices, faces = meshed(field, 1.2)
    mesh = TriangleMesh(vertices - [0.0, 0.0, vertices[:, 2].min()], faces)
    found = find_stand(mesh)
    assert found.field is None and "taller" in found.reason and found.crease_share > 0.9
    assert find_stand(mesh, always=True).field is not None  # the user may say otherwise


@pytest.mark.parametrize("size", [(40.0, 30.0, 60.0), (60.0, 60.0, 5.0)])
def test_a_plain_block_is_left_whole(size: tuple[float, float, float]) -> None:
    assert find_stand(box(size, steps=30)).field is None


def footed(kind: str, seed: int = 3) -> tuple[TriangleMesh, Any, Any]:
    """A made-up piece of a kind (a seed that no constant was tried on) with noise: mesh, its faces' colour, which are the
    piece's."""
    subject = footing(kind, seed)
    vertices, faces = meshed(subject.whole, 1.2, low=-46.0, high=92.0)
    middle = vertices[faces].mean(axis=1)
    noise = vertex_normals(vertices, faces) * np.random.default_rng(1).normal(0.0, 0.04, (len(vertices), 1))
    return TriangleMesh(vertices + noise - [0, 0, vertices[:, 2].min()], faces), subject.paint(middle), subject.is_piece(middle)


@pytest.mark.parametrize("kind", ["haunches", "paws", "own_rock", "goblet", "teapot"])
def test_a_pieces_own_form_is_no_stand(kind: str) -> None:
    """Haunches, paws, a rock that it grows out of, a turned foot: left on, and not worth a question."""
    mesh, colour, _ = footed(kind)
    found = find_stand(mesh, colour=colour)
    assert found.field is None and not found.others


def test_a_boots_sole_is_asked_about() -> None:
    """A level plate with a welt all round has much of what a stand has: it stays on, with the cut beside it to choose."""
    mesh, _, _ = footed("boot")
    found = find_stand(mesh)
    assert found.field is None
    assert found.others and found.others[0].field is not None and POSSIBLE <= found.others[0].chance < SURE


@pytest.mark.parametrize("kind", ["flush", "ground", "moulded"])
def test_a_block_without_a_ledge_and_rough_ground_come_off(kind: str) -> None:
    """Straight upright walls that end where another form begins; feet that only the ground joins: within 2 % of the height."""
    mesh, _, piece = footed(kind)
    found = find_stand(mesh)
    assert found.field is not None and found.chance >= SURE
    border = np.intersect1d(np.unique(mesh.faces[piece]), np.unique(mesh.faces[~piece]))
    height = float(mesh.vertices[:, 2].max())
    assert abs(found.top_mm - np.median(mesh.vertices[border, 2])) < 0.02 * height


def test_a_boulder_comes_off_by_its_colour_alone() -> None:
    """Of one colour with the piece nothing regular tells it; of another colour it is cut where the colours meet."""
    mesh, colour, piece = footed("boulder")
    assert find_stand(mesh).chance < SURE
    found = find_stand(mesh, colour=colour)
    assert found.field is not None and overlap(mesh, found.stand, piece) > 0.95


def test_a_height_that_is_given_rules() -> None:
    """No stand is there, but the user says where to part: the line keeps within 4 % of the height over it, as it is held to."""
    mesh, _, _ = footed("skirt")
    height = float(mesh.vertices[:, 2].max())
    found = find_stand(mesh, top=0.3 * height)
    middle = np.asarray(mesh.vertices)[mesh.faces].mean(axis=1)[:, 2]
    assert found.field is not None and middle[found.stand].max() < 0.36 * height
    assert middle[~found.stand].min() > 0.15 * height


def test_paint_rules() -> None:
    """Painted along a height where no crease is: the line runs there all the same."""
    mesh, colour, _ = scanned("bare")
    middle = np.asarray(mesh.vertices)[mesh.faces].mean(axis=1)[:, 2]
    found = find_stand(mesh, colour=colour, painted=(middle < 30.0).astype(float))
    halves = cut(mesh, found.field)
    assert halves.line[:, 2].mean() == pytest.approx(30.0, abs=0.6)  # half a triangle
    assert np.ptp(halves.line[:, 2]) < 2.5


def test_cheapest_border_is_the_minimum_cut() -> None:
    """A chain whose cheapest link is known, and random graphs against all 2^8 labellings."""
    cost = np.array([3.0, 2.0, 0.5, 4.0])
    bias = np.array([-np.inf, 0, 0, 0, np.inf])
    found = cheapest_border(5, np.arange(4), np.arange(1, 5), cost, bias)
    assert (found > 0.5).tolist() == [True, True, True, False, False]
    for seed in range(10):
        random = np.random.default_rng(seed)
        first, second = (part.ravel() for part in np.triu_indices(8, 1))
        weight = random.random(len(first)) * (random.random(len(first)) < 0.5)
        wish = random.normal(size=8)
        labels = (np.arange(256)[:, None] >> np.arange(8)) & 1
        energy = labels @ wish + (np.abs(labels[:, first] - labels[:, second]) @ weight)
        mine = (cheapest_border(8, first, second, weight, wish, rounds=3000) > 0.5).astype(int)
        value = mine @ wish + np.abs(mine[first] - mine[second]) @ weight
        assert value == pytest.approx(energy.min(), abs=1e-6)


def test_crease_angle_of_a_step() -> None:
    """Flat faces of a box fold outwards alone: no crease anywhere; turned inside out every edge of it is one of 90 degrees."""
    mesh = box((40.0, 40.0, 40.0), steps=30)
    assert FaceGraph.of(mesh).creases(2.0).max() < 1e-6
    inside = FaceGraph.of(TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])).creases(2.0)
    assert inside.max() > 1.0
