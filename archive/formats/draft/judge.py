"""What the reader's own result says of a draft: contradictions between records, readings, worst cases and curves.

Each check looks at the tables of a sample that was read by the draft, and objects to what cannot be so: a quantity of
one pair under a combination, two values of one thing, a limit less a value that is no margin, a frequency that nobody
measures, records that hold one pair each. An objection names what is doubtful, never what would be right.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive import vocabulary
from archive.formats.draft.hypotheses import hypotheses
from archive.tables import Batch

Row = dict[str, Any]


@dataclass(frozen=True)
class Objection:
    """table: records, readings, reported or sweeps. quantity: of what, "" for any. part: value, limit, margin, verdict,
    frequency, label ("" for all of it). pairings: the pairs of which it is said, where it is said of some only."""

    table: str
    quantity: str
    part: str
    why: str
    pairings: frozenset[str] = frozenset()
    end: str = ""


@dataclass
class Result:
    """What was read of a sample. rows: by table. aside: records set aside, and the first reason."""

    rows: dict[str, list[Row]]
    aside: int = 0
    reason: str = ""
    objections: list[Objection] = field(default_factory=list)

    @property
    def records(self) -> int:
        """Records that were read."""
        return len(self.rows["records"])


_TABLES = ("records", "readings", "reported", "sweeps", "axes", "instruments")


def result_of(batches: Iterable[Batch]) -> Result:
    """What some batches hold, with what speaks against it."""
    rows: dict[str, list[Row]] = {name: [] for name in _TABLES}
    out = Result(rows)
    for batch in batches:
        for name in _TABLES:
            rows[name] += batch[name].to_pylist()
        reasons = batch["set_aside"].column("reason").to_pylist()
        out.aside += len(reasons)
        out.reason = out.reason or next(iter(reasons), "")
    axes = {r["axis_id"]: r["frequencies_mhz"] for r in rows["axes"]}
    for r in rows["sweeps"]:
        r["frequencies"] = axes.get(r["axis_id"]) or []
    for check in _CHECKS:
        out.objections += check(out)
    return out


# ---- labels and records


def _labels(read: Result) -> Iterator[Objection]:
    """Records need labels, and those of one label are one test or a few."""
    labels = [r["link_label"] for r in read.rows["records"]]
    if labels and sum(x is None for x in labels) > 0.05 * len(labels):
        yield Objection("records", "", "label", "records have no label")
    elif len(labels) > 2 and len(set(labels)) < 0.7 * len(labels):
        yield Objection("records", "", "label", f"{len(labels)} records have {len(set(labels))} labels")


def _complete(read: Result) -> Iterator[Objection]:
    """Records that hold one pair each, of several in the file: what names them names rows, and no links."""
    pairs: dict[str, set[str]] = defaultdict(set)
    every: Counter[str] = Counter()
    for _, r in _measured(read):
        if r["where"]:
            pairs[r["record_id"]].add(r["where"])
            every[r["where"]] += 1
    alone = sum(len(v) == 1 for v in pairs.values())
    rows = sum(every.values())
    # One pair for each link may be the worst of all: then several quantities name theirs, or the file is a summary.
    if len(pairs) > 3 and len(every) >= 3 and alone > 0.6 * len(pairs) and rows <= 1.5 * len(pairs):
        yield Objection("records", "", "label", "records hold one pair each of those that the file names")


def _empty(read: Result) -> Iterator[Objection]:
    """Most records hold nothing measured, while others do: their labels are none."""
    full = {r["record_id"] for name in ("readings", "reported", "sweeps") for r in read.rows[name]}
    bare = [r for r in read.rows["records"] if r["record_id"] not in full]
    if full and len(bare) > 3 and len(bare) > 2 * len(full):
        yield Objection("records", "", "label", f"{len(bare)} of {read.records} records hold nothing that was measured")


def _copies(read: Result) -> Iterator[Objection]:
    """Records of different labels with one time of test and equal readings: rows of one link, and no links."""
    timed = (r["tested_found"] if ":" in (r["tested_found"] or "") else None for r in read.rows["records"])
    told: dict[str, list[Any]] = {
        r["record_id"]: [when, r["local_instrument_id"], r["remote_instrument_id"]]
        for r, when in zip(read.rows["records"], timed, strict=True)
    }
    for r in read.rows["readings"]:
        if r["frequency_mhz"] is None:
            told[r["record_id"]].append((r["quantity"], r["subject"], r["value"]))
    full = Counter(tuple(map(str, v)) for v in told.values() if len({x for x in v if x is not None}) > 1)
    again = sum(n for n in full.values() if n > 1)
    if full.total() > 3 and again > 0.6 * full.total():
        yield Objection("records", "", "label", "records of different labels are equal in time and in every reading")


# ---- what belongs to what


def _places(read: Result) -> Iterator[Objection]:
    """A quantity of one pair under a combination, and one of combinations under a pair."""
    for table, row in _measured(read):
        known = vocabulary.parameter(row["what"])
        if not row["where"] or known.per in ("link", "fiber"):
            continue
        combined = "/" in row["where"]
        if combined != (known.per in ("combination", "ordered")):
            wrong = "a combination" if combined else "one pair"
            why = f"{known.name} is not measured of {wrong}"
            yield Objection(table, row["what"], "", why, frozenset((row["where"],)))


def _measured(read: Result) -> Iterator[tuple[str, Row]]:
    """Rows of readings, worst cases and curves, with `what` and `where`: quantity, and pair or combination."""
    for name, what, where in (
        ("readings", "quantity", "subject"),
        ("reported", "parameter", "pairing"),
        ("sweeps", "parameter", "pairing"),
    ):
        for row in read.rows[name]:
            yield name, {**row, "what": row[what], "where": row[where] or ""}


def _endless(read: Result) -> Iterator[Objection]:
    """Quantities that have two ends, some of whose values say theirs and others do not."""
    said: dict[tuple[str, str], Counter[bool]] = defaultdict(Counter)
    for table, row in _measured(read):
        if table != "readings" and row["where"] and vocabulary.parameter(row["what"]).ends:
            said[table, row["what"]][row["end"] is None] += 1
    for (table, what), ends in said.items():
        if ends[True] and (ends[False] or any(e[False] for (t, _), e in said.items() if t == table)):
            yield Objection(table, what, "", "values of one end beside values that say no end", end="none")


def _twice(read: Result) -> Iterator[Objection]:
    """Two values of one thing in one record."""
    seen: Counter[tuple[Any, ...]] = Counter()
    total: Counter[tuple[str, str]] = Counter()
    for table, r in _measured(read):
        more = (r["kind"],) if table == "reported" else (r["origin"],)
        more += (r["frequency_mhz"],) if table == "readings" else ()
        key = (table, r["what"], r["record_id"], r["where"], r["end"], r["direction"], r["wavelength_nm"], *more)
        seen[key] += 1
        total[table, r["what"]] += 1
    double: Counter[tuple[str, str]] = Counter()
    for key, n in seen.items():
        double[key[0], key[1]] += n if n > 1 else 0
    for (table, what), n in double.items():
        if n > 0.2 * total[table, what]:
            yield Objection(table, what, "", f"one record holds {vocabulary.parameter(what).name} twice")


def _aside(read: Result) -> Iterator[Objection]:
    """More records are set aside than read: what their rows hold is not understood."""
    if read.aside > read.records:
        yield Objection("row", "", "", f"{read.aside} of {read.aside + read.records} are set aside: {read.reason}")


# ---- frequencies


def _frequencies(read: Result) -> Iterator[Objection]:
    """Frequencies that nobody measures, and curves of one quantity that stop at different ones."""
    least, high = hypotheses().frequency["MHz"]
    tops: dict[str, set[tuple[int, float]]] = defaultdict(set)
    bad: set[str] = set()
    for r in read.rows["sweeps"]:
        told = [f for f in r["frequencies"] if f is not None]
        if told and not (least <= told[-1] <= high and told[0] >= _LOWEST):
            bad.add(r["parameter"])
        if told:
            tops[f"{r['parameter']} {r['origin']}"].add((len(told), told[-1]))
    for name in sorted(bad):
        yield Objection("sweeps", name, "frequency", "curves over frequencies at which nobody measures")
    for name, ends in tops.items():
        if len(ends) > 2:
            yield Objection("sweeps", name.split()[0], "frequency", "curves of one quantity hold different frequencies")
    worst = [(r["parameter"], r["frequency_mhz"]) for r in read.rows["reported"] if r["frequency_mhz"] is not None]
    for name in sorted({n for n, _ in worst}):
        mine = [f for n, f in worst if n == name]
        if sum(not _LOWEST <= f <= high for f in mine) > 0.1 * len(mine):
            yield Objection("reported", name, "frequency", "worst cases at frequencies at which nobody measures")


_LOWEST = 0.05
"""MHz below which nobody measures cabling for data. Judgement of the trade: sweeps begin at 0.1 or 1 MHz."""


# ---- value, limit, margin and verdict


def _triples(read: Result) -> Iterator[Objection]:
    """Limit less value is the margin, whichever way it is counted."""
    for name in sorted({r["parameter"] for r in read.rows["reported"]}):
        mine = [r for r in read.rows["reported"] if r["parameter"] == name]
        whole = [r for r in mine if None not in (r["value"], r["limit"], r["margin"])]
        off = sum(not _fits(abs(r["value"]), abs(r["limit"]), r["margin"], r["step"]) for r in whole)
        if len(whole) > 2 and off > 0.2 * len(whole):
            for part in ("value", "limit", "margin"):
                yield Objection("reported", name, part, "limit less value is not the margin")
        yield from _verdicts(name, mine)
        for part in ("value", "limit", "margin"):
            got = [abs(r[part]) for r in mine if r[part] is not None]
            if got and sum(x > _LARGEST[part] for x in got) > 0.1 * len(got):
                yield Objection("reported", name, part, f"a {part} of {max(got):g} dB is none of a link")


_LARGEST = {"value": 120.0, "limit": 110.0, "margin": 70.0}
"""dB that values, limits and margins of links hardly exceed. Judgement of the trade, no source."""


def _fits(value: float, limit: float, margin: float, step: float | None) -> bool:
    return math.isclose(abs(value - limit), abs(margin), abs_tol=1.6 * max(0.1, step or 0.1))


def _bare_verdicts(read: Result) -> Iterator[Objection]:
    """Verdicts of pairs and of nothing else, all alike in a record: they are the verdict of the link, repeated."""
    for name in sorted({r["parameter"] for r in read.rows["reported"]}):
        mine = [r for r in read.rows["reported"] if r["parameter"] == name and r["pairing"]]
        bare = [r for r in mine if r["verdict"] and all(r[k] is None for k in ("value", "limit", "margin"))]
        by: dict[str, set[str]] = defaultdict(set)
        for r in bare:
            by[r["record_id"]].add(r["verdict"])
        if mine and len(bare) == len(mine) > 3 * len(by) and all(len(v) == 1 for v in by.values()):
            yield Objection("reported", name, "verdict", "verdicts of pairs that have no values")


def _verdicts(name: str, mine: Sequence[Row]) -> Iterator[Objection]:
    """A margin below zero fails, one above passes."""
    told = [r for r in mine if r["margin"] is not None and r["verdict"] in ("pass", "fail") and abs(r["margin"]) > 0.1]
    off = sum((r["margin"] > 0) != (r["verdict"] == "pass") for r in told)
    if len(told) > 2 and off > 0.2 * len(told):
        yield Objection("reported", name, "verdict", "verdicts and margins contradict each other")


def _levels(read: Result) -> Iterator[Objection]:
    """Readings beyond what can be, curves that are no levels of links, and losses that do not grow with frequency."""
    for name in sorted({r["quantity"] for r in read.rows["readings"]}):
        known = hypotheses().quantity.get(name)
        got = [r["value"] for r in read.rows["readings"] if r["quantity"] == name and r["value"] is not None]
        if known and got and sum(not known.possible[0] <= x <= known.possible[1] for x in got) > 0.05 * len(got):
            yield Objection("readings", name, "", "values beyond what can be")
        single = _bare(name) and sum(abs(x) > _LARGEST["value"] for x in got) > 0.05 * max(1, len(got))
        if single:
            yield Objection("readings", name, "", "values beyond what can be")
    curves: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for r in read.rows["sweeps"]:
        curves[r["parameter"], r["origin"]].append(r)
    for (name, origin), rows in curves.items():
        bad = sum(not _likely(name, origin, r) for r in rows)
        if bad > 0.2 * len(rows):
            part = origin if origin in ("limit", "margin") else "value"
            yield Objection("sweeps", name, part, f"no curve of {vocabulary.parameter(name).name} runs so")


def _bare(name: str) -> bool:
    return vocabulary.parameter(name).unit == "dB"


def _likely(name: str, origin: str, r: Row) -> bool:
    """Whether a curve may be one of its quantity."""
    values = [abs(v) for v in r["values"] if v is not None]
    if not values or max(values) > _LARGEST["value"] or not _bare(name):
        return not _bare(name)
    if origin in ("margin", "limit") or len(values) < 5:
        return True
    first, last = sum(values[:2]) / 2, sum(values[-2:]) / 2
    if name == "insertion_loss":
        return bool(last > first)
    return name not in hypotheses().shape.falling or bool(last < first)


def _parts(read: Result) -> Iterator[Objection]:
    """A power sum is no better than the worst of its parts; here: not better on the whole."""
    best: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    for r in read.rows["reported"]:
        if r["value"] is not None:
            best[r["record_id"], r["parameter"], r["end"] or ""].append(abs(r["value"]))
    for whole, part in (("ps_next", "next"), ("ps_acr_f", "acr_f")):
        told = [
            (min(v), min(best[k[0], part, k[2]]))
            for k, v in best.items()
            if k[1] == whole and best.get((k[0], part, k[2]))
        ]
        if len(told) > 2 and sum(a > b + 6 for a, b in told) > 0.5 * len(told):
            yield Objection("reported", whole, "", "a power sum is better than its parts")


_CHECKS = (
    _aside,
    _labels,
    _complete,
    _empty,
    _copies,
    _places,
    _endless,
    _twice,
    _frequencies,
    _triples,
    _bare_verdicts,
    _levels,
    _parts,
)
