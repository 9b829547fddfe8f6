"""Facts as JSON, whole enough that the pages made of them can be made again.

Objects with declared fields name their class under "~"; only classes that the facts' own annotations lead to are read
back. Batches and bytes are not in the JSON: each is a reference to a file beside it.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import types
import typing
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, TypeVar

import msgspec

from archive.tables import Batch

Facts = TypeVar("Facts")
_KIND, _VALUE = "~", "value"


def save(facts: Any, reference: Callable[[Any], Any]) -> bytes:
    """Facts as JSON bytes. reference: what stands for a batch, or for bytes.

    Errors: TypeError for a value that JSON of this kind cannot hold.
    """
    plain = _plain(facts, reference)
    return (json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode()


def restore(data: bytes, kind: type[Facts], of: Callable[[Any], Any]) -> Facts:
    """The facts again. of: what a reference stands for.

    Errors: ValueError where the bytes are not such facts.
    """
    try:
        made = _restored(json.loads(data), _classes(kind), of)
    except (KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"{type(error).__name__} {error}") from None
    if not isinstance(made, kind):
        raise ValueError(f"these are no {kind.__name__}")
    return made


def _plain(value: Any, reference: Callable[[Any], Any]) -> Any:
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, Batch | bytes):
        return {_KIND: "reference", _VALUE: reference(value)}
    if isinstance(value, dt.datetime | dt.date):
        return {_KIND: type(value).__name__, _VALUE: value.isoformat()}
    if _declared(type(value)):
        fields = {name: _plain(getattr(value, name), reference) for name in _names(type(value))}
        return {_KIND: type(value).__name__, **fields}
    if isinstance(value, Mapping):
        if all(isinstance(k, str) for k in value) and _KIND not in value:
            return {k: _plain(v, reference) for k, v in value.items()}
        pairs = [[_plain(k, reference), _plain(v, reference)] for k, v in value.items()]
        return {_KIND: "mapping", _VALUE: pairs}
    if isinstance(value, tuple):
        return {_KIND: "tuple", _VALUE: [_plain(v, reference) for v in value]}
    if isinstance(value, set | frozenset):
        return {_KIND: "set", _VALUE: [_plain(v, reference) for v in sorted(value)]}
    if isinstance(value, Sequence):
        return [_plain(v, reference) for v in value]
    raise TypeError(f"{type(value).__name__} cannot be saved among facts")


def _restored(value: Any, classes: Mapping[str, type], of: Callable[[Any], Any]) -> Any:
    if isinstance(value, list):
        return [_restored(v, classes, of) for v in value]
    if not isinstance(value, dict):
        return value
    kind = value.get(_KIND)
    if kind is None:
        return {k: _restored(v, classes, of) for k, v in value.items()}
    if kind in classes:
        return classes[kind](**{k: _restored(v, classes, of) for k, v in value.items() if k != _KIND})
    inside = value[_VALUE]
    if kind == "reference":
        return of(inside)
    read: dict[str, Callable[[], Any]] = {
        "datetime": lambda: dt.datetime.fromisoformat(inside),
        "date": lambda: dt.date.fromisoformat(inside),
        "tuple": lambda: tuple(_restored(inside, classes, of)),
        "set": lambda: frozenset(_restored(inside, classes, of)),
        "mapping": lambda: {_restored(k, classes, of): _restored(v, classes, of) for k, v in inside},
    }
    return read[kind]()


def _classes(kind: type) -> dict[str, type]:
    """The dataclasses that annotations lead to from one of them, by name."""
    found: dict[str, type] = {}
    waiting: list[Any] = [kind]
    while waiting:
        one = waiting.pop()
        if _declared(one):
            if found.setdefault(one.__name__, one) is one and len(found) < 100:
                waiting += [t for t in _inside(list(typing.get_type_hints(one).values())) if t not in found.values()]
        else:
            waiting += _inside([one])
    return found


def _inside(hints: list[Any]) -> Iterator[Any]:
    """Classes that annotations name, inside unions and containers too."""
    while hints:
        hint = hints.pop()
        if isinstance(hint, types.UnionType) or typing.get_origin(hint) is not None:
            hints += list(typing.get_args(hint))
        elif _declared(hint):
            yield hint


def _declared(kind: Any) -> bool:
    """Whether something is a class with declared fields."""
    return isinstance(kind, type) and (dataclasses.is_dataclass(kind) or issubclass(kind, msgspec.Struct))


def _names(kind: Any) -> list[str]:
    listed = msgspec.structs.fields(kind) if issubclass(kind, msgspec.Struct) else dataclasses.fields(kind)
    return [f.name for f in listed]
