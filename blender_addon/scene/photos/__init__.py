"""How do photographs get out of their files? Read by Blender, one after the other, and judged beside."""
