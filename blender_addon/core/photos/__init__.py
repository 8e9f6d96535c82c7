"""Is a folder of photographs good enough for a scan? Sharpness, light, overlap and sides, with pictures as arrays."""
