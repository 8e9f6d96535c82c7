"""Is the guide true? The examples of DEVELOPERS.md are added to a copy of the package and used, and what it names is there."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from scripts.tasks import ROOT
from scripts.tasks.laws import LAWS, Module, annotations_with_any

GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
EXAMPLE = re.compile(r"```python\n# (blender_addon/\S+\.py)\n(.*?)```", re.DOTALL)
LINE = re.compile(r"```python\n# one line of KINDS in (\S+)\n(.*?)```", re.DOTALL)

USE = """
import json, sys
sys.path.insert(0, sys.argv[1])
import bpy
import numpy as np
from blender_addon.core.dressing.light_setups import SETUPS, make_setup
from blender_addon.core.dressing.props import make_prop
from blender_addon.core.dressing.trades import TRADES, trade_of
from blender_addon.job.settings_reference import as_markdown
from blender_addon.job.runner import finish
from blender_addon.job.sheet import blank
from blender_addon.scene.nodes.materials import Maps, albedo_of, make_material
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.surfaces import samples, surface_of
from blender_addon.steps import catalogue
from blender_addon.steps.surface.material import Settings

step = next(step for step in catalogue() if step.name == "weight")
bpy.ops.mesh.primitive_cube_add(size=0.02)


class One(Stage):
    def require(self, role, key=""):
        return bpy.context.object


result = finish(step.run(One(bpy.context.scene, blank(catalogue())), step.settings()))
material = make_material("Slip", surface_of("slip", Settings(piece="slip")), Maps())
setup = make_setup("skylight", subject=np.zeros(3), size=100.0, camera=np.array([0.0, -1.0, 0.0]))
print("RESULT" + json.dumps({
    "order": [step.name for step in catalogue()],
    "reference": "`density`" in as_markdown([step]),
    "grams": result.figures["grams"],
    "albedo": albedo_of(material),
    "sample": [label for label, kind, _ in samples() if kind == "slip"],
    "trade": trade_of("slip").key,
    "roller": make_prop("roller", seed=1).mesh.vertices.shape[1],
    "bench": "roller" in [kind.name for kind in TRADES["potter"].props()],
    "setups": [key for key, _, _ in SETUPS],
    "overhead": bool(setup.lamps[0].centre[2] > 1000.0),
}))
"""


def _added(folder: Path) -> dict[str, str]:
    """A copy of the package with the guide's examples in it; their text by their place."""
    shutil.copytree(ROOT / "blender_addon", folder / "blender_addon", ignore=shutil.ignore_patterns("__pycache__"))
    examples = dict(EXAMPLE.findall(GUIDE))
    for name, text in examples.items():
        assert (folder / name).parent.is_dir() and not (folder / name).exists()
        (folder / name).write_text(text, encoding="utf-8")
    for name, line in LINE.findall(GUIDE):
        file = folder / name
        text = file.read_text(encoding="utf-8")
        assert text.count("\n    )\n}\n") == 1  # the end of KINDS
        file.write_text(text.replace("\n    )\n}\n", f"\n{line}    )\n}}\n"), encoding="utf-8")
    return examples


def test_the_guides_step_material_prop_and_light_work_as_they_stand(tmp_path: Path) -> None:
    examples = _added(tmp_path)
    assert len(examples) == 4 and len(LINE.findall(GUIDE)) == 1
    for name, text in examples.items():
        module = Module.of(name.removeprefix("blender_addon/").removesuffix(".py").replace("/", "."), text)
        assert [words for law in LAWS.values() for _, words in law(module)] == [] and not list(annotations_with_any(module))
    done = subprocess.run(
        [sys.executable, "-c", USE, str(tmp_path)], capture_output=True, text=True, check=False, cwd=tmp_path, timeout=300
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith("RESULT")]
    assert lines, done.stderr[-2000:]
    found = json.loads(lines[0].removeprefix("RESULT"))
    assert found["order"].index("weight") > found["order"].index("separation")  # which makes the piece
    assert found["reference"]
    assert found["grams"] == pytest.approx(1.9 * 8.0, abs=0.1)  # a cube of 2 cm, 8 cm3
    assert found["albedo"] == pytest.approx([0.35, 0.12, 0.06], abs=1e-6) and found["sample"] == ["Red slip"]
    assert found["trade"] == "potter" and found["bench"] and found["roller"] == 3
    assert found["setups"][-1] == "skylight" and found["overhead"]


def test_what_the_guide_names_is_there() -> None:
    """Files and folders named in backquotes stand where it says, below the top or below the package."""
    named = set(re.findall(r"`((?:core|job|scene|steps|ui|scripts|tests|assets_demo)/[\w./]*)`", GUIDE))
    examples = {name.removeprefix("blender_addon/") for name, _ in EXAMPLE.findall(GUIDE)}
    missing = [name for name in named - examples if not any((top / name).exists() or (top / f"{name}.py").exists()
               for top in (ROOT, ROOT / "blender_addon"))]  # fmt: skip
    assert not missing
