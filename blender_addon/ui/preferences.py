"""The preferences: the folder for jobs on this machine, and defaults of settings for new jobs."""

import textwrap
from functools import cache

import bpy
from bpy.props import EnumProperty, StringProperty

from .. import ADDON_ID
from ..job.cautions import CAUTIONS
from ..job.settings import DEFAULT, Spec, label_of, marked, specs
from ..steps import catalogue

AS_EVER = "as_ever"
"""The choice of a setting's own default for new jobs."""


def default_name(step: str, field: str) -> str:
    """The name of the preference with a setting's default for new jobs."""
    return f"{step}_{field}"


def _kept() -> list[tuple[str, str, Spec]]:
    """(step's name, field, declaration) of the settings with a default in the preferences; all are choices."""
    return [(step.name, name, specs(step.settings)[name]) for step in catalogue() for name in marked(step.settings, DEFAULT)]


def _draw(self: bpy.types.AddonPreferences, context: bpy.types.Context) -> None:
    """Draw the folder, the defaults of new jobs, and the safety cautions."""
    layout = self.layout
    layout.use_property_split = True
    layout.prop(self, "output")
    layout.label(text="New jobs begin with")
    for step, name, _ in _kept():
        layout.prop(self, default_name(step, name))
    box = layout.box()
    box.label(text="Before you dust a piece for scanning", icon="ERROR")
    for words in CAUTIONS:
        column = box.column(align=True)
        column.scale_y = 0.8
        for line in textwrap.wrap(words, 110):
            column.label(text=line)


@cache
def preferences_class() -> type:
    """The class of the add-on's preferences, with a default for each setting that is marked for it."""
    annotations = {
        "output": StringProperty(
            name="Default folder",
            description="Where jobs go when neither the job nor a saved .blend names a place; empty: the add-on's own folder",
            subtype="DIR_PATH",
        ),
    }
    for step, name, spec in _kept():
        as_ever = (AS_EVER, "As usual", "New jobs begin as the setting's own default says")
        annotations[default_name(step, name)] = EnumProperty(
            name=label_of(name, spec), description=f"{spec.help}; for new jobs", items=[as_ever, *spec.choices], default=AS_EVER
        )
    body = {"__annotations__": annotations, "bl_idname": ADDON_ID, "draw": _draw, "__doc__": __doc__}
    return type("BOZZETTO_preferences", (bpy.types.AddonPreferences,), body)


def preferences() -> bpy.types.AddonPreferences | None:
    """The add-on's preferences, or None where it runs without being installed."""
    addon = bpy.context.preferences.addons.get(ADDON_ID)
    return addon.preferences if addon else None


CLASSES = (preferences_class(),)
