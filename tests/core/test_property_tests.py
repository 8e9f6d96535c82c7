"""Has each public function of core a property test, or a stated reason why it has none?"""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

from scripts.tasks import ROOT

CORE = ROOT / "blender_addon" / "core"
HERE = Path(__file__).parent
LISTED = tomllib.loads((HERE / "without_property_test.toml").read_text(encoding="utf-8"))


def _named() -> set[str]:
    """All names in the property tests."""
    found: set[str] = set()
    for path in HERE.glob("test_any_*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Name):
                found.add(node.id)
            elif isinstance(node, ast.Attribute):
                found.add(node.attr)
            elif isinstance(node, ast.alias):
                found.add(node.name)
    return found


def _unnamed(core: Path) -> dict[str, list[str]]:
    """Module, as 'mesh/holes', to its public functions that no property test names."""
    named, found = _named(), {}
    for path in sorted(core.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        functions = [node.name for node in tree.body if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")]
        missing = [name for name in functions if name not in named]
        if missing:
            found[path.relative_to(core).with_suffix("").as_posix()] = missing
    return found


def _listed(module: str, lines: set[str]) -> set[str]:
    """The lines of the list that a module comes under: its own, and those of the rooms that it lies in."""
    return {line for line in lines if module == line or module.startswith(f"{line}/")}


def test_each_public_function_has_a_property_test_or_a_reason() -> None:
    lines = {line for part in LISTED.values() for line in part}
    unnamed = _unnamed(CORE)
    missing = {module: names for module, names in unnamed.items() if not _listed(module, lines)}
    assert not missing, f"neither in a property test (tests/core/test_any_*.py) nor in without_property_test.toml: {missing}"
    needed = {line for module in unnamed for line in _listed(module, lines)}
    assert not lines - needed, f"no longer needed in without_property_test.toml: {sorted(lines - needed)}"
    assert all(len(why) > 5 for part in LISTED.values() for why in part.values())


def test_the_files_that_reasons_name_are_there() -> None:
    for part in LISTED.values():
        for line, why in part.items():
            for word in why.replace(":", " ").replace(",", " ").replace("(", " ").replace(")", " ").split():
                if word.startswith("tests/"):
                    assert (ROOT / word).exists(), f"{line}: {word}"


def test_a_function_that_nobody_lists_is_seen(tmp_path: Path) -> None:
    (tmp_path / "mesh").mkdir()
    (tmp_path / "mesh" / "new.py").write_text("def never_heard_of() -> None: ...\ndef _own() -> None: ...\n", encoding="utf-8")
    assert _unnamed(tmp_path) == {"mesh/new": ["never_heard_of"]}
