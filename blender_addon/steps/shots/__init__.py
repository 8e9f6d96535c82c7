"""Makes the cameras of the shots and of camera moves.

In: the piece with its relief.
Out: shots and moves.
Order: camera, moves.
"""
