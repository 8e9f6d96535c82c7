"""Is a table distinguished from a stand's plate and from a relief's ground?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.topology import degenerate_faces, submesh, welded
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan.table import find_table, is_bare, without_table
from tests.flat_forms import bare_tables, flat_pieces
from tests.scan_shapes import moved, noisy, on_table, rotation, statuette


def sound(mesh: TriangleMesh) -> TriangleMesh:
    mesh = welded(mesh)
    return submesh(mesh, ~degenerate_faces(mesh))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("half", [45.0, 90.0])
def test_the_plane_of_a_table_is_found(seed: int, half: float) -> None:
    """Within a quarter of a degree and the noise: the sheet has thousands of vertices."""
    turn = rotation(seed)
    found = find_table(moved(noisy(on_table(statuette(), half=half), noise=0.06, seed=seed), turn))
    assert found is not None
    assert np.degrees(np.arccos(np.clip(found.up @ turn @ [0.0, 0.0, 1.0], -1, 1))) < 0.25
    assert abs(found.offset) < 0.1


@pytest.mark.parametrize("plate", [8.0, 4.0, 1.5])
@pytest.mark.parametrize("open_bottom", [True, False])
def test_a_base_plate_is_no_table(plate: float, open_bottom: bool) -> None:
    """However thin and wide, a plate has sides below its upper face."""
    mesh = statuette(open_bottom=open_bottom)
    vertices = mesh.vertices.copy()
    base = vertices[:, 2] <= 8.0
    vertices[:, 2] = np.where(base, vertices[:, 2] * plate / 8.0, vertices[:, 2] - 8.0 + plate)
    assert find_table(sound(noisy(TriangleMesh(vertices, mesh.faces, mesh.uv), noise=0.02, seed=1))) is None


def test_the_cut_rim_lies_on_the_table() -> None:
    """No height is lost: the new rim is let down onto the plane of the table."""
    mesh = sound(noisy(on_table(statuette()), noise=0.05, seed=3))
    table = find_table(mesh)
    assert table is not None
    left = without_table(mesh, table)
    assert left.vertices[:, 2].max() == pytest.approx(mesh.vertices[:, 2].max())
    height = left.vertices @ table.up - table.offset
    assert height.min() > -1e-3
    assert (np.abs(height) < 1e-3).sum() > 100


@pytest.mark.parametrize("seed", range(4))
def test_a_rough_slab_with_sloping_sides_and_an_open_underside_is_no_table(seed: int) -> None:
    """The slab under a carved animal: its upper face is uneven by a tenth of its thickness, its sides slope outwards, and it
    ends in an open rim at the ground. Cut away as a table it would take the base with it."""
    mesh = sound(statuette(open_bottom=True))
    vertices = mesh.vertices.copy()
    plate = vertices[:, 2] <= 8.0
    vertices[plate, :2] *= (1.25 - 0.35 * vertices[plate, 2] / 8.0)[:, None]
    upper = (np.abs(vertices[:, 2] - 8.0) < 1e-6) & plate
    vertices[upper, 2] += np.random.default_rng(seed).normal(0.0, 0.5, int(upper.sum()))
    vertices[:, 2] = np.where(plate, 0.55 * vertices[:, 2], vertices[:, 2] - 3.6)
    assert find_table(moved(TriangleMesh(vertices, mesh.faces), rotation(seed))) is None


COUNTED = (101, 102, 103)
"""Seeds whose forms were not looked at while `BARE` was set."""


@pytest.mark.parametrize("seed", COUNTED)
@pytest.mark.parametrize("name", list(bare_tables(0)))
def test_a_table_alone_is_bare(seed: int, name: str) -> None:
    """However it lies; where a lump on it is as tall and large as a piece, the table is cut away instead."""
    mesh = moved(bare_tables(seed)[name], rotation(seed))
    assert is_bare(mesh) or find_table(mesh) is not None


@pytest.mark.parametrize("seed", COUNTED)
@pytest.mark.parametrize("name", list(flat_pieces(0)))
def test_a_flat_piece_is_not_bare(seed: int, name: str) -> None:
    assert not is_bare(moved(flat_pieces(seed)[name], rotation(seed)))


def test_a_figure_on_its_slab_is_not_bare() -> None:
    assert not is_bare(sound(noisy(on_table(statuette()), noise=0.05, seed=3)))
    assert not is_bare(sound(statuette()))
