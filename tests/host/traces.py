"""What can an add-on leave in Blender? A snapshot of what shows, and a watch over what Blender does not list."""

from __future__ import annotations

from types import TracebackType
from typing import Any

import bpy

OWNERS = ("Scene", "Object", "Mesh", "Camera", "Material", "Image", "World", "WindowManager", "Collection", "Light", "Screen")


def traces() -> dict[str, Any]:
    """Registered classes, properties, handlers, key maps and menu entries, as they stand."""
    handlers = {
        name: len(getattr(bpy.app.handlers, name))
        for name in dir(bpy.app.handlers)
        if isinstance(getattr(bpy.app.handlers, name), list)
    }
    keyconfig = bpy.context.window_manager.keyconfigs.addon
    keys = sum(len(keymap.keymap_items) for keymap in keyconfig.keymaps) if keyconfig else 0
    menus = {
        name: len(getattr(getattr(bpy.types, name).draw, "_draw_funcs", ()))
        for name in dir(bpy.types)
        if "_MT_" in name or "_HT_" in name
    }
    return {
        "types": {name for name in dir(bpy.types) if "bozzetto" in name.lower()} | _registered(),
        "properties": {owner: set(getattr(bpy.types, owner).bl_rna.properties.keys()) for owner in OWNERS},
        "handlers": handlers,
        "keys": keys,
        "menus": {name: count for name, count in menus.items() if count > 1},
        "operators": {name for name in dir(bpy.ops) if name == "bozzetto"} and set(dir(bpy.ops.bozzetto)),
    }


def _registered() -> set[str]:
    bases = ("Operator", "Panel", "Menu", "UIList", "PropertyGroup", "AddonPreferences", "GizmoGroup", "Gizmo", "Header")
    return {
        f"{base}.{cls.__name__}"
        for base in bases
        for cls in getattr(bpy.types, base).__subclasses__()
        if "bozzetto" in cls.__module__ and getattr(cls, "is_registered", False)
    }


class Watch:
    """Counts what is opened and closed: commands, draw handlers, timers, message bus subscriptions."""

    PAIRS = (
        (bpy.utils, "register_cli_command", "unregister_cli_command"),
        (bpy.types.SpaceView3D, "draw_handler_add", "draw_handler_remove"),
        (bpy.types.SpaceNodeEditor, "draw_handler_add", "draw_handler_remove"),
        (bpy.types.SpaceImageEditor, "draw_handler_add", "draw_handler_remove"),
        (bpy.msgbus, "subscribe_rna", "clear_by_owner"),
    )

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.timers: list[Any] = []
        self._kept: list[tuple[Any, str, Any]] = []

    def __enter__(self) -> Watch:
        for owner, opens, closes in self.PAIRS:
            key = f"{getattr(owner, '__name__', owner)}.{opens}"
            self.counts[key] = 0
            self._wrap(owner, opens, key, 1)
            self._wrap(owner, closes, key, -1)
        register = bpy.app.timers.register

        def counted(function: Any, **options: Any) -> Any:
            self.timers.append(function)
            return register(function, **options)

        self._put(bpy.app.timers, "register", counted, register)
        return self

    def _wrap(self, owner: Any, name: str, key: str, change: int) -> None:
        original = getattr(owner, name)

        def counted(*arguments: Any, **options: Any) -> Any:
            self.counts[key] += change
            return original(*arguments, **options)

        self._put(owner, name, staticmethod(counted) if isinstance(owner, type) else counted, original)

    def _put(self, owner: Any, name: str, new: Any, original: Any) -> None:
        try:
            setattr(owner, name, new)
        except (AttributeError, TypeError):  # a release that guards this one; the others are still watched
            return
        self._kept.append((owner, name, original))

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        for owner, name, original in reversed(self._kept):
            setattr(owner, name, staticmethod(original) if isinstance(owner, type) else original)

    def left_open(self) -> list[str]:
        """What was opened more often than closed, and timers that still run."""
        left = [f"{key}: {count}" for key, count in self.counts.items() if count > 0]
        return left + [f"timer {f.__module__}.{f.__qualname__}" for f in self.timers if bpy.app.timers.is_registered(f)]
