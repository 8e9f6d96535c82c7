"""How does a camera move for a film?

In: a shot, a number of frames.
Out: positions, rotations and focus of each frame, or why the move fails.
Order: `paths`, then `planning`.
"""
