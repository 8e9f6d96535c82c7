"""Where the camera stands and how its lens draws. In: the subject as points, mm. Out: shots, framings, focus brackets."""
