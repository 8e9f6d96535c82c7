"""Pots, jars and bowls. A file a vessel."""
