"""Where a close look goes, how it is cropped. In: the subject as points and lobes. Out: spots, crops, each with its reason."""
