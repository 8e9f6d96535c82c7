"""The colour without the light. In: texels and irradiance. Out: albedo, with noise and residual shading removed."""
