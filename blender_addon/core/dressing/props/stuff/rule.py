"""A steel rule, 150 mm and a little over; the division is in its material, the figures of the centimetres are strokes on it."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import moved, rounded_rectangle, slab
from ....mesh.triangles import TriangleMesh
from ..prop import Prop, assembled

NAME = "rule"
TRADES = (
    "carver",
    "founder",
    "plaster",
    "conservator",
)
THICK, STROKE, HIGH = 0.75, 0.24, 2.2
"""Thickness of the plate, width of a stroke and height of a figure, mm (common practice)."""
FIGURES = {
    "0": "abdfec", "1": "bd", "2": "abgef", "3": "abgdf", "4": "cgbd", "5": "acgdf", "6": "acegdf", "7": "abd", "8": "abcdefg",
    "9": "abcgdf",
}  # fmt: skip
"""Which strokes make a figure: a top, c and b upper left and right, g middle, e and d lower left and right, f foot."""
LINES = {
    "a": ((0, 2), (1, 2)), "b": ((1, 1), (1, 2)), "c": ((0, 1), (0, 2)), "g": ((0, 1), (1, 1)), "d": ((1, 0), (1, 1)),
    "e": ((0, 0), (0, 1)), "f": ((0, 0), (1, 0)),
}  # fmt: skip
"""From where to where each stroke runs: (right, up), in widths and in half heights of a figure."""


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    plate = slab(rounded_rectangle(156.0, 19.0, 1.2, 4), THICK, rounding=0.12, steps=2, dome=np.array([0.4, 0.8]))
    figures = [(stroke, "black paint") for mark in range(1, 15) for stroke in _figure(str(mark), -75.0 + 10.0 * mark)]
    return assembled("rule", [(plate, "rule"), *figures])


def _figure(word: str, x: float) -> list[TriangleMesh]:
    """The strokes of a number whose middle lies at x, under the long mark of its centimetre; they stand off by a hair."""
    wide, gap = 0.5 * HIGH, 0.35 * HIGH
    start = x - 0.5 * (len(word) * wide + (len(word) - 1) * gap)
    found = []
    for place, letter in enumerate(word):
        for line in FIGURES[letter]:
            (a, b), (c, d) = LINES[line]
            first = np.array([start + place * (wide + gap) + a * wide, -HIGH / 2 + b * HIGH / 2])
            last = np.array([start + place * (wide + gap) + c * wide, -HIGH / 2 + d * HIGH / 2])
            size = np.abs(last - first) + STROKE
            bar = slab(rounded_rectangle(float(size[0]), float(size[1]), 0.1, 2), 0.03, rounding=0.01, steps=1)
            found.append(moved(bar, np.eye(3), [*(0.5 * (first + last)), THICK - 0.005]))
    return found
