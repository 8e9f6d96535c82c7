"""Do names say what they stand for, is what is named there, and is what is defined used?"""

from __future__ import annotations

import ast
import contextlib
import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from . import ROOT
from .modules import Breach, Module

RETIRED = {
    "told": "what is known or reported (remarks, reasons, confidence)",
    "untold": "what is not known",
    "openly": "how open it lies (openness)",
    "missed": "what remains (residual)",
    "pull": "which quantity (tangential irradiance, bias, weight)",
    "pulls": "which quantity",
    "strewn": "sampled, or spread",
    "foretold": "predicted",
    "delit": "albedo",
    "delight": "albedo",
}
"""Words of our own that names once used, and what to say instead."""
RETIRED_NAMES = {
    "Stand": "a camera's pose is a CameraPose; the thing under a piece is a part",
    "Made": "what was made",
    "made": "what was made",
    "Surface": "which surface (TexturedSurface, MaterialSurface)",
    "one": "what it is (photo, shot, item)",
}
"""Whole names that stood for more than one thing, and what to say instead."""
NAMED: dict[type, tuple[str, ...]] = {
    ast.Name: ("id",), ast.arg: ("arg",), ast.keyword: ("arg",), ast.Attribute: ("attr",), ast.FunctionDef: ("name",),
    ast.ClassDef: ("name",), ast.alias: ("name", "asname"),
}  # fmt: skip
"""The parts of a syntax tree that carry names."""
NOT_IN_SCRIPTS = {"missed", "made"}
"""Of these, what benches may say: a figure misses its limit; a texture is made."""
CALLED_BY_BLENDER = {"invoke", "modal", "poll_drop"}
"""Methods of operators and drop targets that Blender calls by their names and nothing of ours does."""


def standard_words(module: Module, but: frozenset[str] | set[str] = frozenset()) -> Iterator[Breach]:
    """Names say what they are in the words of the field; see RETIRED for those that nobody outside could know.

    but: words that may be said here.
    """
    for node in ast.walk(module.tree):
        for field in NAMED.get(type(node), ()):
            name = getattr(node, field) or ""
            for word in (RETIRED.keys() - but) & set(name.lower().replace(".", "_").split("_")):
                yield getattr(node, "lineno", 1), f'"{name}": for "{word}" say {RETIRED[word]}'
            if name in RETIRED_NAMES.keys() - but:
                yield getattr(node, "lineno", 1), f'"{name}": say {RETIRED_NAMES[name]}'


def names_of(module: Module) -> set[str]:
    """What a module defines or imports at its top, also inside its `if` and `try` blocks."""
    found: set[str] = set()
    waiting: list[ast.stmt] = list(module.tree.body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            found.add(node.name)
            continue
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            found |= {alias.asname or alias.name.split(".")[0] for alias in node.names}
        found |= {name.id for name in ast.walk(node) if isinstance(name, ast.Name) and isinstance(name.ctx, ast.Store)}
        waiting += [child for child in ast.iter_child_nodes(node) if isinstance(child, ast.stmt)]
    return found


def missing_names(package: Iterable[Module], root: Path = ROOT) -> list[str]:
    """What the package, scripts and tests import, or read of a module, that is not there any more: moved, or renamed."""
    package = list(package)
    known = {f"blender_addon.{module.name}".rstrip("."): names_of(module) for module in package}
    placed = [(f"blender_addon/{module.name.replace('.', '/')}.py", replace(module, name=f"blender_addon.{module.name}"))
              for module in package if module.name]  # fmt: skip
    for path, module in modules_beside(root):
        placed.append((path, module))
        known[module.name] = names_of(module)
    return [f"{place}:{line}: {words}" for place, module in placed for line, words in _missing(module, known)]


def modules_beside(root: Path) -> Iterator[tuple[str, Module]]:
    """The modules of scripts and tests, each with its path."""
    for path in [path for folder in ("scripts", "tests") for path in sorted((root / folder).rglob("*.py"))]:
        parts = path.relative_to(root).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        yield str(path.relative_to(root)), Module.of(name, path.read_text(encoding="utf-8"), is_package=parts[-1] == "__init__")


def words_beside(root: Path = ROOT) -> list[str]:
    """What breaks `standard_words` in scripts and tests."""
    return [f"{path}:{line}: {words}" for path, module in modules_beside(root)
            for line, words in sorted(set(standard_words(module, NOT_IN_SCRIPTS)))]  # fmt: skip


def _missing(module: Module, known: dict[str, set[str]]) -> Iterator[Breach]:
    """What one module imports, or reads of a module that it imports, that `known` modules do not have."""
    modules_here: dict[str, str] = {}
    for line, node in _imports(module.tree):
        target = node.module or ""
        if node.level:
            up = node.level - (1 if module.is_package else 0)
            base = module.name.split(".")
            target = ".".join([*base[: len(base) - up], *([target] if target else [])])
        if target.split(".")[0] not in ("blender_addon", "scripts", "tests"):
            continue
        for alias in node.names:
            if f"{target}.{alias.name}" in known:
                modules_here[alias.asname or alias.name] = f"{target}.{alias.name}"
            elif alias.name not in known.get(target, set()):
                yield line, f"{target} has no {alias.name}"
    own = {node.id for node in ast.walk(module.tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
    own |= {node.arg for node in ast.walk(module.tree) if isinstance(node, ast.arg)}
    for node in ast.walk(module.tree):
        if not isinstance(node, ast.Attribute) or not isinstance(node.value, ast.Name) or node.value.id in own:
            continue
        target = modules_here.get(node.value.id, "")
        if target and node.attr not in known[target] and f"{target}.{node.attr}" not in known and node.attr[:2] != "__":
            yield node.lineno, f"{target} has no {node.attr}"


def _imports(tree: ast.Module) -> Iterator[tuple[int, ast.ImportFrom]]:
    """The imports of names in a module, also those in strings that are a program for another process, with their lines."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            yield node.lineno, node
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and " import " in node.value:
            with contextlib.suppress(SyntaxError):  # a sentence
                for inner in ast.walk(ast.parse(textwrap.dedent(node.value))):
                    if isinstance(inner, ast.ImportFrom) and not inner.level:
                        yield node.lineno + inner.lineno - 1, inner


def uncalled(package: Iterable[Module]) -> list[str]:
    """Functions, classes and constants of the package that nothing in the package uses.

    What only a bench or a test needs stands with them. A name counts as used where it is read, or stands in a string by itself.
    """
    used: set[str] = set()
    defined: list[tuple[str, int, str]] = []
    for module in package:
        path = module.name.replace(".", "/") + ("/__init__.py" if module.is_package else ".py")
        exported = {id(part) for node in module.tree.body if isinstance(node, ast.Assign) and _is_all(node)
                    for part in ast.walk(node.value)}  # fmt: skip
        for node in ast.walk(module.tree):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                used.add(node.id)
            elif isinstance(node, ast.Attribute):
                used.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in exported:
                used.add(node.value)
            elif isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
                defined.append((path, node.lineno, node.name))
        for node in module.tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
            defined += [(path, node.lineno, target.id) for target in targets if isinstance(target, ast.Name)]
    allowed = used | CALLED_BY_BLENDER
    return [f"{path}:{line}: nothing in the package uses {name}" for path, line, name in defined
            if name not in allowed and name[:2] != "__"]  # fmt: skip


def _is_all(node: ast.Assign) -> bool:
    return any(isinstance(target, ast.Name) and target.id == "__all__" for target in node.targets)
