"""Uses the scan's texture and photos: recovers relief, removes the room's light, makes the materials.

In: the piece and its stand, photos.
Out: relief, albedo, close-ups, reference photos, materials.
Order: relief, albedo, closeups, material, reference, by their roles.
"""
