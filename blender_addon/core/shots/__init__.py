"""Where the camera stands and what its lens gives. In: the subject as points, mm. Out: shots, framings, brackets."""
