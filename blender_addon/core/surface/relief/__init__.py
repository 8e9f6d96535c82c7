"""What does a photo texture know about the surface that the mesh has lost? Texels, light, patches, inversion, maps."""
