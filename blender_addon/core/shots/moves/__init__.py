"""How does a camera move for a film? Paths with a true lens, eased, and what can go wrong on the way."""
