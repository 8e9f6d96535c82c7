"""Pictures as bytes: headers, chunks, profiles, labels; without Blender. In: pixels or bytes. Out: bytes, sizes, what is
damaged."""
