"""Where a cell goes: `records.link_label`, `readings.length[1-2]`, `sweeps.next[local,1-2/3-6]`, `row.pairing`.

    table.name[qualifiers]           records, jobs, places, instruments, people, readings, sweeps, wiremap, row, axes
    reported.parameter.column[...]   column: value, limit, margin, frequency, verdict, pairing, end

Qualifiers, in any order: an end (local, remote), a pair or combination (1-2, 1-2/3-6), a direction (local-remote),
an origin (limit, margin, derived), a kind of point (worst_margin, worst_value, overall), a wavelength (850nm), a
frequency (100MHz), a part of a time (date, time, zone), a contact (contact 1), a fibre or conductor (fiber A).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace
from functools import cache

from archive import vocabulary
from archive.errors import Trouble
from archive.near_names import offered
from archive.tables import tables

ROW = frozenset(
    (
        *("parameter", "pairing", "disturbing", "disturbed", "end", "direction", "wavelength", "frequency", "kind"),
        *("origin", "unit", "value", "limit", "margin", "uncertainty", "verdict", "marginal", "key", "subject", "axis"),
        *("frequencies", "values", "start", "step", "stop", "count", "fault", "distance", "contact", "far", "file"),
    )
)
"""What a column can say about its row, beside naming a value."""

REPORTED = (
    *("value", "limit", "margin", "uncertainty"),
    *("frequency", "verdict", "pairing", "end", "marginal", "wavelength"),
)
PARTS = ("date", "time", "zone")

RECORDS = frozenset(
    (
        *("medium", "link_label", "tested_found", "sequence", "limit_found", "configuration", "cable_found"),
        *("velocity_percent", "group_index", "connections", "splices", "reference_method", "reference_local"),
        *(
            "launch_condition",
            "connector_grade",
            "polarity_method",
            "light_class",
            "cable_lot",
            "array_positions",
            "reported_verdict",
            "reported_marginal",
            "coverage_factor",
            "comment",
        ),
    )
)
"""Columns of records that a cell may fill."""

_SHAPE = re.compile(r"^(\w+)\.([\w*]+)(?:\.(\w+))?(?:\[([^\]]*)\])?$")


@dataclass(frozen=True)
class Target:
    """A place in the tables. What is "" is left open, and a column of the row may say it."""

    table: str
    name: str
    column: str = ""
    end: str = ""
    pairing: str = ""
    direction: str = ""
    wavelength: str = ""
    frequency: str = ""
    origin: str = ""
    kind: str = ""
    part: str = ""
    subject: str = ""

    def __str__(self) -> str:
        head = f"{self.table}.{self.name}" + (f".{self.column}" if self.column else "")
        listed = [self.kind, self.origin, self.part, self.end, self.direction]
        listed += [f"{self.wavelength}nm" if self.wavelength else "", f"{self.frequency}MHz" if self.frequency else ""]
        listed += [self.pairing, self.subject]
        shown = ",".join(x for x in listed if x)
        return f"{head}[{shown}]" if shown else head

    @property
    def parameter(self) -> str:
        """Parameter it names, or ""."""
        return self.name if self.table in ("readings", "sweeps", "reported") else ""

    def at(self, **changes: str) -> Target:
        """The same with some qualifiers changed."""
        return replace(self, **changes)


NAMES = tuple(f.name for f in fields(Target))


def parse(text: str, where: str = "") -> Target:
    """A target from its text. Errors: Trouble where the tables have no such place."""
    match = _SHAPE.match(text.strip())
    if not match:
        raise _wrong(text, where, "table.name[qualifiers], such as readings.length[1-2]")
    table, name, column, qualifiers = match.groups()
    target = Target(table, name, column or "")
    for part in (qualifiers or "").split(","):
        if part.strip():
            target = _qualified(target, part.strip(), text, where)
    return _checked(target, text, where)


def _qualified(target: Target, word: str, text: str, where: str) -> Target:
    number = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(nm|mhz)", word, re.IGNORECASE)
    if number:
        name = "wavelength" if number.group(2).lower() == "nm" else "frequency"
        return target.at(**{name: f"{float(number.group(1)):.10g}"})
    for name, known in (
        ("end", frozenset(vocabulary.ENDS)),
        ("direction", vocabulary.words("direction")),
        ("pairing", frozenset((*vocabulary.PAIRS, *vocabulary.ORDERED))),
        ("origin", vocabulary.words("origin")),
        ("kind", vocabulary.words("point_kind")),
        ("part", frozenset(PARTS)),
    ):
        if word in known:
            return target.at(**{name: word})
    if re.fullmatch(r"(fiber|conductor|contact) [\w-]+", word):
        return target.at(subject=word)
    raise _wrong(text, where, f"a qualifier instead of {word!r}: an end, a pair, a direction, an origin, 850nm ...")


def _checked(t: Target, text: str, where: str) -> Target:
    if t.table in ("readings", "sweeps", "reported"):
        if t.name not in vocabulary.parameters():
            raise _wrong(text, where, f"a parameter such as next or length instead of {t.name!r}")
        if t.table == "reported" and t.column not in REPORTED:
            raise _wrong(text, where, f"reported.{t.name}.<{'|'.join(REPORTED)}>")
        if t.table != "reported" and t.column:
            raise _wrong(text, where, f"{t.table}.{t.name} without .{t.column}")
        return t
    if t.name not in _columns(t.table):
        meant = offered(t.name, _columns(t.table))
        raise _wrong(text, where, (f"{t.table}.{meant}, or " if meant else "") + _expected(t.table))
    if t.column:
        raise _wrong(text, where, f"{t.table}.{t.name} without .{t.column}")
    return t


@cache
def _columns(table: str) -> frozenset[str]:
    if table == "row":
        return frozenset(ROW)
    if table == "records":
        return RECORDS
    if table in ("jobs", "places", "instruments", "people"):
        return frozenset(c.name for c in tables()[table].columns if not c.name.endswith(("_id", "_key"))) | (
            frozenset({"job_id"}) if table == "jobs" else frozenset()
        )
    return {"wiremap": frozenset({"far"}), "axes": frozenset({"frequencies_mhz"})}.get(table, frozenset())


def _expected(table: str) -> str:
    known = ("records", "jobs", "places", "instruments", "people", "readings", "sweeps", "reported", "wiremap", "row")
    if table not in known and table != "axes":
        return "a table: " + ", ".join(known)
    return f"one of {table}." + ", ".join(sorted(_columns(table)))


def _wrong(text: str, where: str, expected: str) -> Trouble:
    return Trouble(
        "the tables have no such place", code="mapping.no-such-target", where=where, found=text, expected=expected
    )
