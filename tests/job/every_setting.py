"""A step that has a setting of every kind, for tests of what sheets can hold."""

from __future__ import annotations

from dataclasses import dataclass

from blender_addon.job.settings import (
    angle,
    choice,
    colour,
    data,
    file,
    folder,
    integer,
    length,
    number,
    point,
    switch,
    table,
    text,
)
from blender_addon.job.step import Step


@dataclass(kw_only=True)
class Row:
    """A row of the table."""

    file: str = file("", help="A file")
    amount: float = number(1.0, low=0.0, high=10.0, help="How much")


@dataclass(kw_only=True)
class Every:
    """A setting of every kind."""

    ALIASES = {"row": "rows"}

    number: float = number(0.5, low=-1e6, high=1e6, help="A number")
    length: float | None = length(None, low=0.1, high=5000.0, help="A length")
    angle: float | None = angle(None, low=-360.0, high=360.0, help="An angle")
    count: int = integer(3, low=0, high=100_000, help="A count")
    on: bool = switch(False, help="A switch")
    way: str = choice("one", (("one", "One", "The first"), ("two", "Two", "The second")), help="A choice")
    words: str = text("", help="Words")
    file: str = file("", help="A file")
    folder: str = folder("", help="A folder")
    point: tuple[float, ...] | None = point(None, help="A point")
    colour: tuple[float, float, float] | None = colour(None, help="A colour")
    item: str | None = data("object", help="An object")
    rows: list[Row] = table(Row, short="file", help="Rows")


STEPS = (Step("every", "scan", "Every", "Help.", Every, (), (), (), lambda stage, own: iter(())),)
