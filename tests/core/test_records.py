"""Is a record what `dataclasses.dataclass(frozen=True)` would have made of the same class?"""

from __future__ import annotations

import pickle
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, is_dataclass, replace
from functools import cached_property
from typing import Any

import pytest

from blender_addon.core.records import record, values


@record
class Lens:
    """A record with a default, a factory, a property that is kept, and a check."""

    focal: float
    stop: float = 8.0
    marks: list[int] = field(default_factory=list)
    note: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if self.focal <= 0:
            raise ValueError("focal")

    @cached_property
    def pupil(self) -> float:
        """Diameter, mm."""
        return self.focal / self.stop


@record
class Zoom(Lens):
    """A record of a record."""

    longest: float = 70.0


@dataclass(frozen=True)
class Peer:
    """The same as Lens by the standard library."""

    focal: float
    stop: float = 8.0
    marks: list[int] = field(default_factory=list)
    note: str = field(default="", compare=False)


CALLS: list[Callable[[Any], Any]] = [
    lambda kind: kind(50.0),
    lambda kind: kind(50.0, 4.0, [1], "x"),
    lambda kind: kind(stop=2.0, focal=35.0),
    lambda kind: kind(50.0, note="y"),
    lambda kind: kind(),
    lambda kind: kind(1.0, 2.0, [], "", 5.0),
    lambda kind: kind(50.0, focal=50.0),
    lambda kind: kind(50.0, aperture=2.0),
]


@pytest.mark.parametrize("call", CALLS)
def test_it_takes_what_a_dataclass_takes(call: Callable[[Any], Any]) -> None:
    if (built := _built_alike(call, Lens, Peer)) is not None:
        assert [field.name for field in fields(built)] == [field.name for field in fields(Peer)]


def _built_alike(call: Callable[[Any], Any], ours: type, peer: type) -> Any:
    """What `call` builds of a class, which must be what it builds of the dataclass `peer`; None where both refuse it."""
    try:
        expected = call(peer)
    except TypeError:
        with pytest.raises(TypeError):
            call(ours)
        return None
    built = call(ours)
    assert asdict(built) == asdict(expected) and repr(built) == repr(expected).replace(peer.__name__, ours.__name__)
    return built


def test_it_is_frozen_compared_and_replaced_as_a_dataclass_is() -> None:
    lens = Lens(50.0, 4.0)
    with pytest.raises(FrozenInstanceError):
        lens.focal = 60.0  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError):
        del lens.focal
    assert lens == Lens(50.0, 4.0, note="not compared") and lens != Lens(50.0) and lens != Zoom(50.0, 4.0)
    assert lens.__eq__(Peer(50.0, 4.0)) is NotImplemented
    assert replace(lens, stop=2.0).pupil == 25.0 and lens.pupil == 12.5
    assert lens.marks is not Lens(50.0).marks
    assert pickle.loads(pickle.dumps(lens)) == deepcopy(lens) == lens
    with pytest.raises(ValueError, match="focal"):
        replace(lens, focal=0.0)


def test_a_record_of_a_record_has_both_their_fields() -> None:
    assert Zoom(24.0, longest=105.0) == Zoom(24.0, 8.0, [], "", 105.0) and Zoom(24.0).pupil == 3.0
    with pytest.raises(ValueError, match="focal"):
        Zoom(-1.0)


def test_many_threads_may_make_the_first_of_a_kind() -> None:
    for _ in range(20):

        @record
        class Seen:
            marks: list[int] = field(default_factory=list)
            more: tuple[int, ...] = ()

        ready = threading.Barrier(8)

        def make(kind: type = Seen, ready: threading.Barrier = ready) -> Any:
            ready.wait()
            return kind()

        with ThreadPoolExecutor(8) as pool:
            built = [work.result() for work in [pool.submit(make) for _ in range(8)]]
        assert all(asdict(seen) == {"marks": [], "more": ()} for seen in built)


def test_its_fields_are_known_before_the_first_is_made() -> None:
    @record
    class Unmade(Lens):
        depth: float = 1.0

    class Plain(Unmade):
        """No record itself."""

    assert is_dataclass(Plain) and [known.name for known in fields(Plain)] == ["focal", "stop", "marks", "note", "depth"]
    assert asdict(Plain(2.0))["depth"] == 1.0


def test_the_hash_is_that_of_the_compared_fields() -> None:
    @record
    class Place:
        x: int
        y: int = field(default=0, compare=False)

    assert hash(Place(3, 1)) == hash(Place(3, 2)) and len({Place(3, 1), Place(3, 2), Place(4)}) == 2
    with pytest.raises(TypeError):
        hash(Lens(50.0))  # a list can't be hashed


@values
class Print:
    """Values that are set by name, may be set later, and are checked by nobody."""

    paper: str
    wide: float = 100.0
    marks: list[int] = field(default_factory=list)


@dataclass(kw_only=True)
class PeerPrint:
    """The same as Print by the standard library."""

    paper: str
    wide: float = 100.0
    marks: list[int] = field(default_factory=list)


@pytest.mark.parametrize(
    "call",
    [
        lambda kind: kind(paper="matt"),
        lambda kind: kind(wide=3.0, paper="matt", marks=[1]),
        lambda kind: kind("matt"),
        lambda kind: kind(),
        lambda kind: kind(paper="matt", colour=1),
    ],
)
def test_values_take_what_a_dataclass_by_names_takes(call: Callable[[Any], Any]) -> None:
    _built_alike(call, Print, PeerPrint)


def test_values_may_be_set_later_and_are_compared_and_replaced_as_a_dataclass_is() -> None:
    sheet, other = Print(paper="matt"), Print(paper="matt")
    assert sheet == other and sheet.marks is not other.marks and sheet != PeerPrint(paper="matt")
    sheet.wide = 50.0
    assert sheet != other and replace(other, wide=50.0) == sheet == deepcopy(sheet) == pickle.loads(pickle.dumps(sheet))
    assert other.wide == 100.0 and [known.name for known in fields(Print)] == ["paper", "wide", "marks"]
    with pytest.raises(TypeError):
        hash(sheet)
