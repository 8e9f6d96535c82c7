"""Props, tabletops, debris and lights round the piece. In: the subject, the shots' sight lines (mm). Out: solids, places,
lamps."""
