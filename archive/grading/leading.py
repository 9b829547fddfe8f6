"""The leading margin of verdicts from stored grades: what archives hold that were graded before verdicts had it."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from archive import limits, vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.grading.coverage import rules
from archive.tables.arrow import coded, one_chunk, reals

COLUMNS = tuple(
    f"leading_{name}" for name in ("parameter", "pairing", "end", "frequency_mhz", "value", "limit", "margin")
)
"""Columns of verdicts that hold the leading margin, besides insertion_loss_margin."""


def with_leading(verdicts: pa.Table, grades: pa.Table) -> pa.Table:
    """Verdicts with their leading margins recomputed from rows of grades.

    verdicts, grades: of the same records, with the columns record_id and limit_id at least. Returns the verdicts with
    the columns of COLUMNS and insertion_loss_margin, null where there is no such margin. The smallest margin of the
    parameters in schemas/grading.toml, leading; of a link that fails, the worst of all that fail.
    """
    key_of, verdict_key = _keys(verdicts, grades)
    margin, bar = reals(grades.column("margin")), reals(grades.column("limit"))
    names, parameter = coded(grades.column("parameter"))
    kinds, kind = coded(grades.column("kind"))
    points = np.isin(kind, [code for code, word in enumerate(kinds) if word != "overall"]) & ~np.isnan(margin)
    worst = kind == (kinds.index("worst_margin") if "worst_margin" in kinds else -2)
    failing = np.asarray(grades.column("verdict").to_numpy(zero_copy_only=False) == "fail") & _decides(grades)
    said = np.asarray(verdicts.column("verdict").to_numpy(zero_copy_only=False) == "fail")
    glass = np.isin(parameter, [code for code, name in enumerate(names) if vocabulary.parameter(name).per == "fiber"])
    # Polarity fails a link whose losses all pass: none of them leads.
    fails = np.isin(key_of, key_of[failing]) | (glass & np.isin(key_of, verdict_key[said]))
    leads = np.array([name in rules()["leading"]["parameters"] for name in names] + [False])[parameter]
    decibels = np.array([vocabulary.parameter(name).unit == rules()["worst"]["unit"] for name in names] + [False])
    chosen = points & _decides(grades) & np.where(fails, failing, leads & worst)
    some = np.flatnonzero(chosen)
    order = some[np.lexsort((~worst[some], margin[some], ~decibels[parameter[some]], key_of[some]))]
    keys, first = np.unique(key_of[order], return_index=True)
    place = {key: order[at] for key, at in zip(keys.tolist(), first.tolist(), strict=True)}
    rows = np.array([place.get(key, -1) for key in verdict_key.tolist()], np.int64)
    loss = names.index("insertion_loss") if "insertion_loss" in names else -1
    high = points & (parameter == loss) & (bar > rules()["leading"]["insertion_loss_limit_above"])
    beside: Reals = np.full(int(max(key_of.max(initial=-1), verdict_key.max(initial=-1))) + 2, np.nan)
    np.fmin.at(beside, key_of[high], margin[high])
    taken = pa.array(rows, mask=rows < 0)
    for column in COLUMNS:
        cells = one_chunk(grades.column(column.removeprefix("leading_"))).take(taken)
        verdicts = _set(verdicts, column, cells)
    found = beside[verdict_key]
    return _set(verdicts, "insertion_loss_margin", pa.array(found, mask=np.isnan(found)))


def _keys(verdicts: pa.Table, grades: pa.Table) -> tuple[Ints, Ints]:
    """A number per record and limit for each row of grades and of verdicts."""
    record_id, limit_id = (
        pa.concat_arrays([one_chunk(table.column(name)) for table in (grades, verdicts)])
        for name in ("record_id", "limit_id")
    )
    _, record = coded(record_id)
    words, limit = coded(limit_id)
    keys = record * (len(words) + 1) + limit + 1
    return keys[: grades.num_rows], keys[grades.num_rows :]


def _decides(grades: pa.Table) -> Bools:
    """A flag per row: is its parameter one that decides (limits of users that are not at hand: all do)."""
    ids, limit = coded(grades.column("limit_id"))
    names, parameter = coded(grades.column("parameter"))
    known = set(limits.ids())
    roles = np.ones((len(ids) + 1, len(names) + 1), np.bool_)
    for i, limit_id in enumerate(ids):
        if limit_id in known:
            found = limits.get(limit_id)
            parts = [found.lines.get(name) or found.scalars.get(name) for name in names]
            roles[i, :-1] = [part is None or part.decides for part in parts]
    return roles[limit, parameter]


def _set(table: pa.Table, name: str, column: pa.Array) -> pa.Table:
    place = table.schema.get_field_index(name)
    return table.append_column(name, column) if place < 0 else table.set_column(place, name, column)
