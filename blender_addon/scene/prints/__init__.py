"""Digests of data-blocks, by which an edit of the user is seen."""
