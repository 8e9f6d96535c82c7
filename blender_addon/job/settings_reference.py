"""The reference of all settings as Markdown, made from their declarations; DEVELOPERS.md and `bozzetto steps` show it."""

from __future__ import annotations

from collections.abc import Sequence

from .settings import Spec, specs
from .step import Step


def as_markdown(steps: Sequence[Step]) -> str:
    """A section for each step with a table of its settings, the meaning of their choices, and a table for each list's rows."""
    parts = []
    for step in steps:
        parts.append(f"## {step.name}\n\n{step.help}\n")
        parts.append(_table(step.settings))
    return "\n".join(parts)


def _table(settings: type) -> str:
    rows = ["| setting | default | limits | what it is |", "|---|---|---|---|"]
    choices, later = [], []
    default = settings()
    for name, spec in specs(settings).items():
        rows.append(f"| `{name}` | {_default(getattr(default, name), spec)} | {_limits(spec)} | {spec.help} |")
        if spec.choices:
            choices += [f"- `{name} = {key}`: {label}. {words}" for key, label, words in spec.choices]
        if spec.kind == "table" and spec.row is not None:
            later.append(f"Each row of `{name}`:\n\n{_table(spec.row)}")
    return "\n".join([*rows, "", *([*choices, ""] if choices else []), *later])


def _default(value: object, spec: Spec) -> str:
    if value is None:
        return "auto"
    if spec.kind == "table":
        return "none"
    if value == "":
        return "empty"
    return f"`{str(value).lower()}`" if isinstance(value, bool) else f"`{value}`"


def _limits(spec: Spec) -> str:
    if spec.choices:
        return ", ".join(f"`{key}`" for key, _, _ in spec.choices)
    if spec.low is None or spec.high is None:
        return spec.unit
    return f"{_plain(spec.low)} to {_plain(spec.high)} {spec.unit}".strip()


def _plain(value: float) -> str:
    """A limit without an exponent: 20,000,000 rather than 2e+07."""
    return f"{int(value):,}" if value == int(value) else f"{value:g}"
