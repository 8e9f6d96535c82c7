"""What a job is, without Blender: its settings, its sheet, the order of its steps and how they are run.

In: a job sheet and the declared steps.
Out: results, decisions, notes.
Order: `settings` and `step` declare, `sheet` reads and writes, `runner` runs; `farm` and `series` are for many pictures and
many pieces.
"""
