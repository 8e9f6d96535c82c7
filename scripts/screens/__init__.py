"""How does the tab look in a real Blender window? Debian's Blender in a folder of its own, on a virtual screen.

Seen with Blender 5.2.x of Debian's development suite, which moves; the driver prints the version that it met.
"""
