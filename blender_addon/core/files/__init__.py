"""What is in a file? Formats are read and written as their standards define them, without Blender."""
