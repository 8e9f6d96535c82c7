"""Looks: the piece in each material to choose from, the relief before and after, looks that are kept and compared."""

from __future__ import annotations

from . import kept, relief, samples, wipe

CLASSES = (*wipe.CLASSES, *relief.CLASSES, *samples.CLASSES, *kept.CLASSES)


def close_previews() -> None:
    """Free the pictures that the panel and the dialogs showed."""
    kept.previews.close()
    samples.previews.close()
