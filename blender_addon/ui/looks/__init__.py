"""Looks: the piece in each material, the relief before and after, and looks that are stored and compared."""

from __future__ import annotations

from . import kept, relief, samples, wipe

CLASSES = (*wipe.CLASSES, *relief.CLASSES, *samples.CLASSES, *kept.CLASSES)


def close_previews() -> None:
    """Free the pictures that the panel and the dialogs showed."""
    kept.previews.close()
    samples.previews.close()
