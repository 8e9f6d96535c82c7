"""The package's modules as the laws read them: dotted name, text, syntax tree."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from . import PACKAGE

Breach = tuple[int, str]
"""Line, and what is wrong there."""


@dataclass(frozen=True)
class Module:
    """One module of the package: its dotted place ('core.mesh'), its part ('core'), text and syntax tree."""

    name: str
    part: str
    text: str
    tree: ast.Module
    is_package: bool

    @classmethod
    def of(cls, name: str, text: str, *, is_package: bool = False) -> Module:
        """From its dotted place and its text."""
        return cls(name, name.split(".")[0], text, ast.parse(text), is_package)


def modules(folder: Path = PACKAGE) -> Iterator[Module]:
    """All modules of the package."""
    for path in sorted(folder.rglob("*.py")):
        parts = list(path.relative_to(folder).with_suffix("").parts)
        is_package = parts[-1] == "__init__"
        name = ".".join(parts[:-1] if is_package else parts)
        yield Module.of(name, path.read_text(encoding="utf-8"), is_package=is_package)
