"""From a scan to an upright piece and its stand. In: meshes. Out: rotations, lengths, poses, borders, each with evidence."""
