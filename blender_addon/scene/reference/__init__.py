"""Reference photos in Blender: their light as a world and a lamp, their camera, and their pictures beside the render's.

In: a photo's camera and light.
Out: a world, a lamp, a camera, pictures.
Order: `sight` reads; `camera` and `light` make; `pictures` compares.
"""
