"""What is drawn over the 3D view: the read-out of the active shot's sharp zone."""

from __future__ import annotations


def register() -> None:
    """Nothing is drawn yet."""


def unregister() -> None:
    """Nothing to take back yet."""
