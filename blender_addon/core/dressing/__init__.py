"""Props, tabletops, debris and lights round the piece.

In: the subject, the shots' sight lines, mm; a seed.
Out: solids, places, lamps, exposures.
Order: `trades` chooses; tabletops/, props/ and debris/ make; `compose` with `zones`, `tangency` and `resting` places; setups/
by `light_setups`, then `exposure`.
"""
