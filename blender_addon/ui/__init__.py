"""What the user sees: the tab with its panels, the operators behind the buttons, the preferences."""

from __future__ import annotations

import bpy

from . import front, lens, operators, overlays, panels, preferences, properties, tools


def register() -> None:
    """Register all classes, then the settings on scenes and the command line."""
    properties.register()
    for cls in (*preferences.CLASSES, *operators.CLASSES, *tools.CLASSES, *front.CLASSES, *lens.CLASSES, *panels.classes()):
        bpy.utils.register_class(cls)
    lens.register()
    overlays.register()
    operators.register_command()


def unregister() -> None:
    """The same backwards."""
    operators.unregister_command()
    front.close_previews()
    overlays.unregister()
    lens.unregister()
    kept = (*preferences.CLASSES, *operators.CLASSES, *tools.CLASSES, *front.CLASSES, *lens.CLASSES, *panels.classes())
    for cls in reversed(kept):
        bpy.utils.unregister_class(cls)
    properties.unregister()
