"""Plain data as JSON and back: dataclasses, enums, tuples and mappings, by their type hints."""

from __future__ import annotations

import types
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any, TypeVar

__all__ = ["Json", "from_json", "from_json_again", "shallow_json", "to_json"]

Json = Any
"""Plain JSON: dict, list, str, float, int, bool, None."""

T = TypeVar("T")


_PLAIN = frozenset({str, int, float, bool, type(None)})


def to_json(thing: object) -> Json:
    """Dataclasses, enums, tuples and mappings as plain JSON values."""
    kind = type(thing)
    if kind in _PLAIN:
        return thing
    if (names := _names(kind)) is not None:
        return {name: to_json(getattr(thing, name)) for name in names}
    if isinstance(thing, Enum):
        return thing.value
    if isinstance(thing, Mapping):
        return {str(k): to_json(v) for k, v in thing.items()}
    if isinstance(thing, Sequence) and not isinstance(thing, str):
        return [v if type(v) in _PLAIN else to_json(v) for v in thing]
    return thing


def shallow_json(thing: object) -> Json:
    """One step of `to_json`, for an encoder to ask of what it cannot write itself. Raises TypeError."""
    if (names := _names(type(thing))) is not None:
        return {name: getattr(thing, name) for name in names}
    if isinstance(thing, Enum):
        return thing.value
    if isinstance(thing, Mapping):
        return dict(thing)
    raise TypeError(f"{type(thing).__name__} cannot be written as JSON")


_FIELD_NAMES: dict[type, tuple[str, ...] | None] = {}


def _names(kind: type) -> tuple[str, ...] | None:
    """The fields of a dataclass, worked out once; None of any other type."""
    if kind not in _FIELD_NAMES:
        _FIELD_NAMES[kind] = tuple(f.name for f in fields(kind)) if is_dataclass(kind) else None
    return _FIELD_NAMES[kind]


def from_json(kind: type[T], data: Json) -> T:
    """Read a dataclass back from `to_json`'s output. Raises KeyError or ValueError on other data."""
    spec: Any = kind
    read = _reader(spec)
    made: T = data if read is None else read(data)
    return made


def from_json_again(kind: type[T], data: Json, before: Json, made: T) -> T:
    """`from_json`, but members that are the very objects of `before`, of which `made` was read, are taken from it."""
    spec: Any = kind
    told = {}
    for name, read in _fields(spec):
        if name in data:
            value = data[name]
            same = read and name in before and before[name] is value
            told[name] = getattr(made, name) if same else read(value) if read else value
    return kind(**told)


@cache
def _reader(kind: Any) -> Callable[[Json], Any] | None:  # noqa: ANN401 - follows the type hints at run time
    """How a type is read, worked out once; None where the data stands for itself."""
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        some = _reader(next(a for a in arguments if a is not type(None)))
        return some and (lambda data: None if data is None else some(data))
    if origin in (tuple, list):
        item = _reader(arguments[0])
        return origin if item is None else (lambda data: origin(map(item, data)))
    if origin is not None and issubclass(origin, Mapping):
        value = _reader(arguments[1])
        return lambda data: {k: v if value is None else value(v) for k, v in data.items()}
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind
    if isinstance(kind, type) and is_dataclass(kind):
        return lambda data: kind(**{n: r(data[n]) if r else data[n] for n, r in _fields(kind) if n in data})
    return None


@cache
def _fields(kind: Any) -> tuple[tuple[str, Callable[[Json], Any] | None], ...]:  # noqa: ANN401
    hints = typing.get_type_hints(kind)
    return tuple((f.name, _reader(hints[f.name])) for f in fields(kind))
