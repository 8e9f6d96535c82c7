"""Which of several poses that fit by shape is right? Colour, a footprint, unevenness too fine to hold a pose."""
