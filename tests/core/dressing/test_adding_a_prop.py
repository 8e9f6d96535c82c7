"""A prop is added as the guide for contributors says: one file, and nothing else moves."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np

from blender_addon.core.dressing import props
from blender_addon.core.dressing.props import tools

GUIDE = Path(__file__).parents[3] / "DEVELOPERS.md"


def test_the_guides_example_is_found_and_moves_no_other(tmp_path: Path, monkeypatch) -> None:
    """The example stands in the guide as it would in its file; it lies in a second place that the folder is made to look in."""
    example = next(code for code in re.findall(r"```python\n(.*?)```", GUIDE.read_text(), re.S) if 'NAME = "roller"' in code)
    (tmp_path / "roller.py").write_text(example)
    shipped = set(props.kinds())
    before = {name: props.make_prop(name, seed=4).mesh.vertices for name in ("rib", "jar", "pencil")}
    monkeypatch.setattr(tools, "__path__", [*tools.__path__, str(tmp_path)])
    props.kinds.cache_clear()
    try:
        assert "potter" in props.kinds()["roller"].trades
        roller = props.make_prop("roller", seed=4)
        assert 2 * roller.radius > 170.0 and roller.materials == ("beech",)
        for name, vertices in before.items():
            assert np.array_equal(props.make_prop(name, seed=4).mesh.vertices, vertices)
    finally:
        monkeypatch.undo()
        sys.modules.pop(f"{tools.__name__}.roller", None)
        props.kinds.cache_clear()
    assert set(props.kinds()) == shipped
