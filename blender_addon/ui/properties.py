"""The settings on screen: Blender property groups made from the steps' `Settings` and filled from a sheet (`on_screen` reads).

Here the settings' millimetres become metres and their degrees radians. An optional setting has a switch `use_NAME` beside it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from typing import Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ..job.settings import DEFAULT, LIVE, AskedRow, Spec, label_of, marked, specs
from ..job.sheet import JobSheet
from ..job.step import RENAMED, Step
from ..scene.running.job_card import STATE
from ..scene.stage import show_millimetres
from ..scene.surface.live_relief import followed
from ..steps import catalogue
from .on_screen import DATA, TO_SCREEN, factor_of, has_switch, sheet_of, start_of, unit_scale
from .preferences import AS_EVER, default_name, preferences


def _number(spec: Spec, value: Any, name: str, common: dict[str, Any]) -> Any:
    factor = TO_SCREEN.get(spec.unit, 1.0)
    low = -1e30 if spec.low is None else spec.low * factor
    high = 1e30 if spec.high is None else spec.high * factor
    start = (start_of(spec) if value is None else value) * factor
    extra: dict[str, Any] = {}
    if spec.unit == "mm":
        # The limits in Blender's units depend on the scene's unit scale, so they are kept when a value is set.
        extra = {"subtype": "DISTANCE", "unit": "LENGTH", "precision": 4, "step": 0.1, "soft_min": low, "soft_max": high}
        low, high, extra["update"] = -1e30, 1e30, _limited(name, spec)
    elif spec.unit == "deg":
        extra = {"subtype": "ANGLE", "unit": "ROTATION"}
    elif spec.unit == "%":
        extra = {"subtype": "PERCENTAGE", "precision": 1}
    return FloatProperty(min=low, max=high, default=start, **extra, **common)


def _limited(name: str, spec: Spec) -> Callable[[Any, Any], None]:
    """An update callback that keeps a length within its limits (mm), whatever the scene's unit."""

    def hold(group: Any, context: bpy.types.Context) -> None:
        factor, value = factor_of(spec, group), getattr(group, name)
        low = value if spec.low is None else spec.low * factor
        high = value if spec.high is None else spec.high * factor
        if not low * (1 - 1e-6) <= value <= high * (1 + 1e-6):
            setattr(group, name, min(max(value, low), high))

    return hold


def _begins(name: str, spec: Spec) -> Callable[[Any, Any], None]:
    """An update callback that gives an optional length an initial value (scene units) when it is switched on."""

    def begin(group: Any, context: bpy.types.Context) -> None:
        if getattr(group, f"use_{name}") and not group.is_property_set(name):
            setattr(group, name, start_of(spec) * factor_of(spec, group))

    return begin


def _renamed(settings: type) -> list[tuple[str, str]]:
    """(former name, present name) of each renamed field; a .blend of an older version has the former names."""
    aliases: dict[str, str] = getattr(settings, "ALIASES", {})
    return [(old, new) for old, new in aliases.items() if specs(settings)[new].kind != "table"]


def carry_old_names(scene: bpy.types.Scene) -> None:
    """Move settings of an older version's .blend from former names of steps and fields to the present ones."""
    for former, current in RENAMED.items():
        kept, group = getattr(scene.bozzetto, former), getattr(scene.bozzetto, current)
        for name in [prop.identifier for prop in group.bl_rna.properties if not prop.is_readonly]:
            if kept.is_property_set(name):
                setattr(group, name, getattr(kept, name))
                kept.property_unset(name)
    for step in catalogue():
        group = getattr(scene.bozzetto, step.name)
        for old, new in _renamed(step.settings):
            if group.is_property_set(old):
                setattr(group, new, getattr(group, old))
                group.property_unset(old)


