"""Does a moving picture stay sharp, whole and clear of things, with one lens, and begin and end at rest?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.shots import optics
from blender_addon.core.shots.framing import CameraPose, look, project
from blender_addon.core.shots.moves.paths import KINDS, From, eased, path
from blender_addon.core.shots.moves.planning import beyond_frame, collisions, out_of_focus, planned, rack_lens

COC = 43.27 / 1500.0
LENS = optics.Optics(90.0, 11.0, 620.0)
FRAME = (36.0, 20.25)


def _start(first: object = None) -> From:
    rotation = look(22.0, 12.0)
    target = np.array([0.0, -14.0, 62.0])
    middle = np.array([0.0, -14.0, 40.0])
    return From(CameraPose(middle + 620.0 * rotation[:, 2], rotation, 620.0), LENS, FRAME, target, first)  # type: ignore[arg-type]


def _figure(high: float = 80.0, wide: float = 18.0) -> np.ndarray:
    """A skittle's outline: a ring every 10 mm."""
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = np.stack([wide * np.cos(angle), wide * np.sin(angle), 0 * angle], -1)
    return np.concatenate([ring + [0, 0, z] for z in np.linspace(0, high, 9)])


def _far(places: np.ndarray) -> np.ndarray:
    """Nothing but the figure's axis and the table."""
    return np.minimum(np.linalg.norm(places[:, :2], axis=1) - 18.0, places[:, 2])


def test_a_move_begins_and_ends_at_rest() -> None:
    """Flash and Hogan 1985: minimum jerk. At half the time half the way, the largest speed 15/8 of the mean."""
    t = np.linspace(0.0, 1.0, 4001)
    speed = np.gradient(eased(t), t)
    assert eased(np.array([0.0, 0.5, 1.0])) == pytest.approx([0.0, 0.5, 1.0])
    assert speed[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-5) and speed.max() == pytest.approx(15.0 / 8.0, rel=1e-4)
    assert np.gradient(speed, t)[[1, -2]] == pytest.approx([0.0, 0.0], abs=0.1)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("seconds", "fps"), [(5, 24), (6, 25), (8, 30)])
def test_moves_keep_target_sharp_piece_whole_and_lens_clear(kind: str, seconds: int, fps: int) -> None:
    """`move_out_of_focus_frames` and `move_collisions` 0; one focal length and one f-number; both ends at rest."""
    start = _start(np.array([0.0, 15.0, 40.0]) if kind == "rack_focus" else None)
    found = planned(kind, start, seconds * fps, coc_mm=COC, outline=_figure(), clearance=_far)
    assert len(found.focus_mm) == seconds * fps
    assert out_of_focus(found, COC).sum() == 0 and collisions(found, _far).sum() == 0
    assert beyond_frame(found, FRAME, _figure()).max() <= 1.0
    assert (found.optics.focal_mm, found.optics.fnumber) == (90.0, 11.0)
    steps = np.linalg.norm(np.diff(found.positions, axis=0), axis=1) + np.abs(np.diff(found.focus_mm))
    assert steps.max() > 0.0 and max(steps[0], steps[-1]) < 0.02 * steps.max()
    turned = np.einsum("nij,nkj->nik", found.rotations, found.rotations)
    assert turned == pytest.approx(np.broadcast_to(np.eye(3), turned.shape), abs=1e-12)


def test_the_target_stays_where_it_is_in_the_frame_of_an_arc_and_rests_in_a_push_in_at_the_shot() -> None:
    start = _start()
    found = path("arc", start, 150)
    seen = np.array([project(start.target[None], p, r)[0][0] for p, r in zip(found.positions, found.rotations, strict=True)])
    assert np.ptp(seen, axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)
    assert path("push_in", start, 150).positions[-1] == pytest.approx(start.pose.position)


def test_a_target_that_is_off_the_focus_and_a_wall_beside_the_lens_are_counted() -> None:
    """The two counts can fail: a focus 60 mm off (the lens holds 15 mm to a side), a wall 10 mm beside the path."""
    start = _start()
    found = path("slide", start, 100)
    off = type(found)(found.kind, found.positions, found.rotations, found.focus_mm + 60.0, found.targets, found.optics)
    assert out_of_focus(off, COC).all()
    wall = found.positions[-1] + 10.0 * start.pose.rotation[:, 0]
    near = lambda places: np.linalg.norm(places - wall, axis=1)  # noqa: E731
    assert 0 < collisions(found, near).sum() < 100


def test_a_move_is_shortened_before_a_wall_and_refused_where_there_is_no_room() -> None:
    start = _start()
    side = start.pose.rotation[:, 0]
    wall = lambda room: lambda places: room - (places - start.pose.position) @ side  # noqa: E731
    whole = planned("slide", start, 100, coc_mm=COC, outline=_figure(), clearance=_far)
    short = planned("slide", start, 100, coc_mm=COC, outline=_figure(), clearance=wall(45.0))
    assert np.ptp(short.positions @ side) < np.ptp(whole.positions @ side)
    with pytest.raises(ValueError, match="lens would touch"):
        planned("slide", start, 100, coc_mm=COC, outline=_figure(), clearance=wall(30.0))


def test_a_rack_focus_opens_until_the_other_place_is_unsharp() -> None:
    """Two places 40 mm apart: at the stop chosen each is blurred by three circles of confusion while the other is sharp, and
    the next smaller opening would not do it; two 0.1 mm apart never are."""
    lens = rack_lens(LENS, 450.0, 490.0, COC, optics.THIRD_STOPS)
    assert lens is not None
    blur = lambda n: float(optics.blur_disc(optics.Optics(90.0, n, 490.0), 450.0))  # noqa: E731
    far = lambda n: float(optics.blur_disc(optics.Optics(90.0, n, 450.0), 490.0))  # noqa: E731
    following = optics.THIRD_STOPS[optics.THIRD_STOPS.index(lens.fnumber) + 1]
    assert min(blur(lens.fnumber), far(lens.fnumber)) >= 3.0 * COC > min(blur(following), far(following))
    assert rack_lens(LENS, 450.0, 450.1, COC, optics.THIRD_STOPS) is None


def test_a_slide_goes_as_far_as_a_share_of_the_pictures_width_whatever_its_height() -> None:
    """On a panorama and on a square of the same width the camera goes the same way; on a picture half as wide, half of it."""
    gone = {}
    for frame in ((36.0, 12.0), (36.0, 36.0), (18.0, 36.0)):
        places = path("slide", replace(_start(), frame_mm=frame), 100).positions
        gone[frame] = float(np.linalg.norm(places[-1] - places[0]))
    assert gone[36.0, 12.0] == pytest.approx(gone[36.0, 36.0]) and gone[18.0, 36.0] == pytest.approx(0.5 * gone[36.0, 36.0])
    seen = 36.0 / LENS.magnification  # mm at the focus; a slide shows the form turn, and keeps the piece in the picture
    assert 0.2 * seen < gone[36.0, 36.0] < 0.5 * seen
