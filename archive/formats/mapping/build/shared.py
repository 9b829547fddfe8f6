"""Jobs, places, instruments and people that records name; each once."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from functools import partial

import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base import dates
from archive.formats.base.patterns import BoundedPattern
from archive.formats.mapping.build.record_facts import RecordFact, RecordFacts
from archive.formats.mapping.model import Mapping
from archive.formats.mapping.row_frame import mapped
from archive.tables import person_key, with_id

Row = dict[str, str | None]
"""A row of a shared table by its columns."""

_SIDES = ("local", "remote")
_PLACES = ("site", "building", "floor", "space", "panel", "port")


class Shared:
    """Rows of jobs, places, instruments and people of one reading; each once, with keys that follow from content."""

    def __init__(self, mapping: Mapping) -> None:
        self._mapping = mapping
        self._salts: dict[str, str] = {}

    def rows(self, facts: RecordFacts) -> tuple[dict[str, list[Row]], dict[str, pa.Array]]:
        """Rows of the shared tables, and the columns of records that name them."""
        rows: dict[str, list[Row]] = {"jobs": [], "places": [], "instruments": [], "people": []}
        columns: dict[str, pa.Array] = {}
        for side in _SIDES:
            columns[f"{side}_instrument_id"] = self._keyed(facts, rows["instruments"], "instruments", side)
            columns[f"{side}_place_id"] = self._keyed(facts, rows["places"], "places", side)
        columns["operator_key"] = self._people(facts, rows["people"])
        columns["job_id"] = self._jobs(facts, rows["jobs"])
        for table, name in (("people", "operator_key"), ("jobs", "job_id")):
            facts.settle(table, columns[name], {str(row[_IDS[table]]): row for row in rows[table]})
        return rows, columns

    def _keyed(self, facts: RecordFacts, rows: list[Row], table: str, side: str) -> pa.Array:
        """One row per distinct combination of what is stated of that side."""
        stated: dict[str, pa.Array] = {}
        # What names no side holds for both ends of a place, and for the main unit of an instrument.
        open_sides = ("", side) if table == "places" or side == "local" else (side,)
        of: dict[str, str] = {}
        for key, one in facts.stated.items():
            t = one.field.to
            if t.table == table and t.end in open_sides and (t.end or t.name not in stated):
                stated[t.name], of[t.name] = _clean(table, t.name, one, self._mapping), key
        facts.taken.update(of.values())
        if table == "places":
            for name, cells in self._split(facts, side).items():
                stated.setdefault(name, cells)
        return _combined(stated, facts.n, rows, lambda row: with_id(table, row), table)

    def _split(self, facts: RecordFacts, side: str) -> dict[str, pa.Array]:
        """Parts of identifiers that a field's split names."""
        out: dict[str, pa.Array] = {}
        for one in facts.stated.values():
            if not one.field.split or (one.field.to.end or "local") != side:
                continue
            pattern = split_pattern(one.field.split)
            for name in pattern.names:
                out[name] = mapped(one.text, partial(_part_named, pattern, name))
        return out

    def _people(self, facts: RecordFacts, rows: list[Row]) -> pa.Array:
        stated = {
            n: facts.text(f"people.{n}") for n in ("name", "organisation", "contact") if f"people.{n}" in facts.stated
        }
        # Who is not named cannot be a person of the tables: what else is stated of them stays as it was found.
        if "name" not in stated:
            return pa.nulls(facts.n, pa.string())

        def keyed(row: Row) -> Row:
            name = row.get("name")
            if not name:
                return {}
            salt = self._salts.setdefault(name, secrets.token_hex(16))
            return {**row, "salt": salt, "person_key": person_key(salt, name), "role": "operator"}

        return _combined(stated, facts.n, rows, keyed, "people")

    def _jobs(self, facts: RecordFacts, rows: list[Row]) -> pa.Array:
        stated = {o.field.to.name: o.text for o in facts.stated.values() if o.field.to.table == "jobs"}
        if not stated:
            return pa.nulls(facts.n, pa.string())

        def keyed(row: Row) -> Row:
            name = row.get("job_id") or row.get("name") or row.get("site") or row.get("client")
            return {**row, "job_id": name} if name else {}

        return _combined(stated, facts.n, rows, keyed, "jobs")


def _part_named(pattern: BoundedPattern, name: str, word: str) -> str | None:
    found = pattern.match(word)
    return found[name] if found else None


_IDS = {"instruments": "instrument_id", "places": "place_id", "people": "person_key", "jobs": "job_id"}


def _combined(
    stated: dict[str, pa.Array],
    n: int,
    rows: list[Row],
    keyed: Callable[[Row], Row],
    table: str,
) -> pa.Array:
    """Ids of the distinct combinations of some columns; their rows are added to `rows`."""
    if not stated:
        return pa.nulls(n, pa.string())
    names = list(stated)
    joined = pc.binary_join_element_wise(*[pc.fill_null(stated[c], "\x1e") for c in names], "\x1f").dictionary_encode()
    ids: list[str | None] = []
    known = {r[_IDS[table]] for r in rows}
    for combination in joined.dictionary.to_pylist():
        cells = [None if c == "\x1e" else c for c in combination.split("\x1f")]
        row = dict(zip(names, cells, strict=True))
        full = keyed(row) if any(cells) else {}
        name = full.get(_IDS[table])
        ids.append(name)
        if name and name not in known:
            known.add(name)
            rows.append(full)
    return pa.array(ids, type=pa.string()).take(joined.indices)


def _clean(table: str, name: str, one: RecordFact, mapping: Mapping) -> pa.Array:
    """Dates of calibrations as ISO 8601 days; the rest as found."""
    if table == "instruments" and name in ("calibrated_on", "calibration_due"):
        pattern = one.field.format or mapping.date or "ISO"
        return mapped(one.text, lambda w: _day(w, pattern) or w)
    return one.text


def _day(text: str, pattern: str) -> str | None:
    found = dates.read(text, pattern)
    return found.local.partition("T")[0] if found else None


def split_pattern(split: str) -> BoundedPattern:
    """A regular expression from a pattern such as {floor}{space}-{panel}{port}.

    {floor} and {port} are digits where another part touches them, {panel} and {space} letters and digits; a pattern
    between slashes is a regular expression with named groups.
    """
    if split.startswith("/"):
        return BoundedPattern(split.strip("/"))
    out, at = "", 0
    for match in re.finditer(r"\{(\w+)\}", split):
        out += re.escape(split[at : match.start()])
        name = match.group(1)
        shape = {"floor": r"-?\d+|[A-Z]{1,2}", "port": r"\d+"}.get(
            name, r"[^\W_]+?" if name == "panel" else r"[\w.+ ]+?"
        )
        out += f"(?P<{name}>{shape})" if name in _PLACES else "(?:.*?)"
        at = match.end()
    return BoundedPattern("^" + out + re.escape(split[at:]) + "$")