def _property(spec: Spec, value: Any, name: str, *, hidden: bool = False, live: bool = False) -> Any:
    """The Blender property of a field with the default `value`. live: its changes are applied to the material at once."""
    unit = "" if spec.unit in ("", "mm", "deg") or spec.unit in re.findall(r"\w+|%", spec.help) else f" ({spec.unit})"
    common: dict[str, Any] = {"name": label_of(name, spec), "description": f"{spec.help}{unit}"}
    if hidden:
        common["options"] = {"HIDDEN"}
    if live:
        common["update"] = followed(name)
    match spec.kind:
        case "number":
            return _number(spec, value, name, common)
        case "integer":
            low = -(2**31) if spec.low is None else int(spec.low)
            high = 2**31 - 1 if spec.high is None else int(spec.high)
            start = max(low, 0) if value is None else value
            return IntProperty(min=low, max=high, default=start, subtype="PIXEL" if spec.unit == "px" else "NONE", **common)
        case "switch":
            return BoolProperty(default=bool(value), **common)
        case "choice":
            return EnumProperty(items=list(spec.choices), default=value or spec.choices[0][0], **common)
        case "point":
            metric = {"subtype": "XYZ", "unit": "LENGTH", "precision": 4} if spec.unit == "mm" else {}
            scaled = [part * TO_SCREEN.get(spec.unit, 1.0) for part in value or [0.0] * spec.size]
            return FloatVectorProperty(size=spec.size, default=scaled, **metric, **common)
        case "colour":
            return FloatVectorProperty(size=3, subtype="COLOR", min=0.0, max=1.0, default=value or (0.2, 0.2, 0.2), **common)
        case "file":
            return StringProperty(subtype="FILE_PATH", default=value or "", **common)
        case "folder":
            return StringProperty(subtype="DIR_PATH", default=value or "", **common)
        case "table":
            assert spec.row is not None
            return CollectionProperty(type=_group(spec.row), **common)
        case "object" | "collection" | "image":
            return PointerProperty(type=DATA[spec.kind], **common)
        case _:
            return StringProperty(default=value or "", **common)


def _of_switch(spec: Spec) -> str:
    """The tooltip of an optional setting's switch: what holds while it is off."""
    return f"On: as set beside it. Off: {spec.automatic}" if spec.automatic else f"{spec.help}. Off: not given"


@cache
def _group(settings: type) -> type:
    """The property group of a settings class."""
    default = settings()
    annotations: dict[str, Any] = {}
    for name, spec in specs(settings).items():
        value = getattr(default, name)
        annotations[name] = _property(spec, value, name, live=name in marked(settings, LIVE))
        if has_switch(spec):
            extra = {"update": _begins(name, spec)} if spec.kind == "number" and spec.unit == "mm" else {}
            annotations[f"use_{name}"] = BoolProperty(
                name=f"Set: {label_of(name, spec)}", description=_of_switch(spec), default=False, **extra
            )
    for old, new in _renamed(settings):
        annotations[old] = _property(specs(settings)[new], getattr(default, new), new, hidden=True)
    title = f"BOZZETTO_PG_{settings.__module__.rsplit('.', 1)[-1]}_{settings.__qualname__}".replace(".", "_")
    return type(title, (bpy.types.PropertyGroup,), {"__annotations__": annotations, "__doc__": settings.__doc__ or ""})


def asked_rows() -> list[tuple[str, AskedRow]]:
    """The table rows that the first panel shows as if they were settings, each with its step's name."""
    return [(step.name, asked) for step in catalogue() for asked in getattr(step.settings, "ASKED", ())]


def _asked_property(step: str, asked: AskedRow) -> Any:
    """A text property that reads and writes one row of a table."""

    def found(job: Any) -> Any:
        rows = getattr(getattr(job, step), asked.table)
        return next((row for row in rows if getattr(row, asked.by) in asked.values), None)

    def read(job: Any) -> str:
        row = found(job)
        return "" if row is None else str(getattr(row, asked.field))

    def write(job: Any, value: str) -> None:
        rows = getattr(getattr(job, step), asked.table)
        row = found(job)
        if row is None and value:
            row = rows.add()
            setattr(row, asked.by, asked.values[0])
            if asked.needed:  # the main one stands first
                rows.move(len(rows) - 1, 0)
                row = rows[0]
        if row is None:
            return
        if getattr(row, asked.field) != value:  # what failed was said of another file
            job.failed_step = job.failed_words = ""
        setattr(row, asked.field, value)
        if not value and not asked.needed:
            rows.remove(next(place for place, entry in enumerate(rows) if entry == row))
        _begun(job.id_data)

    return StringProperty(name=asked.label, description=asked.help, subtype="FILE_PATH", get=read, set=write)


def _begun(scene: bpy.types.Scene) -> None:
    """Prepare a scene for its first job: show lengths in millimetres and fill in the preferences' defaults, once."""
    _millimetres(scene)
    if scene.bozzetto.begun:
        return
    scene.bozzetto.begun = True
    if unit_scale(scene) != 1.0:  # a length that was never set would be shown in this scene's units as another one
        fill(scene, sheet_of(scene, catalogue()), catalogue())
    kept = preferences()
    for step in catalogue():
        group = getattr(scene.bozzetto, step.name)
        for name in marked(step.settings, DEFAULT):
            wish = getattr(kept, default_name(step.name, name), "") if kept else ""
            if wish and wish != AS_EVER and not group.is_property_set(name):
                setattr(group, name, wish)


