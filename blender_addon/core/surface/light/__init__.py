"""The light of the room. In: normals, visibility, texels. Out: an environment and the irradiance it gives."""
