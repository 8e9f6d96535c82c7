"""The settings on screen as a job sheet: metres become millimetres, radians degrees."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import bpy

from ..job.files.names import cleaned
from ..job.settings import Spec, specs
from ..job.sheet import JobSheet, blank
from ..job.step import Step

AS_SHOWN = ("switch", "choice", "text", "integer")
"""Kinds of settings whose value on screen is that of the sheet."""
DATA = {"object": bpy.types.Object, "collection": bpy.types.Collection, "image": bpy.types.Image}
"""Blender's data-blocks by the kinds of settings that name one."""
TO_SCREEN = {"mm": 0.001, "deg": math.pi / 180.0}


def start_of(spec: Spec) -> float:
    """The initial value of an optional number when it is switched on: zero, or one between its limits."""
    low, high = spec.low or 0.0, spec.high or 0.0
    if low <= 0.0 <= high:
        return 0.0
    return float(f"{math.sqrt(low * high):.1g}")


def has_switch(spec: Spec) -> bool:
    """Whether an optional setting needs a switch; a data-block or text does not, since it is automatic while empty."""
    return spec.optional and spec.kind not in (*DATA, "text", "file", "folder")


def unit_scale(scene: bpy.types.Scene) -> float:
    """How many metres a unit of the scene is, as Blender shows lengths: a length typed as 42 mm is stored as 0.042 / this."""
    units = scene.unit_settings
    return 1.0 if units.system == "NONE" else float(units.scale_length)


def factor_of(spec: Spec, group: Any) -> float:
    """The factor from a value on the sheet to the property's value."""
    factor = TO_SCREEN.get(spec.unit, 1.0)
    return factor / unit_scale(group.id_data) if spec.unit == "mm" else factor


def sheet_of(scene: bpy.types.Scene, steps: Sequence[Step]) -> JobSheet:
    """The settings on screen as a job sheet; paths are absolute."""
    folder = Path(bpy.data.filepath).parent if bpy.data.filepath else Path.home()
    name = cleaned(Path(scene.bozzetto.scan).stem) if scene.bozzetto.scan else "job"
    sheet = blank(steps, name=name, folder=folder)
    for step in steps:
        _read_group(getattr(scene.bozzetto, step.name), sheet[step.name])
    return sheet


def _read_group(group: Any, settings: Any) -> None:
    """Sets the fields of a settings object from the screen; called many times a second, so that what needs no conversion is
    read first."""
    as_shown, others = _by_reading(type(settings))
    for name in as_shown:
        setattr(settings, name, getattr(group, name))
    for name, spec in others:
        if spec.kind == "table":
            assert spec.row is not None
            rows = [spec.row() for _ in getattr(group, name)]
            for row, shown in zip(rows, getattr(group, name), strict=True):
                _read_group(shown, row)
            setattr(settings, name, rows)
        elif has_switch(spec) and not getattr(group, f"use_{name}"):
            setattr(settings, name, None)
        else:
            default = getattr(settings, name)
            setattr(settings, name, _from_screen(group, name, spec, default))


@cache
def _by_reading(settings: type) -> tuple[tuple[str, ...], tuple[tuple[str, Spec], ...]]:
    """The fields of a settings class whose values on screen are those of the sheet, and the others."""
    known = specs(settings)
    as_shown = [name for name, spec in known.items() if spec.kind in AS_SHOWN and not spec.optional and spec.unit != "mm"]
    return tuple(as_shown), tuple((name, spec) for name, spec in known.items() if name not in as_shown)


def _from_screen(group: Any, name: str, spec: Spec, default: Any) -> Any:
    if spec.unit == "mm" and not group.is_property_set(name):
        # Never typed: the declared default holds, whatever the scene's unit is.
        return start_of(spec) if default is None and spec.kind == "number" else default
    value = getattr(group, name)
    match spec.kind:
        case "number":
            return _snapped(value / factor_of(spec, group), spec)
        case "point":
            factor = factor_of(spec, group)
            return tuple(_snapped(part / factor, spec) for part in value)
        case "colour":
            return tuple(value)
        case "file" | "folder":
            return bpy.path.abspath(value) if value else (None if spec.optional else default or "")
        case "text":
            return value if value or not spec.optional else None
        case "object" | "collection" | "image":
            return value.name if value is not None else None
    return value


def _snapped(value: float, spec: Spec) -> float:
    """The value within its limits, rounded to remove errors of single precision and unit conversion."""
    value = float(f"{value:.6g}")
    if spec.low is not None:
        value = max(value, spec.low)
    return value if spec.high is None else min(value, spec.high)
