"""Debris round the work: pieces by size class, where they lie, and how they rest. Lengths in mm."""
