"""Grades the optical records of a batch: rows of grades and verdicts, record by record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa

from archive.grading.fiber import polarity
from archive.grading.fiber.both_ends import other_ends
from archive.grading.fiber.both_ways import OtherWay, other_ways
from archive.grading.fiber.graded_rows import FAIL, RecordGrade, grade_rows, remembered, verdict_row
from archive.grading.fiber.link_grade import grade_link
from archive.grading.fiber.loss_tests import LossTest, loss_tests
from archive.grading.fiber.other_grades import grade_application, grade_exported
from archive.grading.fiber.trace_grade import EventsOfRecord, grade_events
from archive.limits import fiber
from archive.limits.fiber import NamedLimit, OpticalApplication, OpticalLimit
from archive.tables import Batch, schema

OpticalBound = OpticalLimit | OpticalApplication
_FAMILIES = ("", "ieee-802.3/", "fibre-channel/")


def asked_for(names: Sequence[str], user_limits: Sequence[OpticalBound] = ()) -> tuple[list[OpticalBound], list[str]]:
    """Of the limits and applications that somebody asks for, the optical ones, and the names of the others.

    An application may leave out the family: 10gbase-sr is ieee-802.3/10gbase-sr. user_limits: the user's own, which may
    be named by id; a file of one (.toml) may be named as well.
    """
    found: dict[str, OpticalBound] = {}
    others = []
    own = {limit.id: limit for limit in user_limits}
    for name in names:
        text = name.strip().lower()
        if text.endswith(".toml") and fiber.is_optical(name.strip()):
            limit = fiber.load_own(name.strip())
            found[limit.id] = limit
            continue
        if text in own:
            found[text] = own[text]
            continue
        key = next((f"{family}{text}" for family in _FAMILIES if f"{family}{text}" in fiber.ids()), None)
        if key is None:
            others.append(name)
        else:
            found[key] = fiber.get(key)
    return list(found.values()), others


def named_limit(test: LossTest) -> NamedLimit:
    """The limit that a record names."""
    row = test.row
    words = row["limit_found"] or ""
    if not words.strip():
        return NamedLimit(None, (), "limit unknown: the record names none")
    day = (row["tested_local"] or "")[:10]
    found = fiber.find(words, test.fiber_class, day, row["connector_grade"] == "reference-grade")
    if found.limit_id is not None:
        return found
    why = f"candidates: {', '.join(found.candidates)}" if found.candidates else found.reason
    return NamedLimit(None, found.candidates, f"limit unknown: '{' '.join(words.split())}'; {why}")


def grade_optical(
    batch: Batch, against: Sequence[OpticalBound] | None, user_limits: Sequence[OpticalBound] = ()
) -> dict[str, pa.Table]:
    """Rows of grades and of verdicts of a batch of optical records, in their order.

    against: None for the limit that each record names, with the limits that its export states and the events of its
    trace beside it. Of several verdicts on a record the first is that of the limit it names. user_limits: the user's
    own, which records may name by id or title.
    """
    grades: list[dict[str, Any]] = []
    verdicts: list[dict[str, Any]] = []
    own = fiber.by_words(user_limits)
    events, curves, wrong = _events(batch), _curves(batch), polarity.faults(batch)
    ends = other_ends(batch, events)
    old = {r["record_id"] for r in batch["findings"].to_pylist() if r["rule"] == "trace-of-first-format"}
    tests = loss_tests(batch)
    ways = other_ways(tests)
    for test in tests:
        record_id = test.row["record_id"]
        mine = events.get(record_id, [])
        traces = EventsOfRecord(mine, curves.get(record_id), record_id in old, ends.get(record_id))
        made = _named(test, traces, own) if against is None else [_asked(test, limit) for limit in against]
        if (both := ways.get(record_id)) is not None:
            made = [_both_ways(grade, both) for grade in made]
        for grade in made:
            if record_id in wrong and grade.limit_id != fiber.EXPORTED and test.losses:
                grade.fault = wrong[record_id].text
                grade.fault_doubts = remembered(wrong[record_id].confidence)
            grades += grade_rows(grade)
            verdicts.append(verdict_row(grade))
    return {"grades": _table("grades", grades), "verdicts": _table("verdicts", verdicts)}


def _named(test: LossTest, traces: EventsOfRecord, own: Mapping[str, OpticalBound]) -> list[RecordGrade]:
    if (traces.events or traces.curve) and not test.losses:
        return [grade_events(test, traces)]
    if (mine := own.get((test.row["limit_found"] or "").strip().lower())) is not None:
        return [_against(test, mine, True), *([grade_events(test, traces)] if traces.events else [])]
    found = named_limit(test)
    if found.limit_id is None:
        unknown = RecordGrade(test, None)
        unknown.missing.append(found.reason)
        made = [unknown]
    else:
        made = [_against(test, fiber.get(found.limit_id), True, found.reason)]
    exported = grade_exported(test)
    made += [exported] if exported else []
    return [*made, grade_events(test, traces)] if traces.events else made


def _both_ways(grade: RecordGrade, both: OtherWay) -> RecordGrade:
    """A grade of one direction anew with that of the other record beside it, where its limit asks for both; a fail of
    its own stays its own."""
    limit = fiber.get(grade.limit_id) if grade.limit_id in fiber.limit_ids() else None
    wants = isinstance(limit, OpticalLimit) and limit.directions is not None and limit.directions.count >= 2
    if not wants or grade.verdict == FAIL:
        return grade
    assert isinstance(limit, OpticalLimit)
    found = grade_link(both.test, limit, False)
    found.own_verdict, found.differs, found.rests_on_other = grade.own_verdict, grade.differs, True
    found.notes = list(dict.fromkeys([*grade.notes, *found.notes, both.note]))
    return found


def _asked(test: LossTest, limit: OpticalBound) -> RecordGrade:
    """Against a limit that somebody asks for; the instrument's figures are compared where it is the one named."""
    found = named_limit(test)
    named = found.limit_id == limit.id
    return _against(test, limit, named, found.reason if named else "")


def _against(test: LossTest, limit: OpticalBound, named: bool = False, reason: str = "") -> RecordGrade:
    if test.row["medium"] == "copper":
        copper = RecordGrade(test, limit.id, own_verdict=False)
        copper.missing.append("a limit of optical links; this record is of copper")
        return copper
    if isinstance(limit, OpticalApplication):
        return grade_application(test, limit, named)
    return grade_link(test, limit, named, reason)


def _events(batch: Batch) -> dict[str, list[Mapping[str, Any]]]:
    found: dict[str, list[Mapping[str, Any]]] = {}
    for row in batch["trace_events"].to_pylist():
        found.setdefault(row["record_id"], []).append(row)
    return found


def _curves(batch: Batch) -> dict[str, Mapping[str, Any]]:
    """Wavelength and direction of the first trace of each record."""
    names = ["record_id", "parameter", "wavelength_nm", "direction"]
    rows = batch["sweeps"].select(names).to_pylist()
    return {row["record_id"]: row for row in reversed(rows) if row["parameter"] == "backscatter"}


def _table(name: str, rows: list[dict[str, Any]]) -> pa.Table:
    want = schema(name)
    return pa.table({f.name: pa.array([r.get(f.name) for r in rows], type=f.type) for f in want}, schema=want)
