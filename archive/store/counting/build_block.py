"""Writing one block of the records ready for counting."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from archive import schemas, vocabulary
from archive.atomic import atomic_write
from archive.spread import Here, Lost, Workers
from archive.store import kept_work
from archive.store.archive import Archive
from archive.store.bag_reading import BagReading
from archive.store.catalogue.standing_columns import BLOCK_BITS
from archive.store.checked_files import DamagedFile
from archive.store.counting import columns
from archive.store.counting.from_bag import ASKED, FACTS, Bags, of_bag
from archive.vocabulary import cables
from archive.vocabulary.link_counts import REGRADED, verdict_that_counts

_SIZE = 1 << BLOCK_BITS
_AT_ONCE = 500
"""Rows that one query names."""
_DATE = re.compile(r"^([0-9]{4})(?:-([0-9]{2})|$)")


def block(
    archive: Archive, folder: Path, number: int, old: dict[str, Any] | None, now: int, workers: Workers | None = None
) -> dict[str, Any]:
    """Writes a block's files and gives what is to be remembered of them. now: entries of the ledger it is made of.

    old: the block as it was; what came from bags is taken over from it, since bags never change. workers: who reads the
    bags.
    """
    db = archive.db
    low = number * _SIZE
    listed = db.execute(
        f"SELECT {', '.join(columns.FROM_DATABASE)} FROM records WHERE row BETWEEN ? AND ? ORDER BY row",
        (low, low + _SIZE - 1),
    ).fetchall()
    names = columns.FROM_DATABASE
    made = dict(zip(names, (list(c) for c in zip(*listed, strict=True)), strict=True))
    known = min(int(old["rows"]), len(listed)) if old and not old["lacks"] else 0
    bags = _of_bags(archive, made, _Taken(folder, old, known), workers or Here())
    made |= bags.facts
    made |= _jobs(db, made["job_id"])
    made |= _cables(made["cable_type"])
    made |= _dates(made["tested_local"], made["tested_at"])
    in_db = {name for name, p in vocabulary.parameters().items() if p.unit == "dB"}
    for name, of in (("worst_margin_db", ""), ("leading_margin_db", "leading_")):
        margins = zip(made[f"{of}margin"], made[f"{of}parameter"], strict=True)
        made[name] = [m if p in in_db else None for m, p in margins]
    said = zip(made["evidence"], made["verdict"], made["reported_verdict"], strict=True)
    made["outcome"] = [verdict_that_counts(*of_record) for of_record in said]
    made |= _roles(made)
    made |= _first_tests(db, made)
    made |= _states(made)
    made["length_band"] = _length_bands(made["length_m"], made["medium"])
    parameters = tuple(bags.parameters)
    schema = columns.schema(parameters)
    table = {f.name: _array(made.get(f.name), f, bags) for f in schema}
    name = f"{number:05d}-{secrets.token_hex(6)}"
    records = pa.table(table, schema=schema)
    _write(folder / f"{name}.parquet", records)
    _write(folder / f"{name}-cells.parquet", _cells(records))
    failed = bags.failures
    if failed.num_rows:
        _write(folder / f"{name}-failures.parquet", failed)
    return {
        "block": number,
        "rows": len(listed),
        "upto": now,
        "file": f"{name}.parquet",
        "cells": f"{name}-cells.parquet",
        "failures": f"{name}-failures.parquet" if failed.num_rows else None,
        "parameters": list(parameters),
        "lacks": bags.lacks,
    }


class _FromBags:
    """What came from bags for the records of a block: facts by name, arrays by parameter, failures."""

    def __init__(self, count: int) -> None:
        self.facts: dict[str, list[Any]] = {name: [None] * count for name in FACTS}
        self.margins: dict[str, Any] = {}
        self.graded: dict[str, Any] = {}
        self.count = count
        self.lacks: list[tuple[str, str, str]] = []
        """Deposits of which a file is damaged, each with that file and the digest that it must have."""
        self._failures: list[Any] = []

    @property
    def parameters(self) -> list[str]:
        """Parameters that any record was graded at, in the order of the vocabulary."""
        return [name for name in columns.counted_parameters() if name in self.margins]

    @property
    def failures(self) -> Any:
        """All failures, in the order of their records."""
        found = pa.concat_tables([columns.failures().empty_table(), *self._failures])
        return found.sort_by("row") if len(self._failures) > 1 else found

    def put(self, name: str, at: Any, margin: Any, graded: Any) -> None:
        """Margins (NaN: none) and graded codes (-1: none) of some records at one parameter."""
        if name not in self.margins:
            self.margins[name] = np.full(self.count, np.nan, np.float32)
            self.graded[name] = np.full(self.count, -1, np.int8)
        self.margins[name][at] = margin
        self.graded[name][at] = graded

    def take_in(self, found: _FromBags, at: Any) -> None:
        """Adds what another one holds of the records at some places."""
        for name, values in found.facts.items():
            for i, value in zip(at.tolist(), values, strict=True):
                self.facts[name][i] = value
        for name, margins in found.margins.items():
            self.put(name, at, margins, found.graded[name])
        for table in found._failures:
            self.fail(table)
        self.lacks += found.lacks

    def fail(self, table: Any) -> None:
        """Adds failures."""
        if table.num_rows:
            self._failures.append(table)


@dataclass(frozen=True)
class _Taken:
    """The block as it was, of which the first `known` records are taken over."""

    folder: Path
    old: dict[str, Any] | None
    known: int


@dataclass(frozen=True)
class _BagToCount:
    """Records of one deposit that lie in a block. made: what is known of them, a list for each column that is asked."""

    deposit: str
    bag: BagReading
    made: dict[str, list[Any]]


def _of_bags(archive: Archive, made: dict[str, list[Any]], taken: _Taken, workers: Workers) -> _FromBags:
    bags = _FromBags(len(made["row"]))
    if taken.old is not None and taken.known:
        _taken_over(bags, taken.folder, taken.old, taken.known)
        again = _amended(taken.folder, taken.old, made, taken.known)
    else:
        again = []
    wanted = [(made["deposit"][i], i) for i in range(taken.known, bags.count)]
    places: list[Any] = []

    def pieces() -> Iterator[tuple[int, _BagToCount]]:
        for deposit, members in groupby(wanted, key=lambda w: w[0]):
            at = [i for _, i in members]
            try:
                bag = BagReading.of(archive, deposit)
            except DamagedFile as lost:
                bags.lacks.append((deposit, lost.path, lost.sha256))
                continue
            places.append(np.array(at))
            yield len(places) - 1, _BagToCount(deposit, bag, {c: [made[c][i] for i in at] for c in ASKED})

    for number, worked in workers.finished(_counted, pieces()):
        if isinstance(worked, Lost):
            raise kept_work.lost(made["deposit"][places[number][0]])
        bags.take_in(worked.made, places[number])
    bags.lacks.sort()
    there = Bags(archive)
    for i in again:  # the serial number of its unit was corrected
        of_bag(there.tables(made["deposit"][i]), bags, made, np.array([i]), units_alone=True)
    return bags


def _counted(piece: _BagToCount) -> _FromBags:
    """What one bag holds of some records, wherever this runs."""
    number = len(piece.made["row"])
    found = _FromBags(number)
    try:
        of_bag(piece.bag.tables, found, piece.made, np.arange(number))
    except DamagedFile as lost:
        found = _FromBags(number)
        found.lacks.append((piece.deposit, lost.path, lost.sha256))
    return found


def _taken_over(bags: _FromBags, folder: Path, old: dict[str, Any], known: int) -> None:
    parameters = [f"{kind}_{name}" for name in old["parameters"] for kind in ("margin", "graded")]
    table = pq.read_table(folder / old["file"], columns=[*FACTS, *parameters], use_threads=False).slice(0, known)
    for name in FACTS:
        bags.facts[name][:known] = table[name].to_pylist()
    for name in old["parameters"]:
        margin = table[f"margin_{name}"].to_numpy()
        bags.put(name, slice(0, known), margin, pc.fill_null(table[f"graded_{name}"], -1).to_numpy())
    if old["failures"]:
        bags.fail(pq.read_table(folder / old["failures"], use_threads=False))


def _amended(folder: Path, old: dict[str, Any], made: dict[str, list[Any]], known: int) -> list[int]:
    """Records of which the unit's serial number is another than before."""
    before = pq.read_table(folder / old["file"], columns=["local_serial", "remote_serial"], use_threads=False)
    was = [before[name].to_pylist()[:known] for name in before.column_names]
    now = [made[name] for name in before.column_names]
    return [i for i in range(known) if any(w[i] != n[i] for w, n in zip(was, now, strict=True))]


