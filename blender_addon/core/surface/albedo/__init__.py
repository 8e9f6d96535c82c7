"""The colour without the light. In: texels and irradiance. Out: albedo, its noise and its doubtful places put right."""
