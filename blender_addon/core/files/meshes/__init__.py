"""Mesh files as bytes: are they complete and valid, and which files do they name? In: files. Out: problems, references."""
