"""The catalogue of rules, read from every TOML file in schemas/rules/.

One file is one group of rules:

    [group]
    name = "time"                 # word by which the group is called
    title = "Time"                # heading for people
    order = 50                    # place in lists
    version = "2026-11"           # when the group last changed

    [rules.clock-reset]           # name in plain words, lower case, hyphens
    severity = "error"            # a word of the vocabulary "severity"
    by = "record"                 # who raises it: record, job (across records), reader, archive (a command over one)
    meaning = "..."               # what it looks at, as one statement that a sound record fulfils
    why = "..."                   # why that matters
    message = "... {found} ... {expected} ..."   # the one line of a finding; {where} is there too
    remedy = "..."                # what to do
    source = "..."                # where the rule comes from, or: common practice, no source

    [rules.clock-reset.tolerances]  # every number or word the rule compares with; a policy may change it
    [[rules.clock-reset.examples]]  # run as tests: a small change to a good record (tests/validation/examples.py)
    outcome = "bad"               # bad: the rule raises; good: it stays silent; blind: it says that it could not look
    what = "dated 1 January 1980"
    do = [{ table = "records", set = { tested_local = "1980-01-01T00:03:10" } }]
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from archive import schemas, vocabulary

_NAME = re.compile(r"[a-z]+(-[a-z]+)+")
_TEXTS = ("severity", "meaning", "why", "message", "remedy", "source")
_BY = ("record", "job", "reader", "archive")


class UnknownRule(LookupError):
    """A name that is not in the catalogue. A fault of ours: nothing outside the catalogue can be raised."""


@dataclass(frozen=True)
class Group:
    """A group of rules: name, title, order, version."""

    name: str
    title: str
    order: int
    version: str


@dataclass(frozen=True)
class Rule:
    """One rule of the catalogue. tolerances: by name; examples: as they stand in the file."""

    name: str
    group: Group
    by: str
    severity: str
    meaning: str
    why: str
    message: str
    remedy: str
    source: str
    tolerances: dict[str, Any] = field(default_factory=dict)
    examples: tuple[dict[str, Any], ...] = ()


@cache
def rules() -> dict[str, Rule]:
    """All rules by name, group after group.

    Errors: ValueError where a file of the catalogue is not as described above; such a file is a fault of ours.
    """
    folder = schemas.root() / "rules"
    groups: list[tuple[Group, dict[str, Any], str]] = []
    for path in sorted(folder.glob("*.toml")):
        with path.open("rb") as file:
            content = tomllib.load(file)
        try:
            group = Group(**{k: content["group"][k] for k in ("name", "title", "order", "version")})
            groups.append((group, content["rules"], path.name))
        except KeyError as missing:
            raise ValueError(f"schemas/rules/{path.name}: {missing} is missing") from missing
    found: dict[str, Rule] = {}
    for group, listed, file_name in sorted(groups, key=lambda g: (g[0].order, g[0].name)):
        for name, entry in listed.items():
            if name in found:
                raise ValueError(f"schemas/rules/{file_name}: the rule {name} is there twice")
            found[name] = _rule(name, group, entry, file_name)
    return found


def rule(name: str) -> Rule:
    """One rule. Errors: UnknownRule."""
    try:
        return rules()[name]
    except KeyError:
        raise UnknownRule(f"there is no rule {name!r} in schemas/rules/") from None


@cache
def version() -> str:
    """Version of the catalogue: that of the group that changed last."""
    return max(r.group.version for r in rules().values())


def _rule(name: str, group: Group, entry: dict[str, Any], file_name: str) -> Rule:
    here = f"schemas/rules/{file_name}: {name}"
    if not _NAME.fullmatch(name):
        raise ValueError(f"{here}: a name is made of at least two plain words with hyphens between them")
    lacking = [key for key in _TEXTS if not str(entry.get(key, "")).strip()]
    if lacking:
        raise ValueError(f"{here}: {', '.join(lacking)} must be there")
    extra = set(entry) - {*_TEXTS, "by", "tolerances", "examples"}
    if extra:
        raise ValueError(f"{here}: unknown key {sorted(extra)}")
    if entry["severity"] not in vocabulary.words("severity"):
        raise ValueError(f"{here}: severity {entry['severity']!r}")
    by = entry.get("by", "record")
    if by not in _BY:
        raise ValueError(f"{here}: by {by!r}")
    return Rule(
        name=name,
        group=group,
        by=by,
        tolerances=dict(entry.get("tolerances", {})),
        examples=tuple(entry.get("examples", ())),
        **{key: " ".join(entry[key].split()) for key in _TEXTS},
    )
