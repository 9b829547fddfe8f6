"""Grades a batch: the one path for one record and for a thousand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from archive import limits
from archive.grading import (
    comparison,
    grade_curves,
    grade_rows,
    grade_scalars,
    judgement,
    missing_readings,
    reported,
    resolve_limit,
    wire_map,
)
from archive.grading.accuracy import Accuracy
from archive.grading.arithmetic import Bools, Ints
from archive.grading.curves import PAIRINGS
from archive.grading.differences import limit_curves
from archive.grading.graded_columns import NOT_GRADED, GradedColumns, LimitNotes, rank_of
from archive.grading.grading_input import GradingInput
from archive.grading.verdict_rows import Judged, unknown, verdicts
from archive.tables import Batch, no_rows


def grade(
    batch: Batch,
    against: str | Iterable[str] | None = None,
    applications: Iterable[str] = (),
    user_limits: Sequence[Any] = (),
    accuracy: Accuracy | None = None,
) -> Batch:
    """The batch with its tables grades and verdicts filled anew; nothing else of it changes.

    against: ids of limits; None: the limit that each record names. applications: ids of IEEE 802.3 link segments,
    graded besides. user_limits: limits of the user's (archive.limits.Limit), which records and `against` may name.
    accuracy: of the instruments, where somebody knows it; without it marginal results are as the instrument marked
    them. Rows are in the order of the records, then of the limits asked for, parameters, ends and pairings; numbers
    are rounded to nine decimals. The same record against the same version of the limits gives the same rows.
    Errors: Trouble for a limit id that is not known.
    """
    own = resolve_limit.user_limits_by_id(user_limits)
    wanted = resolve_limit.asked_for(None if against is None else against, applications, own)
    data = GradingInput(batch)
    names = resolve_limit.resolve(batch, own)
    everything = np.ones(len(batch), np.bool_)
    by_name = {key: np.array([n.limit_id == key for n in names], np.bool_) for key in {n.limit_id: 0 for n in names}}
    done: list[tuple[Any, Ints, Any, Ints]] = []
    if against is None:
        for limit_id, chosen in by_name.items():
            if limit_id is None:
                at = np.flatnonzero(chosen)
                done.append((no_rows("grades"), np.zeros(0, np.int64), unknown(data, names, at), at))
            else:
                limit = own.get(limit_id) or limits.get(limit_id)
                done.append(_against(data, limit, chosen, chosen, names, accuracy))
    nobody = np.zeros(len(batch), np.bool_)
    done += [_against(data, limit, everything, by_name.get(limit.id, nobody), names, accuracy) for limit in wanted]
    return batch.replace(
        grades=_in_order([(table, record) for table, record, _, _ in done], "grades"),
        verdicts=_in_order([(table, record) for _, _, table, record in done], "verdicts"),
    )


def _in_order(parts: list[tuple[Any, Ints]], name: str) -> Any:
    """One table of several, rows of one record together."""
    if not parts:
        return no_rows(name)
    table = pa.concat_tables([table for table, _ in parts])
    record = np.concatenate([record for _, record in parts])
    if len(parts) > 1:
        table = table.take(pa.array(np.argsort(record, kind="stable")))
    return table.combine_chunks()


def _against(
    data: GradingInput,
    limit: Any,
    chosen: Bools,
    own: Bools,
    names: list[resolve_limit.ResolvedLimit],
    accuracy: Accuracy | None,
) -> tuple[Any, Ints, Any, Ints]:
    """Grades and verdicts of the chosen records against one limit. own: is it the one that the record names."""
    order = grade_scalars.order(limit)
    required = np.array([judgement.role_of(limit, name) == judgement.REQUIRED for name in order], np.bool_)
    tables = LimitNotes(len(data.batch), order, required, data.pairings)
    held = comparison.nothing(len(data.batch), len(order), 0)
    pieces: list[GradedColumns] = []
    if limit.lines:
        for layout in data.layouts:
            some = layout.of(chosen)
            if len(some.records):
                pieces += grade_curves.grade_layout(limit, data.curves, some, own, held, tables)
    if limit.established:
        by_reading = grade_scalars.grade_scalars(limit, chosen, data.scalars, tables.texts, data.pairings)
        missing_readings.note_readings(limit, by_reading, tables)
        pieces += by_reading
        pieces += _points(data, limit, chosen, pieces, tables)
    rank = rank_of(data.pairings, PAIRINGS)
    graded = GradedColumns.joined(pieces, rank)
    parameters = judgement.by_parameter(graded, tables)
    notes, agrees = held.notes, held.parameter_agrees
    held = comparison.nothing(len(data.batch), len(order), len(graded))
    held.notes, held.parameter_agrees = notes, agrees
    if limit.established:
        limit_curves(limit, tables.numbers, data.curves, own & chosen, held)
        comparison.compare(limit, graded, parameters.verdict, data.reported, own & chosen, data.on_grid, held)
    faults = wire_map.faults(data.batch, limit.pairs) if limit.established else {}
    broken = np.zeros(len(data.batch), np.bool_)
    broken[[r for r in faults if chosen[r]]] = True
    records = judgement.by_record(limit, graded, parameters, tables, broken)
    _withhold(limit, records)
    judged = Judged(limit, graded, parameters, records, held, tables)
    table, place = grade_rows.grades(limit.id, data.ids, graded, rank, parameters, held, tables)
    at = np.flatnonzero(chosen)
    return table, place, verdicts(data, judged, at, own, names, faults, accuracy), at


def _points(
    data: GradingInput, limit: Any, chosen: Bools, pieces: list[GradedColumns], tables: LimitNotes
) -> list[GradedColumns]:
    """Worst points of the instrument, for parameters of which nothing else is there."""
    nothing = np.ones(tables.missing.shape, np.bool_)
    for piece in pieces:
        nothing[piece.record, piece.parameter] = False
    number = data.reported.numbers(limit)
    wanted = (data.reported.record >= 0) & (number >= 0) & chosen[data.reported.record]
    wanted &= nothing[data.reported.record, np.maximum(number, 0)] if nothing.size else False
    found = reported.from_points(limit, data.reported, wanted, tables.texts)
    for piece in found:
        tables.missing[piece.record, piece.parameter] = tables.texts.code("worst points only")
    return found


_ALIEN = frozenset({"ps_anext", "ps_anext_average", "ps_aacr_f", "ps_aacr_f_average"})


def _withhold(limit: Any, records: judgement.RecordVerdicts) -> None:
    """No pass where the limit has parameters that are not established (alien crosstalk is sampled, and only noted)."""
    if set(limit.open) - _ALIEN:
        records.verdict[records.verdict == 0] = NOT_GRADED
