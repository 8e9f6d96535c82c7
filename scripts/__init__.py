"""Development programs, not part of the add-on: makers of test scans, benches, real scans, pictures of the window."""
