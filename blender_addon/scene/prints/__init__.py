"""Digests of data-blocks, which show whether the user edited them.

In: data-blocks.
Out: digests.
Order: `fingerprint`, with `mesh_print` for meshes; `fingerprint_0_1` only for files of that release; both feed a `digest`.
"""
