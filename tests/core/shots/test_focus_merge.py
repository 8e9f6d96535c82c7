"""Merging against a layered picture whose sharp truth is known: sharp everywhere, and no halo round what is near.

The slices are made here by painting layers back to front, each blurred by the disc that the lens gives it, its coverage
blurred with it, which is what a real lens does at the edge of something near.
"""

import numpy as np
import pytest

from blender_addon.core.shots import focus_bracket, optics
from blender_addon.core.shots.focus_merge import distance_to, merge, slice_weights
from blender_addon.core.shots.optics import Optics

LENS = Optics(90.0, 4.0, optics.focus_for(90.0, 0.4))
PX = 20.0
NEAR, FAR = 305.0, 325.0


def blurred(picture, diameter):
    radius = 0.5 * diameter
    if radius < 0.5:
        return picture
    reach = int(np.ceil(radius))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1)
    disc /= disc.sum()
    padded = np.pad(picture, [(reach, reach), (reach, reach), (0, 0)], mode="edge")
    out = np.zeros_like(picture)
    height, width = picture.shape[:2]
    for row in range(2 * reach + 1):
        for column in range(2 * reach + 1):
            out += disc[row, column] * padded[row : row + height, column : column + width]
    return out


@pytest.fixture(scope="module")
def scene():
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:120, :160]
    ball = (np.hypot(x - 70, y - 60) < 30).astype(float)[..., None]
    texture = lambda: rng.uniform(0.2, 0.8, (120, 160, 1))  # noqa: E731
    front = np.concatenate([texture(), 0.1 * texture(), 0.1 * texture()], axis=2)  # red
    ground = np.concatenate([0.1 * texture(), texture(), 0.1 * texture()], axis=2)  # green
    truth = ball * front + (1 - ball) * ground
    depth = np.where(ball[..., 0] > 0.5, NEAR, FAR)
    slices = focus_bracket.bracket(LENS, NEAR, FAR, 0.03, overlap=0.3)
    pictures = []
    for focus in slices.focus_mm:
        near, far = (float(focus_bracket.blur_px(LENS, focus, d, px_per_mm=PX)) for d in (NEAR, FAR))
        cover = blurred(ball, near)
        pictures.append(blurred(ball * front, near) + (1 - cover) * blurred(ground, far))
    return np.array(pictures), depth, slices.focus_mm, truth, ball[..., 0] > 0.5


def test_sharp_where_the_edge_is_far(scene):
    pictures, depth, focus, truth, ball = scene
    merged = merge(pictures, depth, focus, LENS, px_per_mm=PX)
    away = np.where(ball, distance_to(~ball, 40), distance_to(ball, 40))
    clear = away > 12
    error = np.abs(merged - truth).mean(axis=2)
    best = np.abs(pictures - truth).mean(axis=3).min(axis=0)
    assert error[clear].mean() < 1.15 * best[clear].mean() + 1e-3
    assert error[ball].mean() < 1.3 * best[ball].mean() + 2e-3  # the near thing up to its very edge


def test_no_halo_round_the_near_thing(scene):
    """Red of the near ball on the green ground round it: plain choice by depth leaves a halo, ours next to none."""
    pictures, depth, focus, truth, ball = scene
    merged = merge(pictures, depth, focus, LENS, px_per_mm=PX)
    nearest = np.abs(1 / depth[None] - 1 / focus[:, None, None]).argmin(axis=0)
    plain = np.take_along_axis(pictures, nearest[None, :, :, None], axis=0)[0]
    away = distance_to(ball, 40)
    ring = (away >= 1.5) & (away < 8)
    halo = lambda picture: (picture[..., 0] - truth[..., 0])[ring].mean()  # noqa: E731
    assert halo(plain) > 0.03
    assert halo(merged) < 0.1 * halo(plain)


def test_weights_share_out(scene):
    _, depth, focus, _, _ = scene
    weights = slice_weights(depth, focus, LENS, px_per_mm=PX)
    assert weights.sum(axis=0) == pytest.approx(1.0, abs=1e-5)
    assert (weights >= 0).all()


def test_a_slope_is_merged_without_steps():
    """On a plain slope the weights change gradually from slice to slice."""
    depth = np.tile(np.linspace(NEAR, FAR, 300), (4, 1))
    slices = focus_bracket.bracket(LENS, NEAR, FAR, 0.03)
    weights = slice_weights(depth, slices.focus_mm, LENS, px_per_mm=PX)
    assert np.abs(np.diff(weights, axis=2)).max() < 0.5
    assert (weights.argmax(axis=0)[0] == np.sort(weights.argmax(axis=0)[0])).all()


def test_distance_is_euclidean():
    ndimage = pytest.importorskip("scipy.ndimage")
    mask = np.random.default_rng(0).random((60, 80)) > 0.995
    exact = ndimage.distance_transform_edt(~mask)
    ours = distance_to(mask, 12)
    near = exact <= 12
    assert ours[near] == pytest.approx(exact[near], abs=1e-4)
    assert (ours[~near] > 12).all()


def test_shapes_must_fit():
    with pytest.raises(ValueError, match="do not fit"):
        merge(np.zeros((2, 4, 5, 3)), np.zeros((4, 6)), np.array([1.0, 2.0]), LENS, px_per_mm=PX)
