"""Which relief does a photo texture show that the mesh has lost? Residual shading, its inversion, a net, normal maps."""
