"""A job in a .blend: the file, the job's identity, the run, its stored decisions, and the scene's settings."""
