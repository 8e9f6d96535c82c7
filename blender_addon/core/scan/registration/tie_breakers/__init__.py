"""Which of several poses that fit by shape is right?

In: candidate poses.
Out: one of them, or fewer.
Order: `ties` asks `colour`, `footprint` and `relief_turn`, each for what shape leaves open.
"""
