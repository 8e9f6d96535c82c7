"""Pots, jars and bowls. One file each."""
