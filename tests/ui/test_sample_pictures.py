"""Which pictures of the sample sheet are there now?"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from blender_addon.scene.surface.surfaces import file_of
from blender_addon.scene.surface.surfaces import samples as all_samples
from blender_addon.ui.looks import samples


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
