"""From truth and traits to a document: the kinds of documents that the trade keeps results in.

A list with a row per link; a list with a row per reading, or per point; a table of frequencies with a column per pair;
curves with frequencies as headings, or as a list in one cell; sheets of labels and small tables for each test.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.formats.layouts.document import Column, Facts, Labels, Sheet, Table
from tests.formats.layouts.pen import Cell, Number, Pen, expected, unit_of
from tests.formats.layouts.traits import Traits
from tests.formats.layouts.truth import PAIRS, PARAMETERS, CurveKey, Job, Test, margin


@dataclass
class Writer:
    """All that a shape needs: how the document writes, what is true, and what a reader can find."""

    pen: Pen
    job: Job
    facts: Facts

    @property
    def traits(self) -> Traits:
        """The traits of the document."""
        return self.pen.traits

    # ---- what every shape has

    def identities(self, i: int, *, label: bool = True) -> Iterator[tuple[Column, Cell]]:
        """Columns and cells that say which link and test this is; noted as facts."""
        t, pen, test = self.traits, self.pen, self.job.tests[i]
        if label:
            self.facts.add(i, ("field", "label"), test.label)
            yield Column((pen.term("link"),), role=("label",)), test.label
        for name in t.identities:
            yield from self._identity(i, name, test)
        if t.verdicts:
            self.facts.add(i, ("field", "verdict"), test.passed)
            yield Column((pen.term("verdict"),), role=("verdict",)), pen.verdict(test.passed)
        if pen.wiring():
            yield Column((pen.word("wiring"),)), pen.wiring()

    def _identity(self, i: int, name: str, test: Test) -> Iterator[tuple[Column, Cell]]:
        t, pen = self.traits, self.pen
        if name == "date":
            day, clock = pen.day(test.when), pen.clock(test.when)
            iso = test.when.strftime("%Y-%m-%d" if t.time == "none" else "%Y-%m-%dT%H:%M")
            self.facts.add(i, ("field", "tested"), iso)
            yield Column((pen.term("date"),), role=("date", t.time)), f"{day} {clock}" if t.time == "joined" else day
            if t.time == "apart":
                yield Column((pen.term("time"),), role=("time",)), clock
        elif name == "velocity":
            self.facts.add(i, ("field", "velocity"), test.velocity)
            yield Column((pen.term("velocity"),), "%", ("velocity",)), pen.number(test.velocity, 0, "%")
        elif name.startswith("serial"):
            self.facts.add(i, ("field", name), test.facts[name])
            yield Column((pen.term("serial"), pen.end(name.split()[1])), role=(name,)), test.facts[name]
        else:
            self.facts.add(i, ("field", name), test.facts[name])
            yield Column((pen.term(name),), role=(name,)), test.facts[name]

    def scalars(self, i: int) -> Iterator[tuple[Column, Cell]]:
        """Columns and cells of the scalars of a link."""
        test = self.job.tests[i]
        for name in self.traits.scalars:
            quantity, _, of = name.partition(" ")
            choose = max if quantity == "skew" else min
            link = choose(test.scalars[quantity, p] for p in PAIRS)
            values = {"": link} if of else {p: test.scalars[quantity, p] for p in self.pen.sorted_pairs()}
            for pair, value in values.items():
                cell = self.pen.scalar(quantity, value)
                self.facts.add(i, ("scalar", quantity, pair), expected(cell))
                said = self.pen.pair(pair) if pair else ""
                unit = unit_of(quantity, self.traits)
                yield Column((self.pen.term(quantity), said), unit, ("scalar", quantity, pair)), cell

    def curves(self, i: int) -> list[CurveKey]:
        """Which curves a test has, in the order of the document."""
        found = []
        for parameter in self.traits.parameters:
            of, ends = PARAMETERS[parameter]
            listed = self.pen.sorted_pairs() if of == PAIRS else list(of)
            found += [(parameter, end, what) for end, what in itertools.product(ends, listed)]
        assert set(found) <= set(self.job.tests[i].curves)
        return found

    def point(self, i: int, key: CurveKey, at: int) -> dict[str, Number]:
        """Frequency, value, limit and margin of one point, as far as the document prints them."""
        limit, value = self.job.limits[key[0]], self.job.tests[i].curves[key]
        cells = {
            "frequency": self.pen.frequency(float(self.job.frequencies[at])),
            "value": self.pen.decibels(float(value[at])),
        }
        if self.traits.limits:
            cells["limit"] = self.pen.decibels(float(limit[at]))
        if self.traits.margins:
            cells["margin"] = self.pen.margin(float(margin(key[0], value, limit)[at]))
        return cells

    def worst(self, i: int, key: CurveKey) -> tuple[dict[str, Number], bool]:
        """The point with the smallest margin, and whether it passes; noted as facts."""
        margins = margin(key[0], self.job.tests[i].curves[key], self.job.limits[key[0]])
        at = int(np.argmin(margins))
        cells = self.point(i, key, at)
        for name, cell in cells.items():
            self.facts.add(i, ("worst", *key, name), cell.value)
        passed = bool(margins[at] >= 0)
        return cells, passed

    def unit(self, name: str) -> str:
        """The unit of a column of a point."""
        return self.traits.frequency_unit if name == "frequency" else "dB"

    def joined_worst(self, cells: dict[str, Number]) -> str:
        """Value, frequency and margin in one cell: a habit outside the mapping language."""
        text = f"{cells['value'].text} dB @ {cells['frequency'].text} {cells['frequency'].unit}"
        return f"{text} ({cells['margin'].text})" if "margin" in cells else text

    def which(self, key: CurveKey) -> list[tuple[Column, Cell]]:
        """Columns and cells that say which curve a row is of."""
        pen = self.pen
        rows: list[tuple[Column, Cell]] = [
            (Column((pen.term("parameter"),), role=("parameter",)), pen.term(key[0], 0.5))
        ]
        rows.append((Column((pen.term("pair"),), role=("pairing",)), pen.pairing(key[2])))
        if any(PARAMETERS[p][1] != ("",) for p in self.traits.parameters):
            rows.append((Column((pen.term("end"),), role=("end",)), pen.end(key[1]) or None))
        return rows

    def order(self) -> list[tuple[int, CurveKey]]:
        """Tests and curves in the order of the rows."""
        found = [(i, key) for i in range(len(self.job.tests)) for key in self.curves(i)]
        rank = {p: n for n, p in enumerate(self.traits.parameters)}
        return sorted(found, key=lambda x: rank[x[1][0]]) if self.traits.by_parameter else found

    # ---- the shapes

    def summary(self) -> Table:
        """A row per link: identities, scalars, and the worst case of each pair or parameter."""
        rows = []
        for i in range(len(self.job.tests)):
            row = [*self.identities(i), *self.scalars(i)]
            for key in self.curves(i):
                row += self._worst_columns(i, key)
            rows.append(row)
        return _table(rows)

    def _worst_columns(self, i: int, key: CurveKey) -> Iterator[tuple[Column, Cell]]:
        pen = self.pen
        if len(PARAMETERS[key[0]][0]) > 6:
            return
        cells, _ = self.worst(i, key)
        name = (pen.term(key[0]), pen.end(key[1]), pen.pairing(key[2]))
        if self.traits.outside == "joined":
            yield Column(name), self.joined_worst(cells)
            return
        for kind, cell in cells.items():
            yield Column((*name, pen.term(kind)), self.unit(kind), ("worst", *key, kind)), cell

    def readings(self, *, identities: bool) -> Table:
        """A row per link, parameter, pair and end: the worst case, or a scalar where units have a column."""
        rows, pen = [], self.pen
        for i, key in self.order():
            row = [*self._who(i, identities), *self.which(key)]
            cells, passed = self.worst(i, key)
            if self.traits.outside == "joined":
                row.append((Column((pen.term("value"),)), self.joined_worst(cells)))
            else:
                row += [(Column((pen.term(kind),), self.unit(kind), (kind,)), cell) for kind, cell in cells.items()]
            if self.traits.unit_place == "column":
                row.append((Column(("Unit",)), "dB"))
            if self.traits.verdicts:
                self.facts.add(i, ("worst", *key, "verdict"), passed)
                parts = (pen.term("verdict"), "1") if identities else (pen.term("verdict"),)
                row.append((Column(parts, role=("verdict of row",)), pen.verdict(passed)))
            rows.append(row)
        return _table(rows)

    def _who(self, i: int, identities: bool) -> list[tuple[Column, Cell]]:
        """Every identity in each row, or the label alone where a sheet of its own has the others."""
        if identities:
            return [*self.identities(i), *self.scalars(i)]
        self.facts.add(i, ("field", "label"), self.job.tests[i].label)
        return [(Column((self.pen.term("link"),), role=("label",)), self.job.tests[i].label)]

    def points(self, *, identities: bool) -> Table:
        """A row per frequency of each curve."""
        rows = []
        for i, key in self.order():
            who, which = self._who(i, identities), self.which(key)
            for at in range(len(self.job.frequencies)):
                cells = self.point(i, key, at)
                self.note(i, key, cells)
                row = [(Column((self.pen.term(k),), self.unit(k), (k,)), c) for k, c in cells.items()]
                rows.append([*who, *which, *row])
        return _table(rows)

    def note(self, i: int, key: CurveKey, cells: dict[str, Number]) -> None:
        """Notes a point of a curve, of its limit and of its margin."""
        for kind, origin in (("value", "measured"), ("limit", "limit"), ("margin", "margin")):
            if kind in cells:
                self.facts.point(i, ("curve", *key, origin), cells["frequency"].value, cells[kind].value)

    def wide(self, *, identities: bool) -> Table:
        """A row per link, parameter, end and frequency, with a column per pair or combination.

        One table holds the parameters that are taken of the same pairs as the first.
        """
        of = PARAMETERS[self.traits.parameters[0]][0]
        chosen = [p for p in self.traits.parameters if PARAMETERS[p][0] == of]
        rows, pen = [], self.pen
        for i in range(len(self.job.tests)):
            who = self._who(i, identities)
            for parameter, end in [(p, e) for p in chosen for e in PARAMETERS[p][1]]:
                which = self.which((parameter, end, of[0]))
                del which[1]
                keys = [k for k in self.curves(i) if k[:2] == (parameter, end)]
                for at in range(len(self.job.frequencies)):
                    cells = {key: self.point(i, key, at) for key in keys}
                    for key in keys:
                        self.facts.point(
                            i, ("curve", *key, "measured"), cells[key]["frequency"].value, cells[key]["value"].value
                        )
                    first: list[tuple[Column, Cell]] = [
                        (
                            Column((pen.term("frequency"),), self.unit("frequency"), ("frequency",)),
                            cells[keys[0]]["frequency"],
                        )
                    ]
                    rows.append(
                        [*who, *which, *first]
                        + [(Column((pen.pairing(k[2]),), "dB", ("of pair", k[2])), cells[k]["value"]) for k in keys]
                    )
        return _table(rows)

    def matrix(self, *, identities: bool) -> Table:
        """A row per curve, frequencies as headings."""
        rows = []
        for i, key in self.order():
            row = [*self._who(i, identities), *self.which(key)]
            for at in range(len(self.job.frequencies)):
                cells = self.point(i, key, at)
                self.facts.point(i, ("curve", *key, "measured"), cells["frequency"].value, cells["value"].value)
                row.append((Column((cells["frequency"].text,), self.unit("frequency"), ("heading",)), cells["value"]))
            rows.append(row)
        return _table(rows)

    def cells(self, *, identities: bool) -> Table:
        """A row per curve, the curve as a list in one cell."""
        rows, pen = [], self.pen
        for i, key in self.order():
            row = [*self._who(i, identities), *self.which(key)]
            row += [(Column((pen.term(n),), u, (f"listed {n}",)), c) for n, u, c in self.listed(i, key)]
            rows.append(row)
        return _table(rows)

    def listed(self, i: int, key: CurveKey) -> Iterator[tuple[str, str, str]]:
        """A curve as one, two or three texts: term, unit, text; noted as facts."""
        every = [self.point(i, key, at) for at in range(len(self.job.frequencies))]
        f, v = [p["frequency"] for p in every], [p["value"] for p in every]
        even = np.allclose(np.diff(self.job.frequencies), self.job.frequencies[1] - self.job.frequencies[0])
        self.facts.curve(i, ("curve", *key, "measured"), [n.value for n in f], [n.value for n in v])
        gap = separator_of(self.traits)
        unit = self.unit("frequency")
        if self.traits.listing == "points":
            yield (
                "curve",
                "",
                gap.join(f"{a.text}{':' if gap == ' ' else ' '}{b.text}" for a, b in zip(f, v, strict=True)),
            )
            return
        if self.traits.listing == "start" and even:
            step = self.pen.frequency(float(self.job.frequencies[1] - self.job.frequencies[0]))
            yield "start", unit, f[0].text
            yield "step", unit, step.text
        else:
            yield "frequency", unit, gap.join(n.text for n in f)
        yield "curve", "dB", gap.join(n.text for n in v)

    def blocks(self) -> Iterator[list[Table | Labels | str]]:
        """For each test its labels, a table of scalars per pair, and a table per parameter and end."""
        t, pen = self.traits, self.pen
        for i in range(len(self.job.tests)):
            single = [s for s in self.scalars(i) if not s[0].parts[-1]]
            labels = [(c.parts, c.unit, cell) for c, cell in [*self.identities(i), *single]]
            parts: list[Table | Labels | str] = [
                Labels([(t.joiner.join(p for p in names if p), unit, cell) for names, unit, cell in labels])
            ]
            if names := [s for s in t.scalars if " " not in s]:
                rows = []
                for pair in pen.sorted_pairs():
                    row: list[tuple[Column, Cell]] = [(Column((pen.term("pair"),)), pen.pair(pair))]
                    for quantity in names:
                        cell = pen.scalar(quantity, self.job.tests[i].scalars[quantity, pair])
                        row.append((Column((pen.term(quantity),), unit_of(quantity, t)), cell))
                    rows.append(row)
                parts.append(_table(rows))
            for parameter in t.parameters:
                for end in PARAMETERS[parameter][1]:
                    parts.append(self._block(i, parameter, end))
            yield parts

    def _block(self, i: int, parameter: str, end: str) -> Table:
        """A small table of one parameter at one end: worst cases per pair where margins are shown, else the curves."""
        pen, keys = self.pen, [k for k in self.curves(i) if k[:2] == (parameter, end)]
        title = self.traits.joiner.join(p for p in (pen.term(parameter), pen.end(end)) if p)
        rows = []
        if self.traits.margins:
            for key in keys:
                cells, passed = self.worst(i, key)
                row: list[tuple[Column, Cell]] = [(Column((pen.term("pair"),)), pen.pairing(key[2]))]
                row += [(Column((pen.term(k),), self.unit(k)), c) for k, c in cells.items()]
                if self.traits.verdicts:
                    self.facts.add(i, ("worst", *key, "verdict"), passed)
                    row.append((Column((pen.term("verdict"),)), pen.verdict(passed)))
                rows.append(row)
            return _table(rows, title)
        for at in range(len(self.job.frequencies)):
            cells_of = [self.point(i, key, at) for key in keys]
            for key, cells in zip(keys, cells_of, strict=True):
                self.note(i, key, {k: c for k, c in cells.items() if k in ("frequency", "value")})
            row = [(Column((pen.term("frequency"),), self.unit("frequency")), cells_of[0]["frequency"])]
            row += [(Column((pen.pairing(k[2]),), "dB"), c["value"]) for k, c in zip(keys, cells_of, strict=True)]
            rows.append(row)
        return _table(rows, title)

    def sheets(self) -> list[Sheet]:
        """The document in sheets: one, or two where identities stand apart; for blocks one per test."""
        t = self.traits
        if t.shape == "summary":
            return [Sheet(self.pen.word("verdict"), [self.summary()])]
        if t.shape == "blocks":
            return [Sheet(self.job.tests[i].label, parts) for i, parts in enumerate(self.blocks())]
        if not t.joined:
            return [Sheet(self.pen.word("verdict"), [getattr(self, t.shape)(identities=True)])]
        apart = _table([[*self.identities(i), *self.scalars(i)] for i in range(len(self.job.tests))])
        body = getattr(self, t.shape)(identities=False)
        return [Sheet(self.pen.word("link"), [apart]), Sheet(self.pen.word("curve"), [body])]


def separator_of(traits: Traits) -> str:
    """What stands between the numbers of a list in one cell."""
    return " " if traits.decimal == "," or traits.delimiter == ";" else ";"


def _table(rows: list[list[tuple[Column, Cell]]], title: str = "") -> Table:
    """Rows of columns and cells as a table; every row has the same columns."""
    columns = [column for column, _ in rows[0]]
    assert all(len(row) == len(columns) for row in rows)
    return Table(columns, [[cell for _, cell in row] for row in rows], title)