def _jobs(db: Any, jobs: list[str | None]) -> dict[str, list[Any]]:
    found: dict[str, dict[str, Any]] = {"crew": {}, "contractor": {}, "client": {}}
    for job, field, value in db.execute(
        "SELECT job_id, field, value FROM jobs WHERE field IN ('crew', 'contractor', 'client')"
    ):
        found[field][job] = value
    return {field: [of.get(j) if j else None for j in jobs] for field, of in found.items()}


def _cables(types: list[str | None]) -> dict[str, list[Any]]:
    """The columns of columns.CABLE."""
    parts: dict[str | None, dict[str, str | None]] = {}
    for t in set(types):
        states = {p: cables.state(t, p) for p in cables.PARTS}
        words = {p: {"known": cables.said(t).get(p), cables.UNKNOWN: None}.get(s, s) for p, s in states.items()}
        parts[t] = {**words, "category": words["class"], "screened": cables.screened(t)}
    return {name: [parts[t][name] for t in types] for name in columns.CABLE}


def _dates(local: list[str | None], at: list[str | None]) -> dict[str, list[Any]]:
    """Year and month of each test on the clock on the wall, or else in UTC; null where they are not known."""
    found = [_DATE.match(here or there or "") for here, there in zip(local, at, strict=True)]
    years = [int(m[1]) if m else None for m in found]
    return {"year": years, "month": [int(m[2]) if m and m[2] else None for m in found]}


