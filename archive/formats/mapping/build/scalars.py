"""Readings and what the instrument reported: values of single cells."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.base import numbers, units, words
from archive.formats.mapping import verdicts
from archive.formats.mapping.build.cell_arrays import Signs
from archive.formats.mapping.build.keys import Keys, end_of, keys_of, pairing_of, spread
from archive.formats.mapping.build.qualify import Qualifiers, WrittenAs, origin_for, qualifiers, written_as
from archive.formats.mapping.build.table_parts import TableParts
from archive.formats.mapping.model import Mapping, SourceField
from archive.formats.mapping.row_frame import Problems, RowFrame, codes, encoded, mapped, one_code
from archive.tables.arrow import Bools, Ints, Reals
from archive.vocabulary import phrases

_NUMBERS = ("value", "limit", "margin")
_UNCERTAINTY = "uncertainty"
_STATED = (*_NUMBERS, _UNCERTAINTY, "frequency", "verdict", "marginal")


def is_curve(parameter: str) -> bool:
    """True for parameters that are curves over frequency, of which a single value is a worst case."""
    p = vocabulary.parameter(parameter)
    return p.unit == "dB" and not parameter.startswith("optical") and parameter != "backscatter"


@dataclass(frozen=True)
class _Stated:
    """What the rows of a frame state of one parameter, each with as many cells as the frame has rows.

    numbers: by value, limit, margin, uncertainty. verdict, words: Arrow text; marginal: Arrow bool; None where no field
    gives them.
    """

    numbers: dict[str, numbers.Numbers]
    verdict: pa.Array | None
    marginal: pa.Array | None
    words: pa.Array | None
    sources: dict[str, str] = field(default_factory=dict)
    """The columns that they stand in, by what they state."""

    def there(self, n: int) -> Bools:
        """Rows, of n, that state a number or a verdict."""
        out = np.zeros(n, dtype=bool)
        for found in self.numbers.values():
            out |= ~np.isnan(found.values)
        return out if self.words is None else out | np.asarray(self.words.is_valid())

    def exact(self) -> _Stated:
        """Without numbers that are bounds: what an instrument reports is compared as it stands, and has no bounds."""
        if not any(found.bound.any() for found in self.numbers.values()):
            return self
        without = {
            n: replace(found, values=np.where(found.bound == 0, found.values, np.nan))
            for n, found in self.numbers.items()
        }
        return replace(self, numbers=without)

    def bounds_of(self, name: str) -> Bools | None:
        """Which cells of what is stated under a name are bounds."""
        found = self.numbers.get(name)
        return None if found is None or not found.bound.any() else found.bound != 0

    @property
    def kind(self) -> str:
        """The kind of point that is meant where nothing names it."""
        if {"margin", "limit"} & set(self.numbers):
            return "worst_margin"
        return "worst_value" if "value" in self.numbers else "overall"


class ScalarBuilder:
    """Adds the single values of frames to the parts of `readings` and `reported`."""

    def __init__(self, mapping: Mapping, writing: numbers.Writing, parts: TableParts, problems: Problems) -> None:
        self._mapping, self._writing, self._parts, self._problems = mapping, writing, parts, problems

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
            t = f.to
            if t.table == "row" and t.name in _STATED and f.source in frame.columns:
                groups.setdefault((t.kind, t.end, t.pairing, t.direction, t.wavelength), {})[t.name] = f
        plain = groups.pop(("",) * 5, {})
        if groups:
            # What names no group, such as a verdict of the row, goes with the first.
            first = next(iter(groups))
            groups[first] = {**plain, **groups[first]}
        else:
            groups[("",) * 5] = plain
        for (kind, *_), fields in groups.items():
            if {*_NUMBERS, _UNCERTAINTY, "verdict"} & set(fields):
                own = keys_of(frame, self._mapping, self._writing, self._problems, kind) if kind else keys
                self._group(frame, own, fields)

    def _group(self, frame: RowFrame, keys: Keys, fields: dict[str, SourceField]) -> None:
        given = frame.table.given.parameter or ""
        coded = encoded(keys.words.get("parameter", spread(given, frame.rows)))
        for number, parameter in enumerate(coded.dictionary.to_pylist()):
            if parameter is None:
                continue
            at = np.flatnonzero(np.asarray(pc.fill_null(pc.equal(coded.indices, number), False)) & ~keys.lost)
            if len(at):
                self._of_parameter(frame, keys, fields, parameter, at)

    def _of_parameter(
        self, frame: RowFrame, keys: Keys, fields: dict[str, SourceField], parameter: str, at: Ints
    ) -> None:
        """Rows of one parameter. at: int64, which rows of the frame they are."""
        part, rows = frame.only(at), pa.array(at)
        stated = self._stated(part, fields, parameter, None if keys.unit is None else keys.unit.take(rows))
        any_field = next(fields[n] for n in ("margin", "value", "limit", _UNCERTAINTY, "verdict") if n in fields)
        q = qualifiers(any_field, frame.table, keys, parameter).taken(rows)
        frequency = None if keys.frequency is None else keys.frequency[at]
        if is_curve(parameter):
            stated = stated.exact()
            kind = "worst_value" if stated.kind == "overall" and frequency is not None else stated.kind
            self._report(part, parameter, q, stated, stated.there(part.rows), kind, frequency)
            return
        by_row = keys.words.get("origin")
        beside = {n: found for n, found in stated.numbers.items() if n == _UNCERTAINTY}
        for name, found in stated.numbers.items():
            if name in beside:
                continue
            origin = name if name != "value" else origin_for(parameter)
            if name == "value" and by_row is not None:
                origin = pc.fill_null(by_row.take(rows), origin)
            part.feed(fields[name].source)
            self._add_readings(part.record, parameter, q, found, origin, ~np.isnan(found.values), frequency)
        if stated.words is not None or beside:
            with_numbers = {n: f.source for n, f in fields.items() if n in beside or n in ("verdict", "marginal")}
            overall = _Stated(beside, stated.verdict, stated.marginal, stated.words, with_numbers)
            self._report(part, parameter, q, overall, overall.there(part.rows), "overall")

    def _stated(
        self, frame: RowFrame, fields: dict[str, SourceField], parameter: str, row_units: pa.Array | None = None
    ) -> _Stated:
        """fields: by what they state. row_units: Arrow text, the unit that each row names."""
        several = (*_NUMBERS, _UNCERTAINTY)
        found = {n: self._numbers(frame, fields[n], parameter, row_units) for n in several if n in fields}
        verdict, marginal, stated_words = self._verdict(frame, fields.get("verdict"))
        if "marginal" in fields:
            marginal = yes(frame.columns[fields["marginal"].source])
        for one in found.values():
            verdict, marginal = _by_mark(one, verdict, marginal)
        sources = {n: f.source for n, f in fields.items() if n in (*several, "verdict", "marginal")}
        return _Stated(found, verdict, marginal, stated_words, sources)

    def _report(
        self,
        frame: RowFrame,
        parameter: str,
        q: Qualifiers,
        stated: _Stated,
        there: Bools,
        kind: str = "",
        frequency: Reals | None = None,
    ) -> None:
        """Adds rows of `reported`. there: boolean, of which rows of the frame. kind: where neither field nor row names
        one. frequency: float64, MHz of each row."""
        at = np.flatnonzero(there)
        for name, source in stated.sources.items():
            bound = stated.bounds_of(name)
            frame.feed(source, at if bound is None else at[~bound[at]])
        rows = pa.array(at)
        taken = q.taken(rows)
        first = next((stated.numbers[n] for n in ("value", "margin", "limit") if n in stated.numbers), None)
        self._parts.add(
            "reported",
            frame.record[at],
            parameter=parameter,
            kind=pc.fill_null(taken.kind, kind) if isinstance(taken.kind, pa.Array) else taken.kind or kind,
            **taken.columns(),
            frequency_mhz=None if frequency is None else frequency[at],
            **{name: found.values[at] for name, found in stated.numbers.items()},
            verdict=None if stated.verdict is None else stated.verdict.take(rows),
            marginal=None if stated.marginal is None else stated.marginal.take(rows),
            words=None if stated.words is None else stated.words.take(rows),
            step=None if first is None else first.step[at],
        )

    def _numbers(
        self, frame: RowFrame, f: SourceField, parameter: str, row_units: pa.Array | None = None
    ) -> numbers.Numbers:
        cells, what = frame.columns[f.source], written_as(f, self._mapping, parameter)
        found = numbers.read(cells, self._writing, what.unit, what.turned)
        if row_units is not None:
            found = self._by_row_unit(cells, row_units, found, what)
        frame.note(f.source, found.changes)
        own = vocabulary.parameter(parameter).unit
        self._problems.cells(frame, f.source, found.bad, f"a number ({own})")
        return found

    def _by_row_unit(
        self, cells: pa.Array, row_units: pa.Array, found: numbers.Numbers, what: WrittenAs
    ) -> numbers.Numbers:
        values, step, bad = found.values.copy(), found.step.copy(), found.bad.copy()
        changes: set[numbers.Change] = set()
        others = np.ones(len(cells), dtype=bool)
        texts = [None] * len(cells) if found.found is None else found.found.to_pylist()
        for name in pc.unique(row_units).drop_null().to_pylist():
            unit = units.units()[name]
            if unit.dimension != units.dimension(vocabulary.parameter(what.parameter).unit):
                continue
            at = np.flatnonzero(np.asarray(pc.fill_null(pc.equal(row_units, name), False)))
            part = numbers.read(cells.take(pa.array(at)), self._writing, unit, what.turned)
            changes |= part.changes
            others[at] = False
            values[at], step[at], bad[at] = part.values, part.step, part.bad
            for n, i in enumerate(at.tolist()):
                texts[i] = None if part.found is None else part.found[n].as_py()
        if others.any():
            rest = cells.take(pa.array(np.flatnonzero(others)))
            changes |= numbers.read(rest, self._writing, what.unit, what.turned).changes
        texts = pa.array(texts, type=pa.string())
        return numbers.Numbers(values, found.bound, step, bad, texts, frozenset(changes), found.marked)

    def _reading(self, frame: RowFrame, keys: Keys, f: SourceField, once: bool) -> None:
        parameter = f.to.name
        found = self._numbers(frame, f, parameter)
        q = qualifiers(f, frame.table, Keys(lost=keys.lost) if f.once else keys, parameter)
        stated = there = ~np.isnan(found.values)
        same = there
        if once or f.once:
            key = frame.record
            at = _first(key, there)
            if not f.once and not _as_first(found.values, key, at)[there].all():
                # It is that of the pair, and not of the link, though it stands beside each curve or point.
                key = _parts_of(frame.record, q)
                at = _first(key, there)
            same = _as_first(found.values, key, at)
            there = np.isin(np.arange(frame.rows), at)
        frame.feed(f.source, (same | ~stated) & ~keys.lost)
        frequency = float(f.to.frequency) if f.to.frequency else None
        origin = origin_for(parameter, f.to.origin)
        self._add_readings(frame.record, parameter, q, found, origin, there & ~keys.lost, frequency)

    def _add_readings(
        self,
        record: Ints,
        parameter: str,
        q: Qualifiers,
        found: numbers.Numbers,
        origin: str | pa.Array,
        there: Bools,
        frequency: float | Reals | None,
    ) -> None:
        """Adds rows of `readings`. record: int64 of each cell. there: boolean, which cells. frequency: MHz."""
        at = np.flatnonzero(there)
        rows = pa.array(at)
        taken = q.taken(rows)
        self._parts.add(
            "readings",
            record[at],
            quantity=parameter,
            subject=_subject(taken),
            end=taken.end,
            direction=taken.direction,
            wavelength_nm=taken.wavelength,
            frequency_mhz=frequency[at] if isinstance(frequency, np.ndarray) else frequency,
            origin=origin.take(rows) if isinstance(origin, pa.Array) else origin,
            value=found.values[at],
            censored=bounds(found.bound[at]),
            step=found.step[at],
            found=None if found.found is None else found.found.take(rows),
        )

    def _reported(self, frame: RowFrame, keys: Keys, listed: list[SourceField], once: bool) -> None:
        """One row of `reported` for each row of the frame that has any of the fields."""
        parameter = listed[0].to.name
        fields = {f.to.column: f for f in listed}
        stated = self._stated(frame, fields, parameter).exact()
        there, frequency = stated.there(frame.rows), None
        if "frequency" in fields:
            f = fields["frequency"]
            frequency = self._plain(frame, f, "MHz", "a frequency")
            there |= ~np.isnan(frequency)
        q = qualifiers(listed[0], frame.table, keys, parameter)
        if "wavelength" in fields:
            nm = self._plain(frame, fields["wavelength"], "nm", "a wavelength")
            q = replace(q, wavelength=pa.array(nm, from_pandas=True))
        for name in ("pairing", "end"):
            if name in fields:
                q = replace(q, **{name: self._named_by(frame, fields[name], name, parameter)})
        there &= ~keys.lost
        said = there
        if once:
            at = _first(frame.record, there)
            same = _as_first(one_code(*(codes(frame.columns[f.source]) for f in listed)), frame.record, at)
            said, there = there & same, np.isin(np.arange(frame.rows), at)
        for f in listed:
            empty, bound = self._says_nothing(frame, f) & ~keys.lost, stated.bounds_of(f.to.column)
            frame.feed(f.source, (said if bound is None else said & ~bound) | empty)
        self._report(frame, parameter, q, stated, there, stated.kind, frequency)

    def _says_nothing(self, frame: RowFrame, f: SourceField) -> Bools:
        """Cells of a column that are a word for no value, such as n/a."""
        if pa.types.is_floating(frame.columns[f.source].type):
            return np.zeros(frame.rows, dtype=bool)
        nothing = mapped(frame.columns[f.source], lambda w: "" if w.strip().casefold() in self._writing.empty else None)
        return np.asarray(nothing.is_valid())

    def _plain(self, frame: RowFrame, f: SourceField, unit: str, expected: str) -> Reals:
        """Frequencies or wavelengths of a column."""
        found = numbers.read(frame.columns[f.source], self._writing, units.for_unit(f.unit, unit, f.source), step=False)
        self._problems.cells(frame, f.source, found.bad, expected)
        frame.note(f.source, found.changes)
        values: Reals = found.values
        return values

    def _named_by(self, frame: RowFrame, f: SourceField, name: str, parameter: str) -> pa.Array:
        """The end or the pairing of each row, as a cell beside the number names it: Arrow text."""
        ordered = vocabulary.parameter(parameter).per == "ordered"
        own = {**self._mapping.pair_names, **f.words}
        if name == "end":
            return mapped(frame.columns[f.source], lambda w: f.words.get(w.strip()) or end_of(w, self._mapping))
        return mapped(frame.columns[f.source], lambda w: pairing_of(w, self._mapping, ordered, own))

    def _verdict(
        self, frame: RowFrame, f: SourceField | None
    ) -> tuple[pa.Array | None, pa.Array | None, pa.Array | None]:
        """Verdict (Arrow text), mark (Arrow bool, null where not marked) and words (Arrow text)."""
        if f is None:
            return None, None, None
        own = {**self._mapping.verdicts, **f.words}
        cells = frame.columns[f.source]
        verdict = mapped(cells, lambda w: verdicts.read(w, own)[0])
        mark = mapped(cells, lambda w: "true" if verdicts.read(w, own)[1] else None)
        return verdict, mark.cast(pa.bool_()), mapped(cells, lambda w: w if w.strip() else None)


def _by_mark(
    found: numbers.Numbers, verdict: pa.Array | None, marginal: pa.Array | None
) -> tuple[pa.Array | None, pa.Array | None]:
    """Verdict and marginal with what marks beside numbers say, where no cell says them."""
    for says, rows in (found.marked or {}).items():
        if not rows.any() or says == "note":
            continue
        stated = pa.array(rows, mask=~rows)
        if says == "marginal":
            marginal = stated if marginal is None else pc.coalesce(marginal, stated)
        else:
            said = pc.if_else(stated, pa.scalar(says), pa.scalar(None, pa.string()))
            verdict = said if verdict is None else pc.coalesce(verdict, said)
    return verdict, marginal


def bounds(bound: Signs) -> pa.Array | None:
    """> and < of bounds as Arrow text, null where there is none."""
    if not bound.any():
        return None
    return pa.array([None, ">", "<"]).take(pa.array(np.where(bound == 0, 0, np.where(bound > 0, 1, 2))))


def _subject(q: Qualifiers) -> str | pa.Array | None:
    if q.pairing is None:
        return q.subject.removeprefix("fiber ").removeprefix("conductor ") if isinstance(q.subject, str) else q.subject
    if isinstance(q.pairing, pa.Array) and isinstance(q.subject, pa.Array):
        return pc.coalesce(q.pairing, q.subject)
    return q.pairing


def _first(key: Ints, there: Bools) -> Ints:
    """The first row of each record, or part of one, that has a value. key: which it is, of each row."""
    at = np.flatnonzero(there)
    return np.sort(at[np.unique(key[at], return_index=True)[1]])


def _as_first(values: Reals | Ints, key: Ints, first: Ints) -> Bools:
    """Which rows have the value of the first of their record, or part of one. first: those rows. key: see _first."""
    of = key if int(key.max(initial=0)) <= 2 * len(key) else np.unique(key, return_inverse=True)[1]
    usual = np.full(int(of.max(initial=0)) + 1, np.nan)
    usual[of[first]] = values[first]
    same: Bools = usual[of] == values
    return same


def _parts_of(record: Ints, q: Qualifiers) -> Ints:
    """A number for each row that tells records, and within them pairs, ends and directions."""
    given = (q.pairing, q.subject, q.end, q.direction)
    return one_code(record, *(codes(x) for x in given if isinstance(x, pa.Array)))


def yes(cells: pa.Array) -> pa.Array:
    """Cells that say yes or no as Arrow bool."""

    def stated(w: str) -> str | None:
        folded = phrases.phrase(w) or w.strip().casefold()
        if folded in words.plain("yes") or words.meaning(w, "verdict") == "marginal":
            return "true"
        return "false" if folded in words.plain("no") else None

    return mapped(cells, stated).cast(pa.bool_())
