"""What the file of a material provides: its node group, the values of the group's inputs, and its description in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any, TypeAlias

from ...core.records import record

if TYPE_CHECKING:
    import bpy

    from .builder import Value


Values: TypeAlias = "Mapping[str, Value]"
"""Values of a group's inputs, by the inputs' names."""


@record
class Recipe:
    """How a material is made from the material step's settings.

    group: returns its node group, a new or an existing one.
    values: from the settings to the group's inputs by name.
    kind: the material whose surface it uses; its own where this is empty.
    variety, varieties: name of the setting that chooses among its varieties, and these by key.
    state: name of the setting for its state (wet, dry); "" where it has none.
    words: from the settings to a description within a sentence.
    samples: (label, settings) of its pictures on the sample sheet.
    """

    group: Callable[[], bpy.types.NodeTree]
    values: Callable[[Any], Values]
    words: Callable[[Any], str]
    kind: str = ""
    variety: str = ""
    varieties: Mapping[str, object] = field(default_factory=dict)
    state: str = ""
    samples: tuple[tuple[str, dict[str, str]], ...] = ()


def label_of(row: Any) -> str:
    """The label of a row of `core/surface/reflectance.py` (a field, or the first item) in lower case, for a sentence."""
    return str(row.label if hasattr(row, "label") else row[0]).lower()
