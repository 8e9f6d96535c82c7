"""Reads photographs through Blender, one after the other, and has them judged in threads."""
