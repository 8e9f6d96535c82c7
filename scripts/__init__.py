"""Makers of truth, benches, real scans and window pictures: what is run beside the add-on, never shipped in it."""
