"""What can harm a person or a piece in this work, said where the choice is made: on the sheet, on screen, on the maker's page.

These are the usual cautions of the trade. They are no safety data sheet and no rule of any place, and defer to both.
"""

from __future__ import annotations

SPRAY = (
    "Matting spray: outdoors or under extraction, with the mask, gloves and goggles that the product's safety data sheet "
    "names. Many sprays burn: none near flames, hot lamps or sparks."
)
DUST = (
    "Powder, dry clay and plaster: their dust harms the lungs, that of clay and stone by its silica. Don't sweep or blow "
    "it away: wipe wet, and wear what the safety data sheet names."
)
PIECE = (
    "The piece: dust or spray it only with the owner's written consent and, if old or unfired, a conservator's advice. "
    "Try a hidden spot first. A bare scan works too."
)
LAMPS = (
    "Lamps: their heat softens wax and dries clay, their light fades old colours, and a bare bulb or a burning lamp hurts eyes "
    "and skin. Keep your distance, and keep it short. Close up, use a cool lamp 150 mm off or more, for seconds, and ask the "
    "owner or a conservator of an old, painted or unfired piece first."
)
CLEANING = (
    "Taking powder or spray off: outdoors or under extraction, with a soft brush first. Solvents burn, their vapour harms, and "
    "they lift paint, wax and varnish: ventilate, wear gloves, keep flames away, and leave an original to a conservator."
)
FIRST = "Safety data sheets, local rules and licensed practice come before anything said here."

CAUTIONS = (SPRAY, DUST, PIECE, LAMPS, CLEANING, FIRST)

IN_SHORT = (
    "Matting spray and dust harm the lungs, and spray burns: ventilate, wear what the safety data sheet names, keep it from "
    "flames and hot lamps; spray an original only with its owner's written consent, a hidden spot first"
)
"""One line, for a tooltip and the head of a job sheet."""
