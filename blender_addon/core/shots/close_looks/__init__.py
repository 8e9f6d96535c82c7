"""What a close-up picture shows and how it is cropped.

In: the subject as points, and its mesh.
Out: spots and crops, the best first, with scores.
Order: `choosing` asks `head` and `head_view` first, then `detail_spots`; `crops` frames, `unshown` forbids, `carried` limits.
"""
