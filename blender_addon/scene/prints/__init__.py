"""Digests of data-blocks, which show whether the user edited them."""
