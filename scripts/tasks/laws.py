"""Does the package keep the house rules? Imports one way, no Blender in core and job, no state, clock or network; see LAWS.

Each law reads one module's syntax tree and yields what breaks it. `python -m scripts.tasks.laws` prints all breaches.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from . import PACKAGE, ROOT
from .laws_of_docstrings import numbers_explained, numbers_together, parameters_explained, rooms_described
from .laws_of_names import missing_names, modules_beside, standard_words, uncalled, words_beside
from .modules import Breach, Module, modules

ORDER = {"core": 0, "job": 1, "scene": 2, "steps": 3, "ui": 4, "cli": 4, "": 5}
"""Import law: a part imports from itself and from no higher number; '' is the package's own `__init__`."""
BLENDER = {"bpy", "mathutils", "bmesh", "gpu", "gpu_extras", "blf", "bpy_extras", "bl_ui", "addon_utils", "idprop", "imbuf"}
NETWORK = {"socket", "ssl", "http", "ftplib", "smtplib", "requests", "urllib3", "xmlrpc", "webbrowser"}
CLOCKS = {"time.time", "time.localtime", "time.gmtime", "time.strftime", "time.ctime", "datetime"}
LONG = 400
ARRAYS = {
    "points", "vertices", "faces", "normals", "directions", "origins", "weights", "uv", "colours", "pixels", "mask", "heights",
    "slopes", "places",
}  # fmt: skip
"""Names that parameters give to arrays."""
ROOMS = ("scan", "surface", "shots", "dressing", "delivery")
"""The folders of steps."""
MOST_ANY = 245
"""Annotations that may still hold `Any`. The number only falls: whoever gives some of them a type lowers it."""
MODULES, LINES, PARAMETERS = 16, 60, 7
"""Modules a folder, lines a function (its docstring apart), parameters a function, at most."""


def _imports(module: Module) -> Iterator[tuple[int, str, int]]:
    """(line, dotted name, level): level 0 from outside, else resolved within the package ('' is its top)."""
    base = module.name.split(".") if module.name else []
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name, 0
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            yield node.lineno, node.module or "", 0
        elif isinstance(node, ast.ImportFrom):
            up = node.level - (1 if module.is_package else 0)
            place = base[: len(base) - up] if up else base
            if up > len(base):
                yield node.lineno, "(outside the package)", node.level
                continue
            for alias in node.names:
                yield (
                    node.lineno,
                    ".".join([*place, *((node.module or "").split(".") if node.module else []), alias.name]),
                    node.level,
                )


def _dotted(node: ast.expr) -> str:
    """'np.random.rand' of an attribute chain, '' of anything else."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        inner = _dotted(node.value)
        return f"{inner}.{node.attr}" if inner else ""
    return ""


def _attributes(module: Module) -> Iterator[tuple[int, str]]:
    for node in ast.walk(module.tree):
        if isinstance(node, (ast.Attribute, ast.Name)):
            dotted = _dotted(node)
            if dotted:
                yield node.lineno, dotted


def one_way(module: Module) -> Iterator[Breach]:
    """Imports go core <- job <- scene <- steps <- ui, cli, and are relative."""
    for line, name, level in _imports(module):
        if level == 0:
            if name.split(".")[0] in ("blender_addon", "bl_ext"):
                yield line, f"imports {name} by its absolute name; extensions need relative imports"
            continue
        target = name.split(".")[0]
        if name == "(outside the package)":
            yield line, "imports from outside the package"
        elif target in ORDER and ORDER[target] > ORDER.get(module.part, 5):
            yield line, f"{module.part} must not import {target}"


def no_blender(module: Module) -> Iterator[Breach]:
    """core and job import no Blender, core nothing but numpy and the standard library, the rest nothing but these."""
    standard = sys.stdlib_module_names
    for line, name, level in _imports(module):
        top = name.split(".")[0]
        if level or not top or top in standard or top == "numpy":
            continue
        if top not in BLENDER:
            yield line, f"imports {top}, which Blender does not carry for sure"
        elif module.part in ("core", "job", ""):
            inside = module.part or "the package's __init__"
            if module.part or _at_top(module, line):
                yield line, f"{inside} imports {top}"


def _at_top(module: Module, line: int) -> bool:
    return any(node.lineno == line for node in module.tree.body if isinstance(node, (ast.Import, ast.ImportFrom)))


def version_in_compat(module: Module) -> Iterator[Breach]:
    """Only scene/compat.py looks at Blender's version."""
    if module.name == "scene.compat":
        return
    for line, name in _attributes(module):
        if name.startswith("bpy.app.version"):
            yield line, f"{name} outside scene/compat.py"


