"""The set as Blender data: tabletop, backdrop, props, debris and lights.

In: what `core/dressing` laid out, mm.
Out: objects, materials, lights and a world; measurements of the light.
Order: `set_parts` with `set_materials` and `set_props`; `debris_parts` with `instances`; `lights`, `shot_light`, and `meter`
for the exposure.
"""
