"""The reference of all settings as Markdown, made from their declarations; DEVELOPERS.md and `bozzetto steps` show it."""

from __future__ import annotations

from collections.abc import Sequence

from .settings import Spec, specs
from .step import Step


def as_markdown(steps: Sequence[Step]) -> str:
    """A section a step with a table of its settings."""
    parts = []
    for step in steps:
        parts.append(f"## {step.name}\n\n{step.help}\n")
        parts.append(_table(step.settings))
    return "\n".join(parts)


def _table(settings: type) -> str:
    rows = ["| setting | default | limits | what it is |", "|---|---|---|---|"]
    later = []
    default = settings()
    for name, spec in specs(settings).items():
        rows.append(f"| `{name}` | {_default(getattr(default, name), spec)} | {_limits(spec)} | {spec.help} |")
        if spec.kind == "table" and spec.row is not None:
            later.append(f"Each row of `{name}`:\n\n{_table(spec.row)}")
    return "\n".join([*rows, "", *later])


def _default(value: object, spec: Spec) -> str:
    if value is None:
        return "auto"
    if spec.kind == "table":
        return "none"
    return f"`{value}`"


def _limits(spec: Spec) -> str:
    if spec.choices:
        return ", ".join(f"`{key}`" for key, _, _ in spec.choices)
    if spec.low is None or spec.high is None:
        return spec.unit
    return f"{spec.low:g} to {spec.high:g} {spec.unit}".strip()
