"""Grades a batch: the same path for one record and for a thousand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from archive import limits
from archive.grading import comparison, fiber, grade_curves, grade_rows, judgement, reported, resolve_limit, wire_map
from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import Bools, Ints
from archive.grading.configurations import lacks_cords, nothing_about_links
from archive.grading.decision import withhold_near_limits
from archive.grading.differences import limit_curves
from archive.grading.grade_rows import Judged
from archive.grading.grade_scalars import grade_scalars
from archive.grading.graded_columns import NOT_GRADED, GradedColumns, LimitNotes, rank_of
from archive.grading.grading_input import GradingInput
from archive.grading.missing_readings import note_readings
from archive.grading.resolve_limit import ResolvedLimit
from archive.grading.sweep_arrays import PAIRINGS
from archive.grading.uncertainty import uncertainty
from archive.grading.unfailing import unfailing
from archive.grading.verdict_rows import verdicts, without_grades
from archive.limits import Limit
from archive.limits.cords import WITH_CORDS, for_permanent_link
from archive.tables import Batch, no_rows
from archive.tables.arrow import rows_of


@unfailing
def grade(
    batch: Batch,
    against: str | Iterable[str] | None = None,
    applications: Iterable[str] = (),
    user_limits: Sequence[resolve_limit.UserLimit] = (),
    accuracy: Accuracy | None = None,
    cords_m: float | None = None,
) -> Batch:
    """The batch with its tables grades and verdicts recomputed; nothing else of it changes.

    against: ids of limits; None: the limit that each record names. applications: ids of IEEE 802.3 link segments,
    graded as well. user_limits: limits of the user, which records and `against` may name. accuracy: of the
    instruments, where it is known; without it marginal results are as the instrument marked them. cords_m: length, m,
    of the cords at both ends together, which are added by formula where a permanent link is graded against a channel
    or a link segment; None: the allowance of the standard. Rows are in the order of the records, then of the limits
    asked for, parameters, ends and pairings; numbers are rounded to nine decimals. The same record against the same
    version of the limits gives the same rows. A record on which this program fails is "not graded", with the bug as the
    reason; the others are graded.
    Errors: Trouble for an unknown limit id.
    """
    by_id, own_optical = resolve_limit.user_limits_by_id(user_limits)
    wanted = resolve_limit.asked_for(against, applications, by_id, own_optical)
    glass = fiber.optical(batch)
    if not glass.any() and not wanted.optical:
        return _grade_curves(batch, against is None, wanted.curves, by_id, (accuracy, cords_m))
    own = _OwnLimits(by_id, own_optical)
    return _grade_both(batch, glass, against is None, wanted, own, (accuracy, cords_m))


@dataclass(frozen=True)
class _OwnLimits:
    """Limits of the user: of curves by id, and of optical links."""

    by_id: dict[str, Limit]
    optical: list[fiber.OpticalBound]


_Tester = tuple[Accuracy | None, float | None]
"""Accuracy of the instrument, and length of the cords."""


def _grade_both(
    batch: Batch, glass: Bools, named: bool, wanted: resolve_limit.AskedFor, own: _OwnLimits, tester: _Tester
) -> Batch:
    """Records of optical links by their own rules, the others by curves; each against what is asked for of its kind.

    What a user states as a limit of his own is graded as curves are, whatever the record is of.
    """
    by_words = np.array([r.limit_id in own.by_id for r in resolve_limit.resolve(batch, own.by_id)], np.bool_)
    ids = np.array(batch["records"].column("record_id").to_pylist(), dtype=object)
    of_curves, of_glass = ~glass | by_words, glass & ~by_words
    parts: list[dict[str, pa.Table]] = []
    if named and of_curves.any():
        parts.append(dict(_grade_curves(batch.select(ids[of_curves]), True, [], own.by_id, tester).items()))
    if named and of_glass.any():
        parts.append(fiber.grade_optical(batch.select(ids[of_glass]), None, own.optical))
    stated = [limit for limit in wanted.curves if limit.own]
    of_copper = [limit for limit in wanted.curves if not limit.own]
    if stated:
        parts.append(dict(_grade_curves(batch, False, stated, own.by_id, tester).items()))
    if of_copper and not glass.all():
        copper = batch.select(ids[~glass])
        parts.append(dict(_grade_curves(copper, False, of_copper, own.by_id, tester).items()))
    if of_copper and glass.any():
        parts += [_of_another_kind(batch.select(ids[glass]), limit.id) for limit in of_copper]
    if wanted.optical:
        parts.append(fiber.grade_optical(batch, wanted.optical))
    tables = {}
    for name in ("grades", "verdicts"):
        rows = [part[name] for part in parts]
        at = [rows_of(table.column("record_id"), batch["records"].column("record_id")) for table in rows]
        tables[name] = _in_order(list(zip(rows, at, strict=True)), name)
    return batch.replace(**tables)


def _of_another_kind(batch: Batch, limit_id: str) -> dict[str, pa.Table]:
    """Records of optical links against a limit of copper ones: not graded, since nothing of the two is alike."""
    reasons = ["a limit of copper links; this record is of an optical one"] * len(batch)
    return {"grades": no_rows("grades"), "verdicts": without_grades(batch, limit_id, reasons)}


def _grade_curves(batch: Batch, named: bool, wanted: list[Limit], by_id: dict[str, Limit], tester: _Tester) -> Batch:
    """Grades by curves and scalars over pairs. named: against the limit that each record names, before those wanted."""
    accuracy, cords_m = tester
    run = _Run(GradingInput(batch), resolve_limit.resolve(batch, by_id), accuracy)
    done: list[_GradedRows] = []
    for limit_id in {named.limit_id: 0 for named in run.named} if named else ():
        chosen = run.names(limit_id)
        if limit_id is None:
            at = np.flatnonzero(chosen)
            unknown = without_grades(batch, None, [run.named[r].reason for r in at.tolist()], at)
            done.append(_GradedRows(no_rows("grades"), at[:0], unknown, at))
        else:
            done.append(run.against(by_id.get(limit_id) or limits.get(limit_id), chosen))
    without_cords = lacks_cords(run.data, run.named)
    for limit in wanted:
        links = without_cords & ~run.names(limit.id) & (limit.configuration in WITH_CORDS)
        if not links.all() or not len(batch):
            done.append(run.against(limit, ~links))
        if links.any():
            done.append(run.against_cords(limit, links, cords_m))
    return batch.replace(
        grades=_in_order([(rows.grades, rows.grades_of) for rows in done], "grades"),
        verdicts=_in_order([(rows.verdicts, rows.verdicts_of) for rows in done], "verdicts"),
    )


@dataclass
class _GradedRows:
    """Rows of grades and of verdicts, and per row the place of its record in the batch."""

    grades: pa.Table
    grades_of: Ints
    verdicts: pa.Table
    verdicts_of: Ints


def _in_order(parts: list[tuple[pa.Table, Ints]], name: str) -> pa.Table:
    """One table of several, rows of one record together."""
    if not parts:
        return no_rows(name)
    table = pa.concat_tables([table for table, _ in parts])
    record = np.concatenate([record for _, record in parts])
    if len(parts) > 1:
        table = table.take(pa.array(np.argsort(record, kind="stable")))
    return table.combine_chunks()


@dataclass
class _Run:
    """One call of grade. named: per record, the limit that it names."""

    data: GradingInput
    named: list[ResolvedLimit]
    accuracy: Accuracy | None

    def names(self, limit_id: str | None) -> Bools:
        """A flag per record: is this the limit that it names."""
        return np.array([named.limit_id == limit_id for named in self.named], np.bool_)

    def against(self, limit: Limit, chosen: Bools) -> _GradedRows:
        """Grades and verdicts of the chosen records against one limit."""
        data, is_named = self.data, self.names(limit.id)
        notes = LimitNotes(len(data.batch), limit, data.pairings)
        compared = comparison.Comparison.nothing(len(data.batch), len(notes.names))
        parts: list[GradedColumns] = []
        if limit.lines:
            for layout in data.layouts:
                some = layout.of(chosen)
                if len(some.records):
                    parts += grade_curves.grade_layout(limit, data.curves, some, is_named, compared, notes)
        if limit.established:
            readings = grade_scalars(limit, chosen, data.scalars, notes)
            note_readings(limit, readings, notes)
            parts += readings
            parts += self._worst_points(limit, chosen, is_named, parts, notes)
        rank = rank_of(data.pairings, PAIRINGS)
        graded = GradedColumns.joined(parts, rank)
        judgement.only_warn(graded, notes)
        parameters = judgement.by_parameter(graded, notes)
        compared.begin(len(graded))
        faults: dict[int, str] = {}
        if limit.established:
            limit_curves(limit, notes.numbers, data.curves, is_named & chosen, compared)
            comparison.compare(limit, graded, parameters.verdict, data, is_named & chosen, compared)
            faults = wire_map.faults(data.batch, limit.pairs)
        broken = np.isin(np.arange(len(data.batch)), list(faults)) & chosen
        records = judgement.by_record(graded, parameters, notes, broken)
        _withhold(limit, records)
        known = uncertainty(graded, notes, data, limit, self.accuracy)
        guard_band = self.accuracy.guard_band if self.accuracy is not None else 0.0
        faults |= withhold_near_limits(graded, notes, records, known, guard_band)
        judged = Judged(limit, graded, parameters, records, compared, notes, is_named, faults, known)
        table, grades_of = grade_rows.grades(judged, data.ids, rank)
        at = np.flatnonzero(chosen)
        return _GradedRows(table, grades_of, verdicts(data, judged, at, self.named, self.accuracy), at)

    def against_cords(self, limit: Limit, links: Bools, cords_m: float | None) -> _GradedRows:
        """The same for links that were measured without the cords of a limit."""
        shorter = for_permanent_link(limit, cords_m)
        if shorter is not None:
            return self.against(shorter, links)
        at = np.flatnonzero(links)
        table = without_grades(self.data.batch, limit.id, [nothing_about_links(limit)] * len(at), at)
        return _GradedRows(no_rows("grades"), at[:0], table, at)

    def _worst_points(
        self, limit: Limit, chosen: Bools, is_named: Bools, graded: list[GradedColumns], notes: LimitNotes
    ) -> list[GradedColumns]:
        """Worst points of the instrument, for parameters of which nothing else is there."""
        nothing = np.ones(notes.missing.shape, np.bool_)
        for part in graded:
            nothing[part.record, part.parameter] = False
        points = self.data.reported
        number = points.numbers(limit, notes.numbers)
        wanted = (points.record >= 0) & (number >= 0) & chosen[points.record]
        wanted &= nothing[points.record, np.maximum(number, 0)] if nothing.size else False
        return reported.from_points(limit, points, wanted, is_named, notes)


_ALIEN = frozenset({"ps_anext", "ps_anext_average", "ps_aacr_f", "ps_aacr_f_average"})


def _withhold(limit: Limit, records: judgement.RecordVerdicts) -> None:
    """No pass where parameters are not established or not judged (alien crosstalk is sampled, and only noted)."""
    if {*limit.open, *limit.unjudged} - _ALIEN:
        records.verdict[records.verdict == 0] = NOT_GRADED