def no_tricks(module: Module) -> Iterator[Breach]:
    """No sys.path, no numpy.empty, no print but in cli, no handlers that would outlive the add-on's absence, no reload."""
    for line, name in _attributes(module):
        if name.startswith("sys.path") or name.startswith("sys.modules"):
            yield line, name
        elif name in ("np.empty", "numpy.empty", "np.empty_like", "numpy.empty_like"):
            yield line, f"{name}: memory that was never written; use zeros or full"
        elif name == "print" and module.part != "cli":
            yield line, "print outside cli.py; tell the user by a note"
        elif name.startswith("bpy.app.handlers") and module.part != "ui":
            yield line, f"{name}: what steps make must work without the add-on"
        elif name == "importlib.reload":
            yield line, name
    if "@dataclass(frozen=True)" in module.text:
        yield 1, "a frozen dataclass is a record (core/records.py)"


def repeatable(module: Module) -> Iterator[Breach]:
    """No clock (a stopwatch is none), no network, random numbers only from a seeded generator."""
    for line, name, level in _imports(module):
        top = name.split(".")[0]
        if level == 0 and (top in NETWORK or name.startswith("urllib.request")):
            yield line, f"imports {name}: nothing reads the network"
        if level == 0 and (top in ("random", "secrets", "uuid", "datetime")):
            yield line, f"imports {top}: runs must repeat"
    for line, name in _attributes(module):
        if name in CLOCKS:
            yield line, f"{name}: nothing reads the clock"
        parts = name.split(".")
        if parts[:2] in (["np", "random"], ["numpy", "random"]) and len(parts) == 3:
            if parts[2] not in ("default_rng", "Generator", "PCG64", "SeedSequence"):
                yield line, f"{name}: use a seeded default_rng"
    for node in ast.walk(module.tree):
        if (
            isinstance(node, ast.Call)
            and _dotted(node.func).endswith("random.default_rng")
            and not (node.args or node.keywords)
        ):
            yield node.lineno, "default_rng() without a seed"


def no_state(module: Module) -> Iterator[Breach]:
    """No state in modules: no `global`, no module-level list, dict or set under a name in small letters.

    Only `ui` keeps something: the handles that Blender gives out at registration and wants back.
    """
    if module.part == "ui":
        return
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Global):
            yield node.lineno, f"global {', '.join(node.names)}"
    for statement in module.tree.body:
        targets = statement.targets if isinstance(statement, ast.Assign) else []
        if isinstance(statement, ast.AnnAssign) and statement.value is not None:
            targets = [statement.target]
        value = getattr(statement, "value", None)
        if isinstance(value, (ast.List, ast.Dict, ast.Set)) and any(
            isinstance(t, ast.Name) and t.id.strip("_").islower() and not t.id.startswith("__") for t in targets
        ):
            yield statement.lineno, "module-level state"


def explained(module: Module) -> Iterator[Breach]:
    """Each package, module, public class and public function says in its docstring what it is for.

    A step's `Settings` and `run` are the same in all steps: the step's module says what they are for.
    """
    if not ast.get_docstring(module.tree):
        yield 1, "no docstring that says what question it answers"
    for node in module.tree.body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_") and not ast.get_docstring(node):
            if not (module.part == "steps" and node.name in ("Settings", "run")):
                yield node.lineno, f"{node.name} has no docstring"


def short(module: Module) -> Iterator[Breach]:
    """Files of 400 lines at most."""
    lines = module.text.count("\n")
    if lines > LONG:
        yield lines, f"{lines} lines; split it by question ({LONG} at most)"


