"""Arranges table, props, debris and light for the shots.

In: piece, material and shots.
Out: the set and its light.
Order: tabletop, debris, lighting.
"""
