"""Textures and materials of the piece as Blender data, and the user's close-up and reference photos.

In: the piece and its stand, photos.
Out: textured surfaces for `core/surface`, and images and materials made of its results.
Order: `base_picture` and `photographed` read; `own_texture`, `surfaces` and `rendered_form` serve the materials; `closeup_*`
and `reference_photo` the photos.
"""
