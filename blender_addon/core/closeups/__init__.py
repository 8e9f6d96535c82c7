"""Close-up photographs of the real piece: the camera of each, the lamps that lit it, and the relief and colour it shows."""
