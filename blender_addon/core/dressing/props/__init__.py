"""Things that belong on such a table, made up at true size in millimetres, random by seed, copies of nothing.

Sizes are those of studio tools as they are sold (common practice, from memory).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .prop import Prop
from .studio import jar, lump, rule, sponge, string
from .tools import boxwood_tool, brush, cutting_wire, knife, loop_tool, needle_tool, pencil, rib

MAKERS: dict[str, Callable[[np.random.Generator], Prop]] = {
    "loop tool": loop_tool, "rib": rib, "brush": brush, "pencil": pencil, "sponge": sponge, "jar": jar, "string": string,
    "knife": knife, "rule": rule, "boxwood tool": boxwood_tool, "cutting wire": cutting_wire, "needle tool": needle_tool,
    "lump": lump,
}  # fmt: skip


def make_prop(name: str, *, seed: int) -> Prop:
    """One prop by its name; another seed is another individual. Raises KeyError for an unknown name."""
    return MAKERS[name](np.random.default_rng([seed, sorted(MAKERS).index(name), 401]))
