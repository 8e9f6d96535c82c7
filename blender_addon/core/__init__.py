"""The numbers behind every step: numpy only, arrays and frozen dataclasses in and out, no Blender."""
