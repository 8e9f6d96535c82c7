"""What each step of this folder is called, needs and makes, and its settings: all that Blender's start must know of it."""
