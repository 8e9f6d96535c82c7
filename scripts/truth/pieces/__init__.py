"""Made-up pieces in full detail, each modelled by formula: shapes of the relief bench, the demo's owl, figures, stands."""