def _length_bands(lengths: list[float | None], media: list[str | None]) -> list[int | None]:
    """Number of the band of each length; bands of fibers count from a hundred."""
    rules = schemas.load("rates.toml")["length"]
    copper, fiber = (np.array(rules[f"{medium}_m"], np.float64) for medium in ("copper", "fiber"))
    found: list[int | None] = []
    for metres, medium in zip(lengths, media, strict=True):
        first, edges = (100, fiber) if medium == "fiber" else (0, copper)
        found.append(None if metres is None else first + int(np.searchsorted(edges, metres)))
    return found


def _roles(made: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Whether each record decides for its link now, or as its job was accepted, or is the first test of its link; and
    where it would decide but for a doubt or a copy, which of the two."""
    rows = made["row"]
    doubt, copied = [d is not None for d in made["doubt"]], [bool(c) for c in made["copied"]]
    sound = [not d and not c for d, c in zip(doubt, copied, strict=True)]
    now = [unit == row for unit, row in zip(made["unit"], rows, strict=True)]
    then = [unit == row for unit, row in zip(made["accepted_unit"], rows, strict=True)]
    return {
        "current": [a and s for a, s in zip(now, sound, strict=True)],
        "accepted": [a and s for a, s in zip(then, sound, strict=True)],
        "first": [bool(f) and s for f, s in zip(made["first"], sound, strict=True)],
        "in_doubt": [a and d for a, d in zip(now, doubt, strict=True)],
        "copied": [a and c and not d for a, c, d in zip(now, copied, doubt, strict=True)],
    }


def _first_tests(db: Any, made: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Of current and accepted records: number of tests of the link, and what the first one came to."""
    counts = [a or b for a, b in zip(made["current"], made["accepted"], strict=True)]
    own = {
        row: (n, o, v, r)
        for row, unit, f, n, o, v, r in zip(
            *(made[c] for c in ("row", "unit", "first", "tests", "outcome", "verdict", "reported_verdict")), strict=True
        )
        if f and row == unit
    }
    elsewhere = sorted({u for u, c in zip(made["unit"], counts, strict=True) if c and u not in own})
    for start in range(0, len(elsewhere), _AT_ONCE):
        some = elsewhere[start : start + _AT_ONCE]
        marks = ", ".join("?" * len(some))
        for unit, tests, *of in db.execute(
            "SELECT f.unit, u.tests, f.evidence, f.verdict, f.reported_verdict FROM records u JOIN records f "
            f"ON f.first AND (f.row = u.row OR (f.unit = u.row AND f.unit != f.row)) WHERE u.row IN ({marks})",
            some,
        ):
            own[unit] = (tests, verdict_that_counts(*of), of[1], of[2])
    nothing = (None, None, None, None)
    told = [own.get(u, nothing) if c else nothing for u, c in zip(made["unit"], counts, strict=True)]
    names = ("tests", "first_outcome", "first_verdict", "first_reported")
    return {name: [one[n] for one in told] for n, name in enumerate(names)}


def _states(made: dict[str, list[Any]]) -> dict[str, Any]:
    """The columns of columns.STATES."""
    count, bit = len(made["row"]), columns.BITS

    def where(name: str, *values: Any) -> Any:
        return np.fromiter((v in values for v in made[name]), np.bool_, count)

    shown = where("current", True) | where("accepted", True)
    swept, known = where("evidence", *REGRADED), ~where("marginal", None)
    first, live = where("first", True), ~where("unit", None)
    common = first * bit["first"] + live * bit["live"] + swept * bit["swept"]
    common = common + sum(where(name, True) * bit[name] for name in ("current", "accepted", "in_doubt", "copied"))
    common = common + np.fromiter(((t or 0) > 1 for t in made["tests"]), np.bool_, count) * bit["retested"]
    common = common + np.fromiter(((n or 0) > 0 for n in made["lesser_fails"]), np.bool_, count) * bit["lesser_fails"]
    out = {}
    for name, basis, before in (
        ("state", "outcome", "first_outcome"),
        ("state_program", "verdict", "first_verdict"),
        ("state_reported", "reported_verdict", "first_reported"),
    ):
        passed, failed = where(basis, "pass"), where(basis, "fail")
        if name == "state_program":  # of a record without curves only a fail can be known, so that no share could be
            passed, failed = passed & swept, failed & swept
        decided = passed | failed
        here = {"state": swept, "state_program": np.True_, "state_reported": np.False_}[name]
        flags = {
            "passed": passed,
            "failed": failed,
            "fixed": shown & passed & where(before, "fail"),
            "marginal": passed & where("marginal", 1),
            "marginal_known": passed & known,
            "provisional": decided & here & where("provisional", 1),
            "by_instrument": decided & ~here,
        }
        total = common + sum(flag * bit[word] for word, flag in flags.items())
        out[name] = np.where(live, total, 0).astype(np.int32)
    return out


def _array(values: Any, field: Any, bags: _FromBags) -> Any:
    if field.name.startswith("margin_"):
        return pa.array(bags.margins[field.name.removeprefix("margin_")], from_pandas=True)
    if field.name.startswith("graded_"):
        codes = bags.graded[field.name.removeprefix("graded_")]
        return pa.array(codes, mask=codes < 0)
    if isinstance(values, np.ndarray):
        return pa.array(values)
    if pa.types.is_boolean(field.type):
        values = [None if v is None else bool(v) for v in values]
    return pa.array(values, field.type)


def _cells(records: Any) -> Any:
    """Records that count, gathered by all that they can be grouped by: far fewer rows to add up."""
    counting = records.filter(pc.greater(records["state"], 0)).select(columns.CELLS)
    found = counting.group_by(list(columns.CELLS), use_threads=False).aggregate([([], "count_all")])
    number = found["count_all"].cast(pa.int32())
    return found.select(columns.CELLS).append_column("number", number)


def _write(path: Path, table: Any) -> None:
    """Text by dictionary, which group-by is quickest on; written aside, then renamed."""
    texts = [f.name for f in table.schema if pa.types.is_string(f.type)]
    with atomic_write(path, durable=False) as temporary:
        pq.write_table(
            table,
            temporary,
            compression="zstd",
            use_dictionary=texts,
            row_group_size=_SIZE,
            write_page_checksum=True,
            store_schema=False,
        )
