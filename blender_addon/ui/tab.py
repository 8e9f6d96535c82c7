"""The tab in the sidebar that all panels stand in."""

CATEGORY = "Bozzetto"


class Tab:
    """What each panel has in common."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY
