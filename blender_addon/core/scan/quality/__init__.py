"""Is the finished scan good enough for the pictures asked for? Lumps, triangles and texels per pixel, holes, a soft texture."""
