"""A photo of the real piece beside its render.

In: a photo and its camera on the scan.
Out: the photo's light and lens, and how far render and photo are apart.
Order: `light`, `lens`, `comparing`.
"""
