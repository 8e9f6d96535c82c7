"""Files read or written without Blender. In: bytes on disk. Out: whether they are whole, what they name, pixels."""
