"""What does the file of a material give? Its node group, the values of the group's inputs, and how it is spoken of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field
from typing import Any

from ...core.records import record


@record
class Recipe:
    """How a material is made from the material step's settings.

    group: makes its node group, or gives the one that is there.
    values: the inputs of the group by name, from the settings.
    kind: the material that it is shown as; itself where this is empty.
    variety, varieties: the setting that chooses among its varieties, and these by key.
    state: the setting that says how far it is worked or dried; "" where it has none.
    words: the material in a sentence, from the settings.
    samples: (label, settings) of the pictures that show it on the sample sheet.
    """

    group: Callable[[], Any]
    values: Callable[[Any], dict[str, Any]]
    words: Callable[[Any], str]
    kind: str = ""
    variety: str = ""
    varieties: Mapping[str, Any] = field(default_factory=dict)
    state: str = ""
    samples: tuple[tuple[str, dict[str, str]], ...] = ()


def label_of(row: Any) -> str:
    """The label of a row of `core/surface/reflectance.py`, a field of it or its first item, as it stands within a sentence."""
    return str(row.label if hasattr(row, "label") else row[0]).lower()
