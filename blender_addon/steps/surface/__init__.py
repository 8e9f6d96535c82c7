"""Uses the scan's texture: recovers relief, removes the room's light, adds close-up photos, makes the materials."""
