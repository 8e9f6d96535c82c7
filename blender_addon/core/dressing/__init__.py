"""What stands, lies and shines round the piece. In: the subject, the shots' sight lines (mm). Out: solids, places, lamps."""
