"""The set as Blender data: tabletop, backdrop, props, debris and lights."""
