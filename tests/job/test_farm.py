"""An order is carried out whole or not at all, once, and what goes wrong is reported in words."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from blender_addon.job.farm import Order, Painter, Workshop, carried_out, forget_taken

FAKE = Path(__file__).resolve().parents[1] / "fake_painter.py"


def order(name: str, angle: float = 0.0) -> Order:
    return Order(f"turntable/{name}", f"digest{name}", "frame", "turntable", (6, 4), angle, {"samples": 1}, "cpu", 1)


def workshop(folder: Path, seconds: float = 0.0) -> Workshop:
    (folder / "scene.blend").write_bytes(b"BLENDER")
    command = (sys.executable, str(FAKE), str(folder / "noted"), str(seconds), "bad")
    return Workshop(str(folder), str(folder / "scene.blend"), "Scene", command, {}, 1)


def noted(folder: Path) -> list[str]:
    return (folder / "noted").read_text().split() if (folder / "noted").exists() else []


def test_an_order_survives_the_way_there() -> None:
    assert Order.from_plain({**order("0001").plain(), "size": [6, 4]}) == order("0001")


def test_a_picture_appears_whole_and_is_never_made_twice(tmp_path: Path) -> None:
    painters: dict[str, Painter] = {}
    answer = carried_out(workshop(tmp_path), order("0001", 15.0).plain(), painters)
    assert [(Path(answer["folder"]) / name).read_text() for name in answer["files"]] == [
        "turntable/0001 15.0",
        "deep turntable/0001",
    ]
    again = carried_out(workshop(tmp_path), order("0001", 15.0).plain(), {})
    assert again == answer and noted(tmp_path) == ["turntable/0001"], "whoever asks, it lies there already"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["digest0001", "noted", "scene.blend"]
    for painter in painters.values():
        painter.close()


def test_one_painter_serves_until_it_dies_and_the_next_order_has_a_new_one(tmp_path: Path) -> None:
    painters: dict[str, Painter] = {}
    place = workshop(tmp_path)
    carried_out(place, order("0001").plain(), painters)
    first = painters[place.blend]
    with pytest.raises(RuntimeError, match="can't be rendered"):
        carried_out(place, order("bad").plain(), painters)
    with pytest.raises(RuntimeError, match="ended with"):
        carried_out(place, order("die").plain(), painters)
    carried_out(place, order("0002").plain(), painters)
    assert painters[place.blend] is not first and noted(tmp_path) == ["turntable/0001", "turntable/0002"]
    painters[place.blend].close()
    assert not [path for path in tmp_path.iterdir() if ".part-" in path.name], "nothing half-made is left"


def test_a_picture_whose_painter_was_killed_is_made_by_a_new_one(tmp_path: Path) -> None:
    """A process that renders is ended by a person, or by a system short of memory: the run costs only that picture's time."""
    painters: dict[str, Painter] = {}
    answer = carried_out(workshop(tmp_path), order("once").plain(), painters)
    assert (Path(answer["folder"]) / "one.png").is_file() and noted(tmp_path) == ["turntable/once"]
    for painter in painters.values():
        painter.close()


def test_what_an_earlier_run_left_is_used_where_it_is_whole(tmp_path: Path) -> None:
    painters: dict[str, Painter] = {}
    place = workshop(tmp_path)
    for name in ("0001", "0002"):
        carried_out(place, order(name).plain(), painters)
    (tmp_path / "digest0002" / "one.png").unlink()
    (tmp_path / "digest0003.part-x").mkdir()
    forget_taken(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir() if path.is_dir()) == ["digest0001"]
    painters[place.blend].close()


def test_a_machine_that_does_not_see_the_folder_says_so(tmp_path: Path) -> None:
    place = workshop(tmp_path)
    (tmp_path / "scene.blend").unlink()
    with pytest.raises(RuntimeError, match="all machines of a cluster need the job's folder"):
        carried_out(place, order("0001").plain(), {})


def test_when_all_workers_are_gone_the_run_ends_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed", reason="rendering on a cluster needs the package distributed")
    pytest.importorskip("bpy")
    import blender_addon.cli.farm as module
    from blender_addon.job.errors import OutputError

    place = workshop(tmp_path, 0.3)
    monkeypatch.setattr(module, "own_command", lambda: list(place.command))
    monkeypatch.setattr(module, "PATIENCE", 0.5)
    farm = module.ClusterFarm(tmp_path / "out", workers=1)
    try:
        farm.begin(lambda path: path.write_bytes(b"BLENDER"), "Scene")
        came = farm.render([order(f"{number:04d}") for number in range(1, 60)])
        next(came)
        assert farm._work is not None
        farm._work.terminate()
        with pytest.raises(OutputError, match="No worker is left"):
            list(came)
    finally:
        farm.close()


def test_lost_workers_cost_their_own_picture_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A real cluster of two workers, one of them killed at work: every picture comes, once, and none is made again."""
    pytest.importorskip("distributed", reason="rendering on a cluster needs the package distributed")
    pytest.importorskip("bpy")
    import os
    import signal

    import blender_addon.cli.farm as module

    place = workshop(tmp_path, 0.25)
    monkeypatch.setattr(module, "own_command", lambda: list(place.command))
    farm = module.ClusterFarm(tmp_path / "out", workers=2)
    try:
        farm.begin(lambda path: path.write_bytes(b"BLENDER"), "Scene")
        came = []
        for delivered in farm.render([order(f"{number:04d}") for number in range(1, 13)]):
            came.append(delivered.order.name)
            assert delivered.files[0].read_text() == f"{delivered.order.name} 0.0"
            if len(came) == 2:
                victim = next(iter(farm._client.run(os.getpid).values()))
                os.kill(victim, signal.SIGKILL)
        assert sorted(came) == [f"turntable/{number:04d}" for number in range(1, 13)]
        assert sorted(noted(tmp_path)) == sorted(came), "none is lost, and none that was finished is made again"
    finally:
        farm.close()
    assert not (tmp_path / "out" / ".farm").exists()
