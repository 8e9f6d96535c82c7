"""Picture files as bytes, without Blender: headers, chunks, profiles, labels.

In: bytes, or pixels and labels.
Out: sizes, profiles, what is damaged; bytes of new files.
Order: `picture_headers` before a decoder, `picture_files` for the end; `labels`, `icc` and `xmp`, then the writers.
"""
