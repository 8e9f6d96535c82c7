"""What pieces are modelled with: fields in space, meshes of them, strokes of tools, colours."""
