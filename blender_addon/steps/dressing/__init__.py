"""Table, props, debris and light, arranged for the shots."""
