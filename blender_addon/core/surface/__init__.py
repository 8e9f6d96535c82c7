"""What a photo texture tells about the surface. In: geometry, texels (mm). Out: light, albedo, relief, materials' numbers."""