def graspable(module: Module) -> Iterator[Breach]:
    """A function is seen whole (60 lines beside its docstring) and takes seven parameters at most."""
    for node in ast.walk(module.tree):
        if not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            continue
        lines = (node.end_lineno or node.lineno) - node.lineno + 1
        if ast.get_docstring(node):
            lines -= (node.body[0].end_lineno or 0) - node.body[0].lineno + 1
        if lines > LINES:
            yield node.lineno, f"{node.name} has {lines} lines; split it into named steps ({LINES} at most)"
        names = [argument.arg for argument in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
        count = len(names) - (names[:1] in (["self"], ["cls"]))
        if count > PARAMETERS:
            yield node.lineno, f"{node.name} takes {count} parameters; group what belongs together ({PARAMETERS} at most)"


def _annotating(module: Module) -> set[int]:
    """The ids of all nodes within annotations."""
    found: list[ast.expr | None] = []
    for node in ast.walk(module.tree):
        if isinstance(node, (ast.arg, ast.AnnAssign)):
            found.append(node.annotation)
        elif isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            found.append(node.returns)
    return {id(part) for annotation in found if annotation is not None for part in ast.walk(annotation)}


def typed(module: Module) -> Iterator[Breach]:
    """Arrays have the names of core/arrays.py, a stage is a `Stage`, and each function says what it returns."""
    annotating = _annotating(module)
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Subscript) and _dotted(node.value) == "NDArray" and module.name != "core.arrays":
            yield node.lineno, f"{ast.unparse(node)}: use a name of core/arrays.py"
        elif isinstance(node, ast.Attribute) and _dotted(node) in ("np.ndarray", "numpy.ndarray") and id(node) in annotating:
            yield node.lineno, "np.ndarray: use a name of core/arrays.py (AnyArray where the kind is open)"
        elif isinstance(node, ast.arg) and node.annotation is not None:
            if node.arg in ARRAYS and ast.unparse(node.annotation) in ("Any", "Any | None"):
                yield node.lineno, f"{node.arg}: {ast.unparse(node.annotation)}; say what the array holds (core/arrays.py)"
            if node.arg == "stage" and "Stage" not in ast.unparse(node.annotation):
                yield node.lineno, f"stage: {ast.unparse(node.annotation)}; a stage is a Stage"
        elif isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) and node.returns is None and node.name != "__init__":
            yield node.lineno, f"{node.name} doesn't say what it returns"


def annotations_with_any(module: Module) -> Iterator[tuple[int, str]]:
    """(line, annotation) of each parameter, result and variable whose annotation holds `Any`."""
    for node in ast.walk(module.tree):
        if isinstance(node, (ast.arg, ast.AnnAssign)):
            annotation = node.annotation
        elif isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            annotation = node.returns
        else:
            continue
        if annotation is not None and any(isinstance(part, ast.Name) and part.id == "Any" for part in ast.walk(annotation)):
            yield annotation.lineno, ast.unparse(annotation)


def untyped(package: Iterable[Module]) -> list[str]:
    """What is wrong with the number of annotations that hold `Any`: too many, or a limit that is no longer the number."""
    count = sum(1 for module in package for _ in annotations_with_any(module))
    if count > MOST_ANY:
        return [f"{count} annotations hold Any, {MOST_ANY} at most: say what it is (bpy.types, core/arrays.py, a Protocol)"]
    if count < MOST_ANY - 5:
        return [f"{count} annotations hold Any: lower MOST_ANY in scripts/tasks/laws.py from {MOST_ANY}, so that it only falls"]
    return []


def crowded(package: Iterable[Module]) -> list[str]:
    """The folders that hold more than 16 modules."""
    count: dict[str, int] = {}
    for module in package:
        if not module.is_package:
            folder = module.name.rpartition(".")[0]
            count[folder] = count.get(folder, 0) + 1
    return [f"{folder.replace('.', '/')}: {number} modules; give it rooms ({MODULES} at most)"
            for folder, number in sorted(count.items()) if number > MODULES]  # fmt: skip


def beside(root: Path = ROOT) -> list[str]:
    """What breaks the laws that scripts and tests keep, too: short files, few modules a folder, docstrings in scripts."""
    placed = list(modules_beside(root))
    found = [f"short: {path}:{line}: {words}" for path, module in placed for line, words in short(module)]
    found += [f"explained: {path}:{line}: {words}" for path, module in placed if path.startswith("scripts/")
              for line, words in explained(module)]  # fmt: skip
    return found + [f"crowded: {words}" for words in crowded(module for _, module in placed)]


