"""Other things on a bench: material, measures, string. One file each."""
