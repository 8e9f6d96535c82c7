"""Copies of a still as the client needs them: size, marks drawn on them, files."""
