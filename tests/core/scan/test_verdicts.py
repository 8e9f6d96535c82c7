"""How sure is a pose of a further scan? Each kind of doubt leads to its own verdict and words, by figures that are made up."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.similarity import Similarity, rotation_from_vector
from blender_addon.core.scan.registration.evidence import Evidence, lead
from blender_addon.core.scan.registration.verdict import NO_FIT, NOT_SURE, SURE, Candidate, Limits, apart, decide, rivals

RNG = np.random.default_rng(1)
PLACES = RNG.uniform(-0.5, 0.5, (2000, 3))
STILL = Similarity(1.0, np.eye(3), np.zeros(3))
TURNED = Similarity(1.0, rotation_from_vector(np.array([0.0, 0.0, np.pi / 2])), np.zeros(3))
GOOD = Evidence(0.95, 0.01, 0.0, 0.005, 0.05, 0.04, 0.6, 0.4, 2000, np.full(2000, 0.02))
SIZE = 100.0  # mm: distances up to 0.12 mm are those of one thing


def verdict(*others: Candidate, noise: float = 0.0, firmness: float = 0.1, **change: Any) -> Any:
    best = Candidate(STILL, replace(GOOD, **change))
    return decide([best, *others], PLACES, firmness=firmness, size=SIZE, noise=noise)


def test_a_pose_on_which_all_agrees_is_sure_and_stands_alone() -> None:
    found = verdict(Candidate(TURNED, replace(GOOD, loss=np.full(2000, 0.5))))
    assert found.verdict == SURE and found.tie == "" and len(found.candidates) == 1 and "95%" in found.reason
    assert found.best is found.candidates[0] and decide([], PLACES, firmness=1.0, size=SIZE).best is None


@pytest.mark.parametrize(
    ("change", "expected", "words"),
    [
        ({"matched": 0.59}, NO_FIT, "59% of it on the first scan"), ({"against": 0.13}, NO_FIT, "even the best pose"),
        ({"matched": 0.77}, NOT_SURE, "only 77%"), ({"against": 0.04}, NOT_SURE, "4% of what can be compared does not agree"),
        ({"deviation": 0.13}, NOT_SURE, "too far for the same thing"), ({"beside": 0.07}, NOT_SURE, "runs beside"),
        ({"buried": 0.04}, NOT_SURE, "where no piece covers it"), ({"firmness": 0.004}, NOT_SURE, "slide or turn in itself"),
    ],
)  # fmt: skip
def test_each_doubt_has_its_words(change: dict[str, float], expected: str, words: str) -> None:
    found = verdict(**change)
    assert (found.verdict, words in found.reason) == (expected, True), found.reason
    assert found.tie == ("turn" if "firmness" in change else "") and found.best is not None


@pytest.mark.parametrize(
    "change",
    [{"matched": 0.79}, {"against": 0.03}, {"deviation": 0.11}, {"beside": 0.06}, {"buried": 0.02}, {"firmness": 0.006}],
)
def test_what_is_within_the_limits_is_sure(change: dict[str, float]) -> None:
    assert verdict(**change).verdict == SURE


def test_noise_of_the_scans_explains_distances_up_to_a_limit() -> None:
    """1.3 times what the two scans' own noise causes, and 0.3 % of the size at most."""
    assert verdict(deviation=0.2, noise=0.16).verdict == SURE
    assert "too far" in verdict(deviation=0.22, noise=0.16).reason
    assert "too far" in verdict(deviation=0.31, noise=1.0).reason
    again = Candidate(TURNED, GOOD)
    assert "too noisy to tell the ways apart" in verdict(again, deviation=0.2, noise=0.16).reason
    assert "too noisy" in verdict(deviation=0.2, noise=0.16, firmness=0.004).reason


def test_a_pose_that_is_as_good_is_a_rival_and_both_are_shown() -> None:
    found = verdict(Candidate(TURNED, replace(GOOD, shared=0.39)))
    assert (found.verdict, found.tie, len(found.candidates)) == (NOT_SURE, "ways", 2) and "2 ways" in found.reason


def test_what_shares_much_less_or_is_clearly_worse_is_no_rival() -> None:
    """A quarter less area; half less where both poses have one scale, since an unseen side can hide that much."""
    best = Candidate(STILL, GOOD)

    def count(pose: Similarity, **change: Any) -> int:
        return len(rivals([best, Candidate(pose, replace(GOOD, **change))], PLACES, Limits()))

    larger = Similarity(1.05, TURNED.rotation, np.zeros(3))
    assert [count(TURNED, shared=share) for share in (0.21, 0.19)] == [1, 0]
    assert [count(larger, shared=share) for share in (0.31, 0.29)] == [1, 0]
    assert count(TURNED, loss=np.full(2000, 0.03)) == 1 and count(TURNED, loss=np.full(2000, 0.2)) == 0


def test_a_lead_is_counted_over_blocks_and_only_where_both_poses_can_be_judged() -> None:
    worse = replace(GOOD, loss=GOOD.loss + 0.1)
    gain, clearness = lead(GOOD, worse, PLACES)
    assert gain == pytest.approx(0.1) and clearness > 10.0
    assert lead(worse, GOOD, PLACES) == pytest.approx((-gain, -clearness))
    half = np.where(PLACES[:, 0] > 0, np.nan, GOOD.loss + 0.1)
    assert lead(GOOD, replace(GOOD, loss=half), PLACES)[0] == pytest.approx(0.1)
    few = np.where(np.arange(2000) < 29, GOOD.loss + 0.1, np.nan)
    assert lead(GOOD, replace(GOOD, loss=few), PLACES) == (0.0, 0.0)


def test_how_far_two_poses_carry_a_scan_apart() -> None:
    """Turned by a quarter, a point half the size off the axis goes by that times the root of two; a shift is a shift."""
    middle = np.array([10.0, 0.0, 0.0])
    about = Similarity(1.0, TURNED.rotation, middle - TURNED.rotation @ middle)
    assert apart(STILL, about, middle, 40.0) == pytest.approx(0.5 * np.sqrt(2.0))
    assert apart(STILL, Similarity(1.0, np.eye(3), np.array([0.0, 0.0, 4.0])), middle, 40.0) == pytest.approx(0.1)
    double = Similarity(2.0, np.eye(3), -middle)  # about its own middle
    assert apart(STILL, double, middle, 40.0) == pytest.approx(0.25)


def test_candidates_are_ranked_by_what_they_share_less_what_speaks_against_them() -> None:
    assert Candidate(STILL, replace(GOOD, shared=0.4, against=0.0)).rank == pytest.approx(0.4)
    assert Candidate(STILL, replace(GOOD, shared=0.4, against=0.5)).rank == pytest.approx(0.1)
