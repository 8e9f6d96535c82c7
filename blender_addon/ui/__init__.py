"""What the user sees: the tab with its panels, the operators behind the buttons, the preferences."""

from __future__ import annotations

import bpy

from . import alignment, front, job_state, lens, operators, overlays, panels, preferences, properties, to_check, tools


def _classes() -> list[type]:
    """All classes of panels and operators, in the order in which they can be registered."""
    modules = (preferences, operators, to_check, tools, front, alignment, lens)
    return [*(cls for module in modules for cls in module.CLASSES), *panels.classes()]


def register() -> None:
    """Register all classes, then the settings on scenes and the command line."""
    properties.register()
    for cls in _classes():
        bpy.utils.register_class(cls)
    lens.register()
    overlays.register()
    operators.register_command()


def unregister() -> None:
    """The same backwards."""
    operators.unregister_command()
    front.close_previews()
    alignment.close_previews()
    to_check.close_previews()
    job_state.forget()
    overlays.unregister()
    lens.unregister()
    for cls in reversed(_classes()):
        bpy.utils.unregister_class(cls)
    properties.unregister()
