"""Debris round the work: pieces by size class, where they lie, and how they rest. Lengths in mm.

In: the ground, a density, a seed.
Out: shapes, places, turns.
Order: `pieces`, then `layout`.
"""
