"""The choices of the scan steps as decisions, with pictures and the settings of each alternative.

In: what `core/scan` found.
Out: decisions.
Order: one file each, in the order of the steps: pictures, size, cleanup, standing, stand.
"""
