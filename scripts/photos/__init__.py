"""Photo textures of real sculptures whose fine form was measured, made by a tracer of their own.

For benches (needs `bpy`, numpy; pillow for JPEG). The textures share neither strokes nor lights nor camera
with `scripts/truth`, on which the relief was tuned: other forms, other lights (Blender's own light images among them), rays
instead of depth maps, another camera::

    from scripts.photos.sculpture import load
    from scripts.photos.textures import photo
    piece = load(folder / "maria")                # mesh in mm, the true normal in every texel
    colours = photo(piece, "interior")            # (n, 3) linear, as a camera's texture holds it

What it leaves out: the measured relief tilts the light but casts no shadow of its own (the map holds normals, no heights);
light bounces between the smooth surfaces only. What is made is kept under `out/photos`, by the digest of its recipe.
"""