CALCULATING = ("MULTIPLY", "MULTIPLY_ADD", "DIVIDE", "SCALE")
"""Operations of a node of Blender's that may convert a length."""


def converted_once(module: Module) -> Iterator[Breach]:
    """Millimetres become metres by `MM` and `METRES` of scene/meshes.py, not by a number."""
    if module.part not in ("scene", "steps", "ui") or module.name in ("scene.meshes", "scene.nodes.finish"):
        return
    for node in ast.walk(module.tree):
        factors: list[ast.expr] = []
        if isinstance(node, ast.BinOp) and isinstance(node.op, (ast.Mult, ast.Div)):
            factors = [node.left, node.right]
        elif isinstance(node, ast.AugAssign) and isinstance(node.op, (ast.Mult, ast.Div)):
            factors = [node.value]
        elif (
            isinstance(node, ast.Call) and node.args and getattr(node.args[0], "value", None) in ("MULTIPLY", "DIVIDE", "SCALE")
        ):
            factors = [*node.args, *(keyword.value for keyword in node.keywords)]
        for factor in factors:
            if isinstance(factor, ast.Constant) and isinstance(factor.value, float) and factor.value in (1000.0, 0.001):
                yield node.lineno, f"{ast.unparse(node)}: convert by MM or METRES of scene/meshes.py"


def no_step_named(module: Module) -> Iterator[Breach]:
    """Panels and operators find a step by the role it makes (`job/step.py: maker`), never by its name."""
    if module.part != "ui":
        return
    files = list((PACKAGE / "steps").glob("*/**/*.py"))
    lines = [line for path in files for line in path.read_text("utf-8").splitlines() if line.startswith("MAKES = ")]
    roles = set(re.findall(r'"(\w+)"', " ".join(lines)))  # a role may have its step's name
    steps = {path.stem for path in files} - {*ROOMS, *roles}
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Constant) and node.value in steps:
            yield node.lineno, f'names the step "{node.value}"'
        elif isinstance(node, ast.Attribute) and node.attr in steps and _dotted(node.value).endswith("bozzetto"):
            yield node.lineno, f"names the step {node.attr}"
    for line, name, level in _imports(module):
        if level and name.startswith("steps.") and name.split(".")[1] in ROOMS:
            yield line, f"imports {name}: take it from the step's `work`"


LAWS: dict[str, Callable[[Module], Iterator[Breach]]] = {
    "one_way": one_way,
    "no_blender": no_blender,
    "version_in_compat": version_in_compat,
    "no_tricks": no_tricks,
    "repeatable": repeatable,
    "no_state": no_state,
    "explained": explained,
    "short": short,
    "graspable": graspable,
    "typed": typed,
    "standard_words": standard_words,
    "converted_once": converted_once,
    "no_step_named": no_step_named,
    "parameters_explained": parameters_explained,
    "numbers_explained": numbers_explained,
    "numbers_together": numbers_together,
    "rooms_described": rooms_described,
}


def breaches(law: str, package: Iterable[Module]) -> list[str]:
    """What breaks a law in these modules, as 'core/mesh/triangles.py:12: words'."""
    found = []
    for module in package:
        path = module.name.replace(".", "/") + ("/__init__.py" if module.is_package else ".py")
        found += [f"{path.lstrip('/')}:{line}: {words}" for line, words in LAWS[law](module)]
    return sorted(set(found))


def main() -> int:
    """Print all breaches."""
    count, package = 0, list(modules())
    for law in LAWS:
        for words in breaches(law, package):
            print(f"{law}: {words}")
            count += 1
    for words in crowded(package):
        print(f"crowded: {words}")
        count += 1
    for words in untyped(package):
        print(f"untyped: {words}")
        count += 1
    for words in missing_names(package):
        print(f"missing: {words}")
        count += 1
    for words in beside():
        print(words)
        count += 1
    for words in words_beside():
        print(f"standard_words: {words}")
        count += 1
    for words in uncalled(package):
        print(f"uncalled: {words}")
        count += 1
    print(f"{count} breaches" if count else "the laws are kept")
    return 1 if count else 0


if __name__ == "__main__":
    sys.exit(main())
