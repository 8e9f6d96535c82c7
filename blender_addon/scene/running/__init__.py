"""A job in a .blend: the file, whose job it is, the run, what is kept of its decisions and of the scene as the user set it."""
