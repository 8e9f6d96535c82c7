"""A photo of the real piece beside its render: in which light was it taken, by which lens, and how far apart are they?"""
