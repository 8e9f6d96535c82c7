"""The colour without the light.

In: texels, irradiance, and the shading of the recovered relief.
Out: albedo, with the camera's noise and the residual shading removed.
Order: `denoising`, `removal`, then `residual` with `hollows`, `large` and `grain`.
"""
