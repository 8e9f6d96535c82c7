"""Do docstrings say what a reader needs: shapes and units of parameters, reasons of numbers, what goes in and out of a room?"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from .modules import Breach, Module

EXPLAINED = ("core", "job", "scene", "steps")
"""Parts whose public functions explain their parameters; those of `ui` and `cli` are called by Blender and by the parser."""
FEW = 3
"""Parameters that a function's first line can name by itself."""
PLAIN_TYPES = {"float", "int", "bool", "str", "bytes", "Floats", "Ints", "Bools", "Pixels", "Pixels8", "ndarray"}
"""Types that do not say what their value is; a class or a Blender type does, in its own docstring."""
CONTAINERS = {"tuple", "Sequence", "Iterable", "list", "dict", "Mapping", "None", "Collection", "Callable", "np"}
CLEAR = {"seed", "name", "key", "path"}
"""Parameters that are the same everywhere."""
WITH_UNIT = re.compile(r"_(mm|mm2|deg|px|m|percent)$|^px_per_mm$|^mm_per_unit$")
"""Names of single numbers that state their unit."""
LIKE_ALL = {"PLACE", "COST", "RECIPE"}
"""Constants that each file of a folder has, which the folder's docstring or `job/step.py` explains."""
ROOM_LINES = ("In:", "Out:", "Order:")


def parameters_explained(module: Module) -> Iterator[Breach]:
    """A public function of more than three parameters says of each number, text, truth value and array what it is.

    In its own docstring, or, where a module's functions share their parameters, in the module's.
    """
    if module.part not in EXPLAINED:
        return
    of_module = ast.get_docstring(module.tree) or ""
    classes = [node for node in module.tree.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_")]
    for node in [*module.tree.body, *(member for each in classes for member in each.body)]:
        if not isinstance(node, ast.FunctionDef) or node.name.startswith("_") or not ast.get_docstring(node):
            continue
        arguments = [argument for argument in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
                     if argument.arg not in ("self", "cls")]  # fmt: skip
        if len(arguments) <= FEW:
            continue
        words = f"{ast.get_docstring(node)}\n{of_module}"
        missing = [argument.arg for argument in arguments if not _is_clear(argument) and not _named(argument.arg, words)]
        if missing:
            yield node.lineno, f"{node.name} does not say what {', '.join(missing)} is: shape, unit, range"


def _is_clear(argument: ast.arg) -> bool:
    """Whether name and type of a parameter say all there is to say."""
    if argument.annotation is None or argument.arg in CLEAR:
        return True
    names = {part.id for part in ast.walk(argument.annotation) if isinstance(part, ast.Name)}
    names |= {part.attr for part in ast.walk(argument.annotation) if isinstance(part, ast.Attribute)}
    if not names or not names - CONTAINERS <= PLAIN_TYPES:
        return True
    return bool(WITH_UNIT.search(argument.arg)) and names - CONTAINERS == {"float"} and not names & CONTAINERS - {"None"}


def _named(name: str, words: str) -> bool:
    """Whether a text names a parameter, in the singular or the plural."""
    return any(re.search(rf"\b{form}\b", words) for form in (name, name.removesuffix("s"), f"{name}s"))


def numbers_explained(module: Module) -> Iterator[Breach]:
    """Each constant that holds numbers says what they are, by a comment, or by a docstring after it or its group."""
    if module.part not in EXPLAINED:
        return
    lines, body = module.text.splitlines(), module.tree.body
    of_module = ast.get_docstring(module.tree) or ""
    for place, node in enumerate(body):
        names = _constants(node)
        if not names or "#" in lines[node.end_lineno - 1].replace("# fmt", "") or lines[node.lineno - 2].startswith("#"):
            continue
        after = next((other for other in body[place + 1 :] if not _constants(other)), None)
        described = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) and isinstance(after.value.value, str)
        if not described and not any(name in LIKE_ALL or re.search(rf"\b{name}\b", of_module) for name in names):
            yield node.lineno, f"{', '.join(names)}: say what the number is, its unit and its source, or that it is a guess"


def numbers_together(module: Module) -> Iterator[Breach]:
    """In core/surface the numbers of a method are fields of one frozen record, each with its reason; materials' values are not
    of a method."""
    if not module.name.startswith("core.surface") or module.name == "core.surface.reflectance":
        return
    for node in module.tree.body:
        if _constants(node) and _only_numbers(getattr(node, "value", None)):
            yield node.lineno, f"{', '.join(_constants(node))}: make it a field of the method's record of constants"
        elif isinstance(node, ast.ClassDef) and node.name.endswith("Constants"):
            for field, after in zip(node.body, [*node.body[1:], None], strict=True):
                if isinstance(field, ast.AnnAssign) and not isinstance(after, ast.Expr):
                    yield field.lineno, f"{ast.unparse(field.target)}: say what the number is, and why"


def _only_numbers(value: ast.expr | None) -> bool:
    """Whether an expression is a number, or numbers in tuples."""
    if isinstance(value, ast.Tuple):
        return all(map(_only_numbers, value.elts))
    number = value.operand if isinstance(value, ast.UnaryOp) else value
    return isinstance(number, ast.Constant) and type(number.value) in (int, float)


def _constants(node: ast.stmt) -> list[str]:
    """The names in capitals to which a statement gives numbers."""
    if not isinstance(node, (ast.Assign, ast.AnnAssign)) or node.value is None:
        return []
    target = node.targets[0] if isinstance(node, ast.Assign) else node.target
    parts = target.elts if isinstance(target, ast.Tuple) else [target]
    names = [part.id for part in parts if isinstance(part, ast.Name) and part.id.strip("_").isupper()]
    held = any(isinstance(part, ast.Constant) and type(part.value) in (int, float) for part in ast.walk(node.value))
    return names if held else []


def rooms_described(module: Module) -> Iterator[Breach]:
    """Each folder of `core`, `job`, `scene` and `steps` says what goes in, what comes out, and in which order it is read.

    Not a folder of files that are all alike, which says "One file each" or is `declared`.
    """
    if not module.is_package or module.part not in EXPLAINED or module.name in ("steps",) or module.name.endswith(".declared"):
        return
    words = ast.get_docstring(module.tree) or ""
    if re.search(r"\bone file each\b", words, re.IGNORECASE):
        return
    missing = [line for line in ROOM_LINES if not re.search(rf"^{line} ", words, re.MULTILINE)]
    if missing:
        yield 1, f"the folder's docstring has no line {', '.join(missing)}"