def _millimetres(scene: bpy.types.Scene) -> None:
    """Show lengths in millimetres before the first run too, since those of an 80 mm piece are illegible in metres."""
    if STATE not in scene:
        show_millimetres(scene)


@cache
def _job_group() -> type:
    annotations: dict[str, Any] = {
        "output": StringProperty(
            name="Pictures go to", description="Empty: a folder beside the saved .blend, else the add-on's own folder",
            subtype="DIR_PATH",
        ),
        "begun": BoolProperty(default=False, options={"HIDDEN"}),
        "failed_step": StringProperty(description="The step that failed last", options={"HIDDEN"}),
        "failed_words": StringProperty(description="What it said", options={"HIDDEN"}),
    }  # fmt: skip
    for step_name, asked in asked_rows():
        annotations[asked.name] = _asked_property(step_name, asked)
    for step in catalogue():
        annotations[step.name] = PointerProperty(type=_group(step.settings), name=step.label, description=step.help)
    for former, current in RENAMED.items():  # a .blend of an older version has its settings there
        settings = next(step.settings for step in catalogue() if step.name == current)
        annotations[former] = PointerProperty(type=_group(settings), options={"HIDDEN"})
    return type("BOZZETTO_PG_job", (bpy.types.PropertyGroup,), {"__annotations__": annotations})


def _groups() -> list[type]:
    """All property groups, rows before the groups that hold them."""
    found: list[type] = []

    def add(settings: type) -> None:
        for spec in specs(settings).values():
            if spec.row is not None:
                add(spec.row)
        if _group(settings) not in found:
            found.append(_group(settings))

    for step in catalogue():
        add(step.settings)
    return [*found, _job_group()]


def register() -> None:
    """Register the groups and give each scene the job's settings."""
    for cls in _groups():
        bpy.utils.register_class(cls)
    bpy.types.Scene.bozzetto = PointerProperty(type=_job_group(), name="Bozzetto")


def unregister() -> None:
    """Unregister the groups."""
    del bpy.types.Scene.bozzetto
    for cls in reversed(_groups()):
        bpy.utils.unregister_class(cls)


# --- conversion between sheet and screen --------------------------------------------------------------------------------


def fill(scene: bpy.types.Scene, sheet: JobSheet, steps: Sequence[Step]) -> None:
    """Write a sheet's settings to the scene's properties."""
    _millimetres(scene)
    for step in steps:
        _fill_group(getattr(scene.bozzetto, step.name), sheet[step.name], sheet)


def show_settings(scene: bpy.types.Scene, sheet: JobSheet, places: Iterable[str]) -> None:
    """Write single settings of a sheet, by 'step.field', to the scene's properties."""
    for place in places:
        step, _, name = place.partition(".")
        _fill_field(getattr(scene.bozzetto, step), name, specs(sheet[step])[name], getattr(sheet[step], name), sheet)


def _fill_group(group: Any, settings: Any, sheet: JobSheet) -> None:
    for name, spec in specs(settings).items():
        _fill_field(group, name, spec, getattr(settings, name), sheet)


def _fill_field(group: Any, name: str, spec: Spec, value: Any, sheet: JobSheet) -> None:
    if spec.kind == "table":
        rows = getattr(group, name)
        rows.clear()
        for row in value:
            _fill_group(rows.add(), row, sheet)
        return
    if has_switch(spec):
        setattr(group, f"use_{name}", value is not None)
    if spec.kind in DATA:
        holder = {"object": bpy.data.objects, "collection": bpy.data.collections, "image": bpy.data.images}[spec.kind]
        setattr(group, name, holder.get(value) if value else None)
    elif value is None:
        group.property_unset(name)
    else:
        setattr(group, name, _to_screen(value, spec, sheet, factor_of(spec, group)))


def _to_screen(value: Any, spec: Spec, sheet: JobSheet, factor: float) -> Any:
    if spec.kind == "number":
        return value * factor
    if spec.kind == "point":
        return [part * factor for part in value]
    if spec.kind in ("file", "folder") and value:
        return str(sheet.path(value))
    return value
