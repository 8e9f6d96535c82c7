"""Which pictures of the sample sheet are there now?"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from blender_addon.scene.surface.surfaces import file_of
from blender_addon.scene.surface.surfaces import samples as all_samples
from blender_addon.ui.looks import panel, samples

PREFERENCES = SimpleNamespace(system=SimpleNamespace(ui_scale=1.0))


def test_the_samples_are_what_the_folder_holds_at_each_look(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(samples, "state_of", lambda scene: SimpleNamespace(sheet=SimpleNamespace(name="job")))
    monkeypatch.setattr(samples, "output_folder", lambda scene, name: tmp_path / name)
    assert samples.pictures_of_samples(None) == []
    folder = tmp_path / "job" / "samples"
    folder.mkdir(parents=True)
    assert samples.pictures_of_samples(None) == []
    names = [file_of(place, label) for place, (label, _, _) in enumerate(all_samples())]
    (folder / names[3]).touch()
    (folder / names[1]).touch()
    (folder / names[2]).mkdir()
    (folder / "99 of_an_earlier_release.png").touch()
    assert samples.pictures_of_samples(None) == [(1, folder / names[1]), (3, folder / names[3])]
    (folder / names[1]).unlink()
    assert samples.pictures_of_samples(None) == [(3, folder / names[3])]


@pytest.mark.parametrize("there", [0, 3, len(all_samples())])
def test_the_rest_of_a_sheet_that_was_stopped_can_be_rendered(there: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(panel, "pictures_of_samples", lambda scene: [(place, Path()) for place in range(there)])
    for name in ("compared_in", "looks_of"):
        monkeypatch.setattr(panel, name, lambda *of: [])
    monkeypatch.setattr(panel, "state_of", lambda scene: SimpleNamespace(sheet=SimpleNamespace(name="job")))
    monkeypatch.setattr(panel, "output_folder", lambda scene, name: Path())
    pressed: list[str] = []
    column = SimpleNamespace(operator=lambda name, **how: pressed.append(name))
    layout = SimpleNamespace(column=lambda **how: column, grid_flow=lambda **how: column)
    panel.BOZZETTO_PT_looks.draw(
        SimpleNamespace(layout=layout), SimpleNamespace(scene=None, region=None, preferences=PREFERENCES)
    )
    assert ("bozzetto.choose_material" in pressed) == (there > 0)
    assert ("bozzetto.sample_sheet" in pressed) == (there < len(all_samples()))
