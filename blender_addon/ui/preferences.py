"""What stays the same from job to job on this machine."""

import bpy
from bpy.props import EnumProperty, StringProperty

from .. import ADDON_ID


class BOZZETTO_preferences(bpy.types.AddonPreferences):
    """Where pictures go by default, and on what they are rendered"""

    bl_idname = ADDON_ID

    output: StringProperty(
        name="Default folder",
        description="Where jobs go when neither the job nor a saved .blend names a place; empty: the add-on's own folder",
        subtype="DIR_PATH",
    )
    device: EnumProperty(
        name="Render on",
        description="What Cycles renders on",
        items=[
            (
                "auto",
                "The fastest here",
                "A graphics card set up in Blender's preferences when there is one, else the processor",
            ),
            ("cpu", "Processor", "Always the processor"),
        ],
        default="auto",
    )

    def draw(self, context):
        """Show the two settings and the cautions of the trade."""
        layout = self.layout
        layout.use_property_split = True
        layout.prop(self, "output")
        layout.prop(self, "device")
        box = layout.box()
        box.label(text="Before you dust a piece for scanning", icon="ERROR")
        for words in (
            "Matting spray and powder get into the lungs: ventilate, wear the mask its safety data sheet names, "
            "keep it off flames.",
            "Never spray a borrowed original without its owner's written consent; ask a conservator. A bare scan works too.",
            "The product's safety data sheet and local rules come before anything said here.",
        ):
            box.label(text=words)


def preferences():
    """The add-on's preferences, or None where it runs without being installed."""
    addon = bpy.context.preferences.addons.get(ADDON_ID)
    return addon.preferences if addon else None


CLASSES = (BOZZETTO_preferences,)
