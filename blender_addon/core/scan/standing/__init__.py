"""Which way is up? Ways to stand are found, each measured, all evidence added up, and what the file's axes say weighed in."""
