"""Is a graphics card found where there is one, and the processor used where there is none?"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import bpy
import pytest

from blender_addon.job.errors import OutputError
from blender_addon.scene.delivery import device


class Preferences:
    """Cycles' preferences of a machine that has the given cards."""

    def __init__(self, cards: dict[str, list[str]], chosen: str = "NONE"):
        self._cards, self._kind = cards, chosen
        self.devices: list[Any] = []

    @property
    def compute_device_type(self) -> str:
        return self._kind

    @compute_device_type.setter
    def compute_device_type(self, kind: str) -> None:
        if kind == "METAL":
            raise TypeError("this build does not know the kind")
        self._kind = kind

    def refresh_devices(self) -> None:
        names = self._cards.get(self._kind, [])
        self.devices = [SimpleNamespace(name=name, type=self._kind, use=self._kind == "HIP") for name in names]
        self.devices.append(SimpleNamespace(name="a processor", type="CPU", use=True))


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Any:
    """A way to say which cards the machine has."""

    def has(cards: dict[str, list[str]], *, background: bool = True, chosen: str = "NONE") -> Preferences:
        preferences = Preferences(cards, chosen)
        addons = {"cycles": SimpleNamespace(preferences=preferences)}
        app, context = SimpleNamespace(background=background), SimpleNamespace(preferences=SimpleNamespace(addons=addons))
        monkeypatch.setattr(device, "bpy", SimpleNamespace(app=app, context=context))
        return preferences

    return has


def test_without_a_window_the_first_kind_of_card_is_used_alone(machine: Any) -> None:
    preferences = machine({"OPTIX": ["a card", "another"], "CUDA": ["a card", "another"]})
    found = device.find_device("auto")
    assert (found.setting, found.kind, found.cards) == ("GPU", "OPTIX", ("a card", "another"))
    assert [card.use for card in preferences.devices] == [True, True, False]
    assert found.words == "a card, another (OPTIX)"


def test_a_kind_can_be_named(machine: Any) -> None:
    machine({"OPTIX": ["a card"], "CUDA": ["a card"]})
    assert device.find_device("cuda").kind == "CUDA"


@pytest.mark.parametrize("kind", ["hip", "metal"])
def test_a_kind_that_is_not_here_is_refused_in_words_and_nothing_is_changed(machine: Any, kind: str) -> None:
    preferences = machine({"CUDA": ["a card"]})
    with pytest.raises(OutputError, match=f"no graphics card that it can use by {kind}"):
        device.find_device(kind)
    assert preferences.compute_device_type == "NONE"


def test_in_a_window_the_preferences_decide(machine: Any) -> None:
    machine({"CUDA": ["a card"]}, background=False)
    assert device.find_device("auto").setting == "CPU"
    machine({"HIP": ["a card"]}, background=False, chosen="HIP")
    assert device.find_device("auto").cards == ("a card",)


def test_the_processor_is_used_where_there_is_no_card_or_it_is_asked_for(machine: Any) -> None:
    machine({})
    assert device.find_device("auto") == device.Device() and device.Device().words == "the processor"
    machine({"CUDA": ["a card"]})
    assert device.find_device("cpu") == device.Device()


def test_every_word_of_the_sheet_is_known_to_cycles_or_refused() -> None:
    """On this machine, whatever it has: no word ends in a traceback."""
    for word in ("auto", "cpu", *device.KINDS):
        try:
            found = device.find_device(word)
        except OutputError:
            continue
        assert found.setting in ("CPU", "GPU")
    bpy.context.preferences.addons["cycles"].preferences.compute_device_type = "NONE"
