"""What else lies on a bench: material, measures, string. A file a thing."""
