"""Readings and what the instrument reported: values of single cells."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.base import numbers, units
from archive.formats.mapping import verdicts
from archive.formats.mapping.build.keys import Keys, keys_of, spread
from archive.formats.mapping.build.qualify import Qualifiers, origin_for, qualifiers, turned
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.model import Mapping, SourceField
from archive.formats.mapping.row_frame import Problems, RowFrame, codes, encoded, mapped

_SAID = ("value", "limit", "margin", "frequency", "verdict", "marginal")


def is_curve(parameter: str) -> bool:
    """True for parameters that are curves over frequency, of which a single value is a worst case."""
    p = vocabulary.parameter(parameter)
    return p.unit == "dB" and not parameter.startswith("optical") and parameter != "backscatter"


class ScalarBuilder:
    """Puts the single values of frames into pieces."""

    def __init__(self, mapping: Mapping, writing: numbers.Writing, pieces: TableParts, problems: Problems) -> None:
        self._mapping, self._writing, self._pieces, self._problems = mapping, writing, pieces, problems

    def named(self, frame: RowFrame, keys: Keys) -> None:
        """Fields that name their parameter: readings.length[1-2], reported.next.margin[worst_margin]."""
        once = frame.table.rows in ("points", "curves")
        groups: dict[tuple[str, ...], list[SourceField]] = {}
        for f in frame.table.fields:
            if f.source not in frame.columns:
                continue
            if f.to.table == "readings":
                self._reading(frame, keys, f, once)
            elif f.to.table == "reported":
                t = f.to
                groups.setdefault((t.name, t.kind, t.end, t.pairing, t.direction, t.wavelength), []).append(f)
        for listed in groups.values():
            self._reported(frame, keys, listed, once)

    def rows(self, frame: RowFrame, keys: Keys) -> None:
        """Rows that name their parameter in a cell, or in `given`: row.value, row.limit, row.margin ...

        Columns of one kind of point, pair and end belong together: row.margin[worst_margin], row.value[1-2].
        """
        groups: dict[tuple[str, ...], dict[str, SourceField]] = {}
        for f in frame.table.fields:
            if f.to.table == "row" and f.to.name in (*_SAID, "marginal") and f.source in frame.columns:
                groups.setdefault((f.to.kind, f.to.end, f.to.pairing, f.to.direction, f.to.wavelength), {})[
                    f.to.name
                ] = f
        plain = groups.pop(("",) * 5, {})
        if groups:
            # What names no group, such as a verdict of the row, goes with the first.
            first = next(iter(groups))
            groups[first] = {**plain, **groups[first]}
        else:
            groups[("",) * 5] = plain
        for (kind, *_), said in groups.items():
            if {"value", "limit", "margin", "verdict"} & set(said):
                own = keys_of(frame, self._mapping, self._writing, self._problems, kind) if kind else keys
                self._group(frame, own, said)

    def _group(self, frame: RowFrame, keys: Keys, said: dict[str, SourceField]) -> None:
        given = frame.table.given.parameter or ""
        parameters = keys.words.get("parameter", spread(given, frame.rows))
        coded = encoded(parameters)
        for number, parameter in enumerate(coded.dictionary.to_pylist()):
            if parameter is None:
                continue
            at = np.flatnonzero(np.asarray(pc.fill_null(pc.equal(coded.indices, number), False)) & ~keys.lost)
            if len(at):
                self._of_parameter(frame, keys, said, parameter, at)

    def _of_parameter(self, frame: RowFrame, keys: Keys, said: dict[str, SourceField], parameter: str, at: Any) -> None:
        part = frame.only(at)
        found: dict[str, Any] = {}
        for name in ("value", "limit", "margin"):
            if name in said:
                unit = None if keys.unit is None else keys.unit.take(pa.array(at))
                found[name] = self._numbers(part, said[name], parameter, "" if name == "value" else name, unit)
        any_field = next(said[n] for n in ("margin", "value", "limit", "verdict") if n in said)
        q = qualifiers(any_field, frame.table, keys, parameter).taken(pa.array(at))
        verdict, marginal, said_words = self._verdict(part, said.get("verdict"))
        if is_curve(parameter):
            frequency = None if keys.frequency is None else keys.frequency[at]
            self._points(part, parameter, q, found, frequency, verdict, marginal, said_words, said.get("marginal"))
            return
        origin = keys.words.get("origin")
        for name, numbers_found in found.items():
            said_origin: Any = "" if name == "value" else name
            if name == "value" and origin is not None:
                said_origin = pc.fill_null(origin.take(pa.array(at)), origin_for(parameter))
            self._put_readings(part.record, parameter, q, numbers_found, said_origin or origin_for(parameter), keys, at)
        if verdict is not None:
            there = np.flatnonzero(np.asarray(said_words.is_valid()))
            taken = q.taken(pa.array(there))
            self._pieces.add(
                "reported",
                part.record[there],
                parameter=parameter,
                kind="overall",
                end=taken.end,
                pairing=taken.pairing if taken.pairing is not None else taken.subject,
                direction=taken.direction,
                wavelength_nm=taken.wavelength,
                verdict=verdict.take(pa.array(there)),
                marginal=marginal.take(pa.array(there)),
                words=said_words.take(pa.array(there)),
            )

    def _points(
        self,
        part: RowFrame,
        parameter: str,
        q: Qualifiers,
        found: dict[str, numbers.Numbers],
        frequency: Any,
        verdict: Any,
        marginal: Any,
        said_words: Any,
        mark: SourceField | None,
    ) -> None:
        default = "worst_margin" if {"margin", "limit"} & set(found) else "worst_value"
        if not found and frequency is None:
            default = "overall"
        kind = pc.fill_null(q.kind, default) if isinstance(q.kind, pa.Array) else q.kind or default
        there = np.zeros(part.rows, dtype=bool)
        for n in found.values():
            there |= ~np.isnan(n.values)
        if said_words is not None:
            there |= np.asarray(said_words.is_valid())
        if mark is not None:
            marginal = yes(part.columns[mark.source])
        at = np.flatnonzero(there)
        rows = pa.array(at)
        taken = q.taken(rows)
        first = found.get("value") or found.get("margin") or found.get("limit")
        self._pieces.add(
            "reported",
            part.record[at],
            parameter=parameter,
            kind=kind.take(rows) if isinstance(kind, pa.Array) else kind,
            end=taken.end,
            pairing=taken.pairing if taken.pairing is not None else taken.subject,
            direction=taken.direction,
            wavelength_nm=taken.wavelength,
            frequency_mhz=None if frequency is None else frequency[at],
            value=found["value"].values[at] if "value" in found else None,
            limit=found["limit"].values[at] if "limit" in found else None,
            margin=found["margin"].values[at] if "margin" in found else None,
            verdict=None if verdict is None else verdict.take(rows),
            marginal=None if marginal is None else marginal.take(rows),
            words=None if said_words is None else said_words.take(rows),
            step=None if first is None else first.step[at],
        )

    def _numbers(
        self, frame: RowFrame, f: SourceField, parameter: str, origin: str, row_units: Any = None
    ) -> numbers.Numbers:
        cells = frame.columns[f.source]
        own = vocabulary.parameter(parameter).unit
        turn = turned(f, self._mapping, parameter, origin)
        named = units.find(f.unit) if f.unit else None
        unit = named if named and named.dimension == units.dimension(own) else units.for_parameter("", parameter)
        found = numbers.read(cells, self._writing, unit, turn)
        if row_units is not None:
            found = self._by_row_unit(cells, row_units, found, parameter, turn)
        bad = found.bad
        self._problems.cells(frame, f.source, bad, f"a number ({own})", "correct the cell and read the file again")
        return found

    def _by_row_unit(
        self, cells: Any, row_units: Any, found: numbers.Numbers, parameter: str, turn: bool
    ) -> numbers.Numbers:
        values, step, bad = found.values.copy(), found.step.copy(), found.bad.copy()
        texts = [None] * len(cells) if found.found is None else found.found.to_pylist()
        for name in pc.unique(row_units).drop_null().to_pylist():
            unit = units.units()[name]
            if unit.dimension != units.dimension(vocabulary.parameter(parameter).unit):
                continue
            at = np.flatnonzero(np.asarray(pc.fill_null(pc.equal(row_units, name), False)))
            part = numbers.read(cells.take(pa.array(at)), self._writing, unit, turn)
            values[at], step[at], bad[at] = part.values, part.step, part.bad
            for i, text in zip(
                at.tolist(), [None] * len(at) if part.found is None else part.found.to_pylist(), strict=True
            ):
                texts[i] = text
        return numbers.Numbers(values, found.bound, step, bad, pa.array(texts, type=pa.string()))

    def _reading(self, frame: RowFrame, keys: Keys, f: SourceField, once: bool) -> None:
        parameter = f.to.name
        found = self._numbers(frame, f, parameter, f.to.origin)
        q = qualifiers(f, frame.table, Keys(lost=keys.lost) if f.once else keys, parameter)
        at = np.arange(frame.rows)
        if once or f.once:
            at = _first(frame.record, ~np.isnan(found.values))
            if not f.once and _varies(found.values, frame.record, at):
                # It is that of the pair, and not of the link, though it stands beside each curve or point.
                at = _first(_parts_of(frame.record, q), ~np.isnan(found.values))
        frequency = float(f.to.frequency) if f.to.frequency else None
        self._put_readings(
            frame.record, parameter, q, found, origin_for(parameter, f.to.origin), keys, None, at, frequency
        )

    def _put_readings(
        self,
        record: Any,
        parameter: str,
        q: Qualifiers,
        found: numbers.Numbers,
        origin: Any,
        keys: Keys,
        rows_of_frame: Any,
        among: Any = None,
        frequency: float | None = None,
    ) -> None:
        there = ~np.isnan(found.values)
        if among is not None:
            mask = np.zeros(len(there), dtype=bool)
            mask[among] = True
            there &= mask
        if rows_of_frame is None:
            there &= ~keys.lost
        at = np.flatnonzero(there)
        rows = pa.array(at)
        taken = q.taken(rows)
        f_mhz: Any = frequency
        if f_mhz is None and keys.frequency is not None and rows_of_frame is not None:
            f_mhz = keys.frequency[rows_of_frame][at]
        self._pieces.add(
            "readings",
            record[at],
            quantity=parameter,
            subject=_subject(taken),
            end=taken.end,
            direction=taken.direction,
            wavelength_nm=taken.wavelength,
            frequency_mhz=f_mhz,
            origin=origin.take(rows) if isinstance(origin, pa.Array) else origin,
            value=found.values[at],
            censored=bounds(found.bound[at]),
            step=found.step[at],
            found=None if found.found is None else found.found.take(rows),
        )

    def _reported(self, frame: RowFrame, keys: Keys, listed: list[SourceField], once: bool) -> None:
        """One row of `reported` for each row of the frame that has any of the fields."""
        parameter, kind = listed[0].to.name, listed[0].to.kind
        by_column = {f.to.column: f for f in listed}
        found = {
            n: self._numbers(frame, by_column[n], parameter, "" if n == "value" else n)
            for n in ("value", "limit", "margin")
            if n in by_column
        }
        q = qualifiers(listed[0], frame.table, keys, parameter)
        columns: dict[str, Any] = {n: v.values for n, v in found.items()}
        there = np.zeros(frame.rows, dtype=bool)
        for n in found.values():
            there |= ~np.isnan(n.values)
        if "frequency" in by_column:
            f = by_column["frequency"]
            mhz = numbers.read(
                frame.columns[f.source], self._writing, units.for_unit(f.unit, "MHz", f.source), step=False
            )
            self._problems.cells(frame, f.source, mhz.bad, "a frequency", "correct the cell and read the file again")
            columns["frequency_mhz"] = mhz.values
            there |= ~np.isnan(mhz.values)
        verdict, marginal, said_words = self._verdict(frame, by_column.get("verdict"))
        if said_words is not None:
            there |= np.asarray(said_words.is_valid())
        if "marginal" in by_column:
            marginal = yes(frame.columns[by_column["marginal"].source])
        words = {n: self._said(frame, by_column.get(n), n, parameter) for n in ("pairing", "end")}
        default = "worst_margin" if {"margin", "limit"} & set(found) else "worst_value" if found else "overall"
        there &= ~keys.lost
        at = _first(frame.record, there) if once else np.flatnonzero(there)
        rows = pa.array(at)
        taken = q.taken(rows)
        first = found.get("value") or found.get("margin") or found.get("limit")
        pairing = taken.pairing if taken.pairing is not None else taken.subject
        self._pieces.add(
            "reported",
            frame.record[at],
            parameter=parameter,
            kind=kind or (pc.fill_null(taken.kind, default) if isinstance(taken.kind, pa.Array) else default),
            end=words["end"].take(rows) if words["end"] is not None else taken.end,
            pairing=words["pairing"].take(rows) if words["pairing"] is not None else pairing,
            direction=taken.direction,
            wavelength_nm=taken.wavelength,
            verdict=None if verdict is None else verdict.take(rows),
            marginal=None if marginal is None else marginal.take(rows),
            words=None if said_words is None else said_words.take(rows),
            step=None if first is None else first.step[at],
            **{n: v[at] for n, v in columns.items()},
        )

    def _said(self, frame: RowFrame, f: SourceField | None, name: str, parameter: str) -> Any:
        if f is None:
            return None
        from archive.formats.mapping.build.keys import end_of, pairing_of

        ordered = vocabulary.parameter(parameter).per == "ordered"
        own = {**self._mapping.pair_names, **f.words}
        if name == "end":
            return mapped(frame.columns[f.source], lambda w: f.words.get(w.strip()) or end_of(w, self._mapping))
        return mapped(frame.columns[f.source], lambda w: pairing_of(w, self._mapping, ordered, own))

    def _verdict(self, frame: RowFrame, f: SourceField | None) -> tuple[Any, Any, Any]:
        """Verdict (Arrow text), mark (Arrow bool, null where not marked) and words (Arrow text)."""
        if f is None:
            return None, None, None
        own = {**self._mapping.verdicts, **f.words}
        cells = frame.columns[f.source]
        verdict = mapped(cells, lambda w: verdicts.read(w, own)[0])
        mark = mapped(cells, lambda w: "true" if verdicts.read(w, own)[1] else None)
        said = mapped(cells, lambda w: w if w.strip() else None)
        return verdict, mark.cast(pa.bool_()), said


def bounds(bound: Any) -> Any:
    """> and < of bounds as Arrow text, null where there is none."""
    if not bound.any():
        return None
    return pa.array([None, ">", "<"]).take(pa.array(np.where(bound == 0, 0, np.where(bound > 0, 1, 2))))


def _subject(q: Qualifiers) -> Any:
    if q.pairing is None:
        return q.subject.removeprefix("fiber ").removeprefix("conductor ") if isinstance(q.subject, str) else q.subject
    if isinstance(q.pairing, pa.Array) and isinstance(q.subject, pa.Array):
        return pc.coalesce(q.pairing, q.subject)
    return q.pairing


def _first(key: Any, there: Any) -> Any:
    """The first row of each record, or part of one, that has a value. key: which it is, of each row."""
    at = np.flatnonzero(there)
    return np.sort(at[np.unique(key[at], return_index=True)[1]])


def _varies(values: Any, record: Any, first: Any) -> bool:
    """Whether a record has several values. first: the first row of each record that has one."""
    usual = np.full(int(record.max(initial=0)) + 1, np.nan)
    usual[record[first]] = values[first]
    other = usual[record]
    return bool((~np.isnan(values) & (values != other)).any())


def _parts_of(record: Any, q: Qualifiers) -> Any:
    """A number for each row that tells records, and within them pairs, ends and directions."""
    key = record.astype(np.int64)
    for words_ in (q.pairing, q.subject, q.end, q.direction):
        if isinstance(words_, pa.Array):
            more = codes(words_)
            key = key * (int(more.max(initial=0)) + 2) + more + 1
    return key


def yes(cells: Any) -> Any:
    """Cells that say yes or no as Arrow bool."""
    from archive.formats.base import words

    def said(w: str) -> str | None:
        folded = words.phrase(w) or w.strip().casefold()
        if folded in words.plain("yes") or words.meaning(w, "verdict") == "marginal":
            return "true"
        return "false" if folded in words.plain("no") else None

    return mapped(cells, said).cast(pa.bool_())
