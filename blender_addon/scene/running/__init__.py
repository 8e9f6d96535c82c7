"""A job in a .blend: the file, the job's identity, the run, its stored decisions, and the scene's settings.

In: steps, a sheet, a scene.
Out: the scene after the run, its log, sheet and figures.
Order: `session` runs; `blend_file`, `folder_lock` and `job_identity` before it, `exchange` and `scene_settings` within it.
"""
