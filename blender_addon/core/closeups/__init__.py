"""Photographs of the real piece: where each was taken from, what lamp lit it, and the relief and colour that it shows."""
