"""Reference photos in Blender: their light as a world and a lamp, their camera, and their pictures beside the render's."""
