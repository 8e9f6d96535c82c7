"""What is a record? A frozen dataclass whose methods are shared by all records, and whose fields are read when first asked for.

`dataclasses.dataclass(frozen=True)` writes six methods as source text for every class, compiles them, and looks at each field's
type, half a millisecond in all; the package has over two hundred such classes, so that this was half of the time in which
Blender enables the add-on. A record's class costs nothing until its first instance is created. Everything else is a
dataclass's: defaults and factories, `__post_init__`, inheritance, `dataclasses.replace`, `fields` and `asdict`, equality and
hash by the fields, and FrozenInstanceError when a field is set.
"""

from __future__ import annotations

import threading
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, fields
from typing import Any, TypeVar, dataclass_transform

Class = TypeVar("Class")


@dataclass_transform(frozen_default=True, field_specifiers=(field, Field))
def record(cls: type[Class]) -> type[Class]:
    """The class as a record; for `@record` above a class whose fields are written as a dataclass's."""
    return _described_later(cls, _METHODS | _FROZEN, kw_only=False)


@dataclass_transform(kw_only_default=True, field_specifiers=(field, Field))
def values(cls: type[Class]) -> type[Class]:
    """As `record`, of a class whose fields are given by name and may be set later, such as a step's settings; what
    `dataclasses.dataclass(kw_only=True)` makes."""
    return _described_later(cls, _METHODS | {"__eq__": _eq_of_values, "__hash__": None}, kw_only=True)


def _described_later(cls: type[Class], methods: dict[str, object], *, kw_only: bool) -> type[Class]:
    """The class with the shared methods that it does not have. kw_only: whether its fields are given by name alone."""
    for name, method in methods.items():
        if name not in cls.__dict__:
            setattr(cls, name, method)
    for name in ("__dataclass_fields__", "_record_fields"):
        setattr(cls, name, _WhenAsked(cls, name, kw_only))
    return cls


class _WhenAsked:
    """Stands in for what `dataclass` derives from a record's fields; on first access the class is described by it."""

    def __init__(self, cls: type, name: str, kw_only: bool) -> None:
        self.cls, self.name, self.kw_only = cls, name, kw_only

    def __get__(self, instance: object, owner: type) -> Any:
        """What `dataclass` derived, which from now on is stored in the class."""
        with _described_by_one:
            if isinstance(self.cls.__dict__[self.name], _WhenAsked):
                dataclass(init=False, repr=False, eq=False, kw_only=self.kw_only)(self.cls)
                known = tuple(fields(self.cls))
                defaults = {each.name: each.default for each in known if each.default is not MISSING}
                self.cls._record_defaults = defaults  # type: ignore[attr-defined]  # both are read by the methods below
                self.cls._record_fields = known  # type: ignore[attr-defined]
        return self.cls.__dict__[self.name]


_described_by_one = threading.RLock()
"""Held while a class is described, since describing it twice would lose its factories. Reentrant, for a record of a record."""


def _init(self: Any, *given: Any, **named: Any) -> None:
    """Set the fields in their order or by their names; the others by their defaults."""
    wanted = self._record_fields
    held = self._record_defaults | named
    if given:
        if len(given) > sum(not known.kw_only for known in wanted):
            raise TypeError(f"{type(self).__name__} has {len(wanted)} fields; {len(given)} values were given without names")
        for known, value in zip(wanted, given, strict=False):
            if known.name in named:
                raise TypeError(f"{type(self).__name__} got two values for {known.name}")
            held[known.name] = value
    if len(held) < len(wanted) or named:
        for known in wanted:
            if known.name not in held:
                if known.default_factory is MISSING:
                    raise TypeError(f"{type(self).__name__} needs a value for {known.name}")
                held[known.name] = known.default_factory()
        if len(held) > len(wanted):
            unknown = next(name for name in named if name not in {known.name for known in wanted})
            raise TypeError(f"{type(self).__name__} has no field {unknown}")
    self.__dict__.update(held)
    if hasattr(self, "__post_init__"):
        self.__post_init__()


def _repr(self: Any) -> str:
    shown = ", ".join(f"{known.name}={getattr(self, known.name)!r}" for known in self._record_fields if known.repr)
    return f"{type(self).__qualname__}({shown})"


def _compared(self: Any) -> tuple[Any, ...]:
    return tuple(getattr(self, known.name) for known in self._record_fields if known.compare)


def _eq(self: Any, other: object) -> Any:
    return _compared(self) == _compared(other) if other.__class__ is self.__class__ else NotImplemented


def _eq_of_values(self: object, other: object) -> object:
    """As `_eq`; mostly told by all that both hold, which is faster: panels compare all settings at every redraw."""
    return (other.__class__ is self.__class__ and self.__dict__ == other.__dict__) or _eq(self, other)


def _hash(self: Any) -> int:
    return hash(_compared(self))


def _setattr(self: Any, name: str, value: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _delattr(self: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


_METHODS: dict[str, object] = {"__init__": _init, "__repr__": _repr, "__eq__": _eq}
_FROZEN: dict[str, object] = {"__hash__": _hash, "__setattr__": _setattr, "__delattr__": _delattr}
