"""Where is the front of an upright piece?

In: an upright mesh and its file's name.
Out: a chance for each direction, and reasons.
Order: `profiles` measures, `choosing` weighs.
"""
