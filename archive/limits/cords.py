"""A limit of a channel or link segment, as it is for a permanent link: less what the cords of the channel add."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import msgspec
import numpy as np

from archive import schemas, vocabulary
from archive.limits.file_tables import CordEffect, Cords
from archive.limits.formula import Array, parse
from archive.limits.limit import Limit, Scalar
from archive.limits.line import Line, Segment, least_sure
from archive.structs import convert

WITH_CORDS = ("channel", "link-segment")
"""Configurations in which the cords at both ends are part of what is judged."""
WITHOUT_CORDS = ("permanent-link", "permanent-link-2", "permanent-link-3", "basic-link", "mptl")
"""Configurations in which cords are missing at one end or both."""
_FILE = "limits/cords.toml"
_TRIVIAL_MHZ = 1.0
"""Where a number that holds for no frequency takes the effect of cords: at 1 MHz, where delay is longest."""


@cache
def cords_named(name: str) -> Cords:
    """A set of cords of schemas/limits/cords.toml. Errors: KeyError; Trouble where the file does not fit."""
    return convert(schemas.load(_FILE)[name], Cords, f"{_FILE}, {name}", code="limit.declaration")


def for_permanent_link(limit: Limit, metres: float | None = None) -> Limit | None:
    """What a permanent link has to meet so that it meets a limit with cords at its ends.

    metres: length of the cords of both ends together; None: the allowance of the standard. `judged_as` of the result
    says what was added; `unjudged` are parameters to which cords add something that is not known.
    None where the limit names no cords: then nothing can be said of a permanent link.
    """
    if not limit.cords:
        return None
    cords = cords_named(limit.cords)
    length = cords.length_m if metres is None else metres
    effects = {name: effect for name, effect in cords.effects.items() if not effect.follows}

    parts: dict[str, Line | Scalar] = {**limit.scalars, **limit.lines}
    unjudged = tuple(name for name, part in parts.items() if part.decides and name not in cords.effects)
    whose = "as given" if metres is not None else "the standard's allowance"
    unknown = ", ".join(vocabulary.parameter(name).name for name in unjudged)
    return replace(
        limit,
        lines={
            name: _line(line, effects[name], length) if name in effects else line
            for name, line in limit.lines.items()
            if name in effects or line.role == "advisory"
        },
        scalars={name: _scalar(p, effects[name], length) for name, p in limit.scalars.items() if name in effects},
        unjudged=unjudged,
        judged_as=f"a permanent link with {length:g} m of {cords.title} added by formula ({whose})"
        + (f"; what they add to {unknown} is not known" if unknown else ""),
    )


def _line(line: Line, effect: CordEffect, length: float) -> Line:
    """The line less an effect. Caps hold as they are; a floor is part of the value that is lessened."""
    shorter = _less(effect, length, line.sense == "max")
    bounds = [bound.confidence for bound in (line.cap, line.floor) if bound]

    def segment(old: Segment) -> Segment:
        return replace(
            old,
            formula=f"{old.formula}, less cords",
            expanded=f"{old.expanded}; less cords of {length:g} m: {_text(effect)}",
            value=lambda f: shorter(line.at(f), f),
            confidence=least_sure([old.confidence, effect.confidence, *bounds]),
            between=least_sure([old.between, effect.confidence, *bounds]) if old.between else "",
            sources=tuple(dict.fromkeys((*old.sources, *effect.sources))),
        )

    return replace(line, segments=tuple(segment(old) for old in line.segments), floor=None)


def _scalar(scalar: Scalar, effect: CordEffect, length: float) -> Scalar:
    at = np.array([scalar.at_mhz or _TRIVIAL_MHZ])
    value = _less(effect, length, scalar.sense == "max")(np.array([scalar.value]), at).item()
    if scalar.per == "pairset":
        value = (value + scalar.value) / 2  # two loops side by side: a quarter of the sum of both
    return msgspec.structs.replace(
        scalar,
        value=value,
        confidence=least_sure([scalar.confidence, effect.confidence]),
        sources=tuple(dict.fromkeys((*scalar.sources, *effect.sources))),
    )


def _less(effect: CordEffect, length: float, maximum: bool) -> Callable[[Array, Array], Array]:
    """(limit, frequencies in MHz) -> limit less the effect, in the unit of the parameter."""
    top = effect.joins_to_mhz or np.inf
    contribution = parse(effect.joins or "0").function({})
    fixed = [(np.inf, effect.fixed or "0")] if isinstance(effect.fixed, str) else effect.fixed
    tops = np.array([to for to, _ in fixed])
    steps = [parse(text).function({}) for _, text in fixed]
    per_metre = parse(effect.per_metre or "0").function({})
    sign = -1.0 if maximum else 1.0

    def less(values: Array, f: Array) -> Array:
        added = np.choose(np.searchsorted(tops, f, side="left"), [step(f) for step in steps]) + length * per_metre(f)
        moved = values + sign * added
        if not effect.joins:
            return np.asarray(moved)
        rest = 10.0 ** (values / -20) - 10.0 ** (contribution(f) / -20)
        with np.errstate(divide="ignore"):
            return np.where(f <= top, -20.0 * np.log10(np.maximum(rest, 0.0)), moved)

    return less


def _text(effect: CordEffect) -> str:
    """An effect in one line, for people."""
    to = f" to {effect.joins_to_mhz:g} MHz" if effect.joins_to_mhz else ""
    steps = effect.fixed if isinstance(effect.fixed, list) else []
    parts = [
        effect.per_metre and f"{effect.per_metre} for each metre",
        effect.joins and f"{effect.joins} in phase{to}",
        ", ".join(f"{text} to {top:g} MHz" for top, text in steps) or effect.fixed,
    ]
    return ", then ".join(str(part) for part in parts if part)


def configuration_words(configuration: str) -> str:
    """A configuration in words: permanent-link-2 -> permanent link."""
    return configuration.rstrip("-23").replace("-", " ")
