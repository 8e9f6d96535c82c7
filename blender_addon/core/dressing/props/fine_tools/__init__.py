"""Tools for fine work on finished surfaces. One file each."""
