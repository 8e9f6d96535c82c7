"""What is handed over, made with Blender: originals of the stills, lettering, copies."""
