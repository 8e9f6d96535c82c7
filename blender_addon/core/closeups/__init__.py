"""Close-up photographs of the real piece.

In: photos, the scan's form and colour, marked spots where there are any.
Out: the camera of each, the lamps, and normals and colour of what they show, laid out on the piece.
Order: `pose` or placing/ for the cameras, `checking`, `near_lamps`, `stereo`, `focus`, `photo_set` for a place as a whole,
`layout` for all of them.
"""
