"""A sample of the bench of bad files, every class of it: each ends in a result or in one sentence, nothing else said or left.

`python3 build.py bench corpus` runs all of them.
"""

from __future__ import annotations

import os

import pytest

pytest.importorskip("bpy")

from scripts.bench.corpus.driver import run_cases
from scripts.bench.corpus.sheets import COUNT, build, numbers_of

EVERY = 31
"""A prime, so that what alternates within a class is met in all its kinds."""


def sample() -> list[int]:
    """Numbers of some 120 cases: each thirty-first of a class, three of each at least."""
    found = []
    for own in numbers_of().values():
        found += own[:: min(EVERY, max(1, len(own) // 3))]
    return found


def test_the_corpus_is_large_and_always_the_same() -> None:
    assert COUNT >= 2000
    for number in (0, 300, 1300, COUNT - 1):
        first, second = build(number), build(number)
        assert (first.kind, first.files, first.sheet) == (second.kind, second.files, second.sheet)
    with pytest.raises(ValueError, match="there is no number"):
        build(COUNT)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the corpus makes named pipes and sockets")
def test_a_sample_of_every_class_holds() -> None:
    numbers = sample()
    assert 100 <= len(numbers) <= 180
    answers = run_cases(numbers)
    bad = [f"number:{each['number']} {each['kind']}: {each['failures'][0][:500]}" for each in answers if each["failures"]]
    assert not bad, "\n\n".join(bad)
    assert max(each["seconds"] for each in answers) < 20.0
    outcomes = {each["outcome"] for each in answers}
    assert outcomes == {"result", "refused"}
    assert all(each["outcome"] == "result" for each in answers if each["kind"] == "valid")
