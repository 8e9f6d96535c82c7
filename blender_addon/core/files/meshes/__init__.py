"""Mesh files as bytes: are they whole and sane, what do they name? In: bytes on disk. Out: problems in words, references."""
