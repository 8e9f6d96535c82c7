"""What a job is: its settings, its sheet, the order of its steps and how they are run. No Blender."""
