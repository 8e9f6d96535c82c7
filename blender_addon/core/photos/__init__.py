"""Is a folder of photographs good enough for a scan? Sharpness, light, overlap and sides.

In: photos as arrays, one after the other.
Out: a verdict and remarks for each, and for the set.
Order: `folder_content`, `seen` keeps what is needed of each; `piece`, `sharpness`, `light`, `neighbours` and `going_round` are
asked by `photo_set`.
"""
