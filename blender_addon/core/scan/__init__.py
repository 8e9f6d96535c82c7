"""From a scan to an upright piece and its stand.

In: meshes.
Out: rotations, lengths, poses and borders, each with its evidence.
Order: `units`, `table` and `loose`; standing/, facing/ and `known_length`; registration/ for further scans; `separation` last;
quality/ judges the whole.
"""
