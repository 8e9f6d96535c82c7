"""What is in a file? Formats read and written by the letter of their standards, without Blender."""
