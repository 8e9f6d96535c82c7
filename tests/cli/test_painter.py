"""A process that renders for a job answers each order by its picture, says what it can't make, and ends with its input."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from blender_addon.cli.itself import own_command, own_environment
from blender_addon.job.farm import Order, Painter, Workshop

BLEND = Path(__file__).parents[1] / "samples" / "0.1.0" / "job.blend"
QUALITY = {"samples": 2, "noise": 0.0, "denoise": False, "careful": False}


def order(name: str, *, shot: str = "hero", seed: int = 1) -> dict:
    return Order(f"pictures/{name}", name, "still", shot, (48, 32), 0.0, QUALITY, "cpu", seed).plain()


def test_the_painter_renders_what_it_is_asked_for(tmp_path: Path) -> None:
    environment = {"PYTHONPATH": own_environment()["PYTHONPATH"]}
    place = Workshop(str(tmp_path), str(BLEND), "Scene", (*own_command(), "paint"), environment, 1)
    painter = Painter(place)
    try:
        pictures = {}
        for name, shot, seed in (("hero", "hero", 1), ("other", "hero", 2), ("back", "back", 2)):
            folder = tmp_path / name
            folder.mkdir()
            files = painter.render(order(name, shot=shot, seed=seed), folder)["files"]
            assert files[0] == f"pictures/{name}.png", "as in a job's folder, so that slices of a bracket lie beside it"
            assert all((folder / file).is_file() for file in files)
            pictures[name] = np.array(Image.open(folder / files[0]))
            with pytest.raises(RuntimeError, match="gone"):  # an order that fails stops no other
                painter.render(order("none", shot="gone"), tmp_path)
        assert all(picture.shape[:2] == (32, 48) and picture.std() > 5 for picture in pictures.values())
        assert np.abs(pictures["other"].astype(float) - pictures["back"]).mean() > 3.0
        assert not np.array_equal(pictures["hero"], pictures["other"]), "each by the noise of its own seed"
        painter._work.stdin.close()
        assert painter._work.wait(timeout=60) == 0
    finally:
        painter.close()
