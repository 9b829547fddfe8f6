"""The catalogue of rules, read from every TOML file in schemas/rules/.

One file is one group of rules, and archive/validation/rules/ has the Python file of the same name:

    [group]
    name = "time"                 # word by which the group is called
    title = "Time"                # heading for people
    order = 50                    # place in lists
    version = "2026-11"           # when the group last changed

    [rules.clock-reset]           # name in plain words, lower case, hyphens
    severity = "error"            # a word of the vocabulary "severity"
    by = "record"                 # who raises it: record, job (across records), reader, archive (a command over one),
                                  # program (wherever a bug of this program strikes)
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

from functools import cache
from typing import Annotated, Any, Literal, Required, TypedDict

from msgspec import Meta, Struct

from archive import schemas
from archive.errors import Trouble
from archive.structs import convert

Severity = Literal["error", "warning", "information"]
_Text = Annotated[str, Meta(min_length=1)]


class UnknownRule(LookupError):
    """A name that is not in the catalogue. A bug: nothing outside the catalogue can be raised."""


class RuleGroup(Struct, frozen=True, forbid_unknown_fields=True):
    """A group of rules: name, title, order, version."""

    name: str
    title: str
    order: int
    version: str


class RuleExample(TypedDict, total=False):
    """A small change to a good record, and what the rule does about it. base: the record it starts from; do: the
    changes; policy: tolerances of the rule; schedule: links that were to be built."""

    outcome: Required[Literal["bad", "good", "blind"]]
    what: Required[_Text]
    base: str
    do: list[dict[str, Any]]
    policy: dict[str, Any]
    schedule: list[dict[str, Any]]


class DeclaredRule(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One rule as it stands in its file. tolerances: by name."""

    severity: Severity
    by: Literal["record", "job", "reader", "archive", "program"] = "record"
    meaning: _Text
    why: _Text
    message: _Text
    remedy: _Text
    source: _Text
    tolerances: dict[str, Any] = {}
    examples: list[RuleExample] = []


class CatalogueRule(DeclaredRule, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One rule of the catalogue: as declared, with its name, its group and the name of its file (without ending)."""

    name: Annotated[str, Meta(pattern=r"^[a-z]+(-[a-z]+)+$")]
    group: RuleGroup
    file: str


class RuleFile(Struct, frozen=True, forbid_unknown_fields=True):
    """One file of the catalogue. calibration: what measurements of the rules gave."""

    group: RuleGroup
    rules: dict[str, DeclaredRule]
    calibration: dict[str, float] = {}


@cache
def rules() -> dict[str, CatalogueRule]:
    """All rules by name, group after group.

    Errors: Trouble where a file of the catalogue is not as described above, or a name stands in two of them.
    """
    found: list[CatalogueRule] = []
    for path in sorted((schemas.root() / "rules").glob("*.toml")):
        content = schemas.load(f"rules/{path.name}")
        for name, entry in content["rules"].items():
            texts = {key: " ".join(v.split()) if isinstance(v, str) else v for key, v in entry.items()}
            whole = {**texts, "name": name, "group": content["group"], "file": path.stem}
            found.append(
                convert(whole, CatalogueRule, f"schemas/rules/{path.name}: {name}", code="rules.declared-wrong")
            )
    found.sort(key=lambda r: (r.group.order, r.group.name))
    by_name = {r.name: r for r in found}
    if len(by_name) < len(found):
        twice = next(r for r in found if by_name[r.name] is not r)
        raise Trouble(
            "a rule is declared in two files", code="rules.declared-wrong", where="schemas/rules", found=twice.name
        )
    return by_name


def rule(name: str) -> CatalogueRule:
    """One rule. Errors: UnknownRule."""
    try:
        return rules()[name]
    except KeyError:
        raise UnknownRule(f"there is no rule {name!r} in schemas/rules/") from None


@cache
def version() -> str:
    """Version of the catalogue: that of the group that changed last."""
    return max(r.group.version for r in rules().values())
