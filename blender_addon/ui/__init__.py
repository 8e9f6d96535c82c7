"""The user interface: the tab with its panels, operators, tools in the view, preferences."""

from __future__ import annotations

import bpy

from . import (
    alignment,
    hands,
    job_state,
    jobs,
    lens,
    looks,
    operators,
    overlays,
    panels,
    pictures,
    preferences,
    properties,
    to_check,
    tools,
)


def _classes() -> list[type]:
    """All classes of panels and operators, in the order in which they can be registered."""
    modules = (preferences, operators, jobs, pictures, to_check, tools, alignment, lens, hands, looks)
    return [*(cls for module in modules for cls in module.CLASSES), *panels.classes()]


def _close_previews() -> None:
    for module in (to_check, pictures, alignment):
        module.previews.close()
    looks.close_previews()


@bpy.app.handlers.persistent
def _file_opened(*_: object) -> None:
    """Handler for opened files: carry over settings of older versions, and drop cached state of the former scenes."""
    for scene in bpy.data.scenes:
        properties.carry_old_names(scene)
    job_state.forget()
    _close_previews()


def register() -> None:
    """Register all classes, then the settings on scenes and the command line."""
    properties.register()
    for cls in _classes():
        bpy.utils.register_class(cls)
    lens.register()
    overlays.register()
    operators.register_command()
    bpy.app.handlers.load_post.append(_file_opened)


def unregister() -> None:
    """Unregister everything in reverse order."""
    bpy.app.handlers.load_post.remove(_file_opened)
    operators.unregister_command()
    _close_previews()
    job_state.forget()
    overlays.unregister()
    lens.unregister()
    for cls in reversed(_classes()):
        bpy.utils.unregister_class(cls)
    properties.unregister()
