"""Are the house rules kept, and would a breach be seen?"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from scripts.tasks import ROOT, laws
from scripts.tasks.laws import LAWS, Module, breaches


@pytest.fixture(scope="module")
def package() -> list[Module]:
    """All modules, read once."""
    return list(laws.modules())


@pytest.mark.parametrize("law", LAWS)
def test_the_package_keeps(law: str, package: list[Module]) -> None:
    assert breaches(law, package) == []


BROKEN = {
    "one_way": [
        ("core.lens", "from ..job import errors"),
        ("job.sheet", "from ..scene import stage"),
        ("scene.meshes", "from ..steps.scan import intake"),
        ("steps.scan.intake", "from ...ui import panels"),
        ("scene.meshes", "from .. import cli"),
        ("core.lens", "from blender_addon.core import mesh"),
        ("core.lens", "from ... import build"),
    ],
    "no_blender": [
        ("core.lens", "import bpy"),
        ("core.lens", "def f():\n    from mathutils import Vector"),
        ("job.sheet", "import bmesh"),
        ("scene.meshes", "import scipy.ndimage"),
        ("", "import bpy"),
    ],
    "version_in_compat": [("steps.delivery.render", "import bpy\nNEW = bpy.app.version >= (5, 0, 0)")],
    "no_tricks": [
        ("core.mesh", "import sys\nsys.path.append('x')"),
        ("core.mesh", "import numpy as np\na = np.empty(3)"),
        ("core.mesh", "print('x')"),
        ("scene.cameras", "import bpy\nbpy.app.handlers.load_post.append(f)"),
        ("core.mesh", "from dataclasses import dataclass\n@dataclass(frozen=True)\nclass A:\n    x: int"),
    ],
    "repeatable": [
        ("core.mesh", "import numpy as np\nnp.random.rand(3)"),
        ("core.mesh", "import numpy as np\nrng = np.random.default_rng()"),
        ("core.mesh", "import random"),
        ("steps.delivery.export", "import time\nx = time.time()"),
        ("steps.delivery.export", "from datetime import date"),
        ("steps.scan.intake", "import urllib.request"),
    ],
    "no_state": [("core.mesh", "cache = {}"), ("core.mesh", "x = 1\ndef f():\n    global x\n    x = 2")],
    "explained": [("core.mesh", "x = 1"), ("core.mesh", '"""What?"""\ndef weld(): pass')],
    "short": [("core.mesh", "#\n" * 401)],
    "graspable": [
        ("core.mesh", "def f():\n" + "    x = 1\n" * 61),
        ("core.mesh", "def f(a, b, c, d, e, *, g, h, i):\n    return a"),
    ],
    "standard_words": [
        ("core.mesh", "def told_by(shade: Floats) -> float: pass"),
        ("core.mesh", "pull = 1.0"),
        ("core.mesh", "from .albedo import missed_shading"),
        ("core.shots.framing", "class Stand: pass"),
        ("core.mesh", "lengths = [len(one) for one in rims]"),
    ],
    "converted_once": [
        ("steps.scan.intake", "metres = points / 1000.0"),
        ("scene.shots.cameras", "matrix *= 0.001"),
        ("scene.nodes.relief", 'mm = tree.vector("SCALE", place, scale=1000.0)'),
    ],
    "no_step_named": [
        ("ui.tools", "row = context.scene.bozzetto.camera.shots.add()"),
        ("ui.tools", "settings = sheet['render']"),
        ("ui.tools", "def f():\n    from ..steps.delivery.render import sample_sheet"),
    ],
    "typed": [
        ("core.mesh", "Floats = NDArray[np.floating]"),
        ("core.mesh", "def f(points: NDArray[Any]) -> None: pass"),
        ("steps.scan.intake", "def run(stage: Any) -> None: pass"),
        ("scene.images", "def keep(pixels: Any) -> None: pass"),
        ("core.mesh", "def f(values: dict[str, np.ndarray]) -> None: pass"),
        ("ui.panels", "def draw(self, context): pass"),
    ],
    "parameters_explained": [
        (
            "core.mesh",
            'def f(a: Floats, b: Floats, c: float, d: int) -> None:\n    """Of a, b and c. d is said nowhere: no."""\n'
            'def g(a: Floats, b: Floats, c: float, e: int) -> None:\n    """Of a, b and c."""',
        ),
        (
            "scene.images",
            'class A:\n    def f(self, a: str, b: str, size_mm: tuple[float, float], d: str) -> None:\n        """a, b, d."""',
        ),
    ],
    "numbers_explained": [
        ("core.mesh", "LIMIT = 0.5"),
        ("core.mesh", 'LOW, HIGH = 0.5, 0.7\nOTHER = "a"\n"""Words."""'),
        ("core.mesh", "TABLE = {'a': 1.0}\ndef f(): pass"),
    ],
    "numbers_together": [
        ("core.surface.paint", "FINE = 0.02  # a guess"),
        ("core.surface.relief.fusion", 'LOW, HIGH = -0.5, (0.7, 1)\n"""Guesses."""'),
        ("core.surface.paint", "class PaintConstants:\n    fine: float = 0.02\n    some: int = 3\n    'A guess.'"),
    ],
    "rooms_described": [("core.mesh", '"""Triangles as arrays."""'), ("steps.scan", '"""What?\n\nIn: a.\nOut: b.\n"""')],
}


@pytest.mark.parametrize(("law", "name", "text"), [(law, *case) for law, cases in BROKEN.items() for case in cases])
def test_a_breach_is_seen(law: str, name: str, text: str) -> None:
    assert list(LAWS[law](Module.of(name, text, is_package=law == "rooms_described")))


ALLOWED = [
    ("steps.scan.intake", "from ...core import mesh\nfrom ...scene.meshes import to_arrays\nimport bpy"),
    ("core.mesh", "import numpy as np\nrng = np.random.default_rng(seed)\nz = np.zeros(3)"),
    ("job.runner", "import time\nstart = time.perf_counter()"),
    ("cli", "from .ui import properties\nfrom .job import runner\nprint('x')"),
    ("ui.tools", "settings = settings_for(scene, 'shot')\nui.run_job(folder='dressing')\nfrom ..steps import catalogue"),
    ("", "def register() -> None:\n    from . import ui\n    import bpy"),
    ("core.surface.paint", "class PaintConstants:\n    fine: float = 0.02\n    'A guess.'\nNONE = (1.0, False)  # a mark"),
    ("core.mesh", 'LOW, HIGH = 0.5, 0.7\nMOST = 3\n"""A guess."""\nNAME = "a"\nFEW = 2  # in mm'),
    (
        "core.mesh",
        'def f(mesh: TriangleMesh, seed: int, width_mm: float, places: Floats) -> None:\n    """Of each place (n, 3), mm."""',
    ),
]


@pytest.mark.parametrize(("name", "text"), ALLOWED)
def test_what_is_allowed_passes(name: str, text: str) -> None:
    module = Module.of(name, text, is_package=name == "")
    found = [words for law, check in LAWS.items() if law != "explained" for words in check(module)]
    assert found == []


def test_every_law_has_a_breach_that_shows_it() -> None:
    assert set(BROKEN) == set(LAWS) == set(laws.LAWS)


def test_scripts_and_tests_import_nothing_that_is_gone(package: list[Module], tmp_path: Path) -> None:
    """A bench that runs once a month must not wait for its month to say that a function has moved; nor must the package."""
    assert laws.missing_names(package) == []
    (tmp_path / "scripts").mkdir()
    (tmp_path / "scripts" / "old.py").write_text(
        f"from {'blender_addon'}.core.srgb import decode, gone\nfrom {'blender_addon'}.core import srgb, lost\n"
        "from .other import one\nprint(srgb.decode, srgb.moved)\nPROGRAM = 'import os\\nfrom scripts.away import told'\n"
    )
    said = [words.rpartition(" ")[2] for words in laws.missing_names(package, tmp_path)]
    assert said == ["gone", "lost", "one", "told", "moved"]


def test_what_nothing_uses_is_found(package: list[Module]) -> None:
    """What only a bench or a test needs stands with them."""
    assert laws.uncalled(package) == []
    two = [Module.of("core.mesh", "def used(): pass\ndef left(): pass\nLIMIT = 3\n__all__ = ['left']"),
           Module.of("core.scan", "from .mesh import used\nused()")]  # fmt: skip
    assert [words.rpartition(" ")[2] for words in laws.uncalled(two)] == ["left", "LIMIT"]


def test_annotations_with_any_only_become_fewer(package: list[Module]) -> None:
    assert laws.untyped(package) == []
    text = "from typing import Any\nheld: dict[str, Any] = {}\ndef of(value: Any, other: int) -> list[Any]: ..."
    module = Module.of("scene.meshes", text)
    assert [words for _, words in laws.annotations_with_any(module)] == ["dict[str, Any]", "list[Any]", "Any"]
    assert "lower MOST_ANY" in laws.untyped([module])[0]
    assert "at most" in laws.untyped([module] * laws.MOST_ANY)[0]


def test_scripts_and_tests_say_no_retired_words(tmp_path: Path) -> None:
    assert laws.words_beside() == []
    (tmp_path / "scripts").mkdir()
    (tmp_path / "scripts" / "old.py").write_text("told = 1\nmissed = [2]\nfor one in missed:\n    pass\n")
    assert [words.partition(": ")[0] for words in laws.words_beside(tmp_path)] == ["scripts/old.py:1", "scripts/old.py:3"]


def test_scripts_and_tests_stay_short_and_in_rooms(tmp_path: Path) -> None:
    assert laws.beside() == []
    for folder in ("scripts", "tests"):
        (tmp_path / folder).mkdir()
    (tmp_path / "scripts" / "long.py").write_text('"""Long."""\n' + "x = 1\n" * 400)
    (tmp_path / "scripts" / "unsaid.py").write_text('"""Says nothing of f."""\n\n\ndef f() -> None:\n    pass\n')
    for number in range(17):
        (tmp_path / "scripts" / f"_{number}.py").write_text('"""One of many."""\n')
        (tmp_path / "tests" / f"test_{number}.py").write_text("")
    kinds = [words.partition(":")[0] for words in laws.beside(tmp_path)]
    assert kinds == ["short", "explained", "crowded", "crowded"]


def test_core_and_job_load_where_there_is_no_blender() -> None:
    """With Blender's modules and scipy blocked, each module of core and job imports: it needs numpy alone."""
    names = [m.name for m in laws.modules() if m.part in ("core", "job")]
    code = (
        "import importlib, sys\n"
        "for name in ('bpy', 'mathutils', 'bmesh', 'gpu', 'scipy', 'PIL', 'skimage', 'trimesh'): sys.modules[name] = None\n"
        f"for name in {names!r}: importlib.import_module('blender_addon.' + name)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_nothing_but_the_agreed_folders_stands_at_the_top() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout.splitlines()
    if not listed:
        pytest.skip("not a git checkout")
    tops = {Path(name).parts[0] for name in listed if len(Path(name).parts) > 1}
    assert tops <= {"blender_addon", "tests", "scripts", "assets_demo", ".ci"}
