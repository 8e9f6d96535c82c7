"""Bozzetto: from a scan of a small hand-made piece to macro photographs of it, in one click."""

from __future__ import annotations

ADDON_ID = __package__


def register() -> None:
    """Make the tab, its panels and operators known to Blender."""
    from . import ui

    ui.register()


def unregister() -> None:
    """Take everything back."""
    from . import ui

    ui.unregister()


def registered() -> bool:
    """Whether the add-on's settings are there."""
    import bpy

    return hasattr(bpy.types.Scene, "bozzetto")
