"""What a photo texture knows of the surface. In: geometry, texels (mm). Out: light, albedo, relief, materials' numbers."""
