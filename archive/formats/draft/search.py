"""The search for an interpretation: each candidate is read, and the reader's own result judges it.

A candidate is a placing of every column. What its result contradicts is left out, and it is read again, until nothing
objects; where the labels of links are in doubt, every other column that may hold them is tried. The best is the one by
which most of the sample arrives without an objection.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from archive.errors import Trouble
from archive.formats.base.kinds import kind_of
from archive.formats.draft.answers import Answers
from archive.formats.draft.hypotheses import LIKELY, hypotheses, score_of
from archive.formats.draft.identifiers import alike
from archive.formats.draft.joined import JOINS
from archive.formats.draft.judge import Objection, Result, result_of
from archive.formats.draft.layout import Layout, nameless
from archive.formats.draft.placing import Placed, PlacedTable, Placing
from archive.formats.draft.structure import ways
from archive.formats.draft.write import Draft, written
from archive.formats.mapping.files import read_by
from archive.formats.recognition import Entry

Files = list[tuple[Layout, Placing, str]]
"""The files of a layout: structure, placing, pattern of the name."""

MOST_READ = 1 << 22
"""Bytes of a file that is read whole to judge a draft; of a longer text, so much of its beginning."""
_SAMPLE = 1 << 19
_ROUNDS = 6
"""How often what is objected to is left out and the rest read again."""
_LABELS = 4
"""Columns that are tried as labels."""


@dataclass
class Attempt:
    """A candidate after what its result contradicts was left out. objected: what was, in order."""

    files: Files
    draft: Draft
    result: Result | None
    objected: list[Objection]

    @property
    def score(self) -> float:
        """Cells of the sample that arrived with nothing to object to; half where most records were set aside."""
        if self.result is None or any(o.part == "label" for o in self.objected):
            return 0.0
        rows = self.result.rows
        arrived = sum(sum(v is not None for v in r["values"]) for r in rows["sweeps"]) + len(rows["readings"])
        arrived += sum(r[k] is not None for r in rows["reported"] for k in ("value", "limit", "margin", "verdict"))
        facts = ("link_label", "tested_local", "reported_verdict", "limit_found", "cable_found")
        arrived += sum(r[k] is not None for r in rows["records"] for k in facts)
        return arrived * (0.5 if self.result.aside > self.result.records else 1.0)


def best(make: Callable[[Answers], Files], entry: Entry, answers: Answers, name: str, least: float) -> Draft:
    """The draft that reads most of a sample without contradiction.

    make: the files as they are placed by some answers. least: fields that are less sure are left out.
    """
    first = make(answers)
    with _sample(entry, first) as sample:
        if sample is None:
            return written(first, name, least)
        found = _attempt(first, sample, name, 0.0)
        answers = dict(answers)
        # Of a long text only the beginning is read: its score says nothing of all its numbers.
        enough = _ENOUGH * _numbers(first) if sample is entry else 0.0
        little = len(first) == 1 and found.score <= enough
        for way in ways(first[0][0]) if little else ():
            other = _attempt(make({**answers, WAY: way}), sample, name, 0.0)
            if other.score > _BETTER * found.score:
                found, answers[WAY] = other, way
        if "label" not in answers and _doubtful(found):
            found = _by_label(found, lambda source: _attempt(make({**answers, "label": source}), sample, name, 0.0))
            found.draft = written(found.files, name, 0.0)
        labelled = any(p.confidence >= least for p in _labels(found.files))
        made = found if not least else _attempt(found.files, sample, name, least) if labelled else None
        if made is None:
            return written(found.files, name, least)
        told = _told([*found.objected, *made.objected])
        made.draft.questions += [f"left out, for the sample says otherwise: {why}" for why in told]
        made.draft.unread += told
        made.draft.against = _against(made.result)
        return made.draft


WAY = "way"
"""Name of the answer that says in which other way a file is cut; no person is asked it."""

_ENOUGH = 0.5
"""Share of the numbers of a sample from which on no other way to cut it is tried."""

_BETTER = 1.2
"""How many times as much must arrive by another way."""


def _numbers(files: Files) -> int:
    """Numbers that stand in the tables and labels of a layout."""
    return sum(int(p.seen.profile.numeric * p.seen.profile.filled) for _, placing, _ in files for p in placing.placed)


def _against(result: Result | None) -> str:
    """What speaks against a draft by which a sample was read at last."""
    if result is None or not result.records:
        return f"it reads no record{f': {result.reason}' if result is not None and result.reason else ''}"
    if result.aside > result.records:
        return f"it sets {result.aside} of {result.aside + result.records} records aside: {result.reason}"
    if any(o.part == "label" for o in result.objections):
        return next(o.why for o in result.objections if o.part == "label")
    return ""


def _told(objected: Sequence[Objection]) -> list[str]:
    return list(dict.fromkeys(o.why for o in objected))


@contextmanager
def _sample(entry: Entry, files: Files) -> Iterator[Entry | None]:
    """What is read to judge a draft: the file, or the beginning of a long text; None where neither can be."""
    if entry.size <= MOST_READ:
        yield entry
        return
    if len(files) > 1 or kind_of(entry) != "text":
        yield None
        return
    folder = Path(tempfile.mkdtemp(prefix="muniment-"))
    try:
        path = folder / entry.path.name
        with entry.path.open("rb") as opened:
            data = opened.read(_SAMPLE)
        path.write_bytes(data[: data.rfind(b"\n") // 4 * 4])
        yield Entry(path, entry.name)
    finally:
        shutil.rmtree(folder)


def _attempt(files: Files, sample: Entry, name: str, least: float) -> Attempt:
    """A candidate, read and freed of what its result contradicts."""
    objected: list[Objection] = []
    for _ in range(_ROUNDS):
        made = written(files, name, least)
        result = _read(made, sample)
        if result is None:
            break
        skipped = _skip_sums(files, result)
        fresh = [o for o in dict.fromkeys(result.objections) if _leave_out(files, o)]
        if not fresh and not skipped:
            break
        objected += fresh
        made = written(files, name, least)
    return Attempt(files, made, result, objected)


def _read(made: Draft, sample: Entry) -> Result | None:
    if not made.fields:
        return None
    try:
        return result_of(read_by(sample, made.mapping))
    except Trouble:
        return None


# ---- labels


def _doubtful(found: Attempt) -> bool:
    """Whether what labels the links is not sure, or was objected to."""
    labels = _labels(found.files)
    return not labels or any(o.part == "label" for o in found.objected) or max(p.confidence for p in labels) < 0.85


def _labels(files: Files) -> list[Placed]:
    return [p for _, placing, _ in files for t in placing.tables for p in t.at("records", "link_label")]


def _by_label(found: Attempt, attempt: Callable[[str], Attempt]) -> Attempt:
    """The attempt by whose label most arrives. Of those by which as much does, the one whose column looks most like
    labels; the label is the surer the fewer there are."""
    held = [p for p in _labels(found.files) if found.score]
    tried = [(p, found) for p in held[:1]]
    tried += [(p, attempt(p.source)) for p in _other_labels(found.files)]
    most = max((a.score for _, a in tried), default=0.0)
    even = [(p, a) for p, a in tried if a.score > _EVEN * most]
    if not even or not most:
        return found
    ranks = [_label_rank(p) for p, _ in even]
    best = max(range(len(even)), key=lambda n: ranks[n])
    alone = len(even) == 1 or ranks.count(ranks[best]) == 1
    known = hypotheses().label
    sure = known.alone if len(even) == 1 else known.ranked if alone and ranks[best] else known.even
    why = "it alone makes records whole" if len(even) == 1 else "with others it makes records whole"
    for p in (p for p in _labels(even[best][1].files) if not p.source.startswith("@file")):
        p.score, p.reason = score_of(sure), f"{p.reason}; {why}"
    return even[best][1]


_EVEN = 0.95
"""Share of what arrives at the most by which as much arrives."""


def _label_rank(p: Placed) -> int:
    """How much a column looks like labels: tables are joined by it, its heading names a place that is labelled, its
    cells are of the shape of labels."""
    joins = p.to is not None and p.to.name == "sequence" and JOINS in p.reason
    return 4 * joins + 2 * bool({"link_label", "port"} & set(p.seen.own.fields)) + alike(p.seen.profile.distinct)


def _other_labels(files: Files) -> list[Placed]:
    """Columns that may label the links: text, or codes, that differ from link to link."""
    held = {p.source for p in _labels(files)}
    free = [p for t in files[0][1].tables for p in t.placed if _may_label(p) and p.source not in held]
    free.sort(key=lambda p: (-_label_rank(p), p.to is not None and p.confidence > 0.8, p.seen.profile.numeric > 0.9))
    return list({p.source: replace(p) for p in reversed(free)}.values())[::-1][:_LABELS]


def _may_label(p: Placed) -> bool:
    s, known = p.seen, p.seen.profile
    if nameless(p.source) or s.heading.parameters or s.own.modifiers or known.dates or known.lists > 0.5:
        return False
    if p.to is not None and p.to.table != "places" and (p.to.table != "records" or p.confidence >= 0.9):
        return False
    counted = known.distinct == [str(n) for n in range(1, len(known.distinct) + 1)]
    named = sum(map(len, known.distinct)) > 1.5 * len(known.distinct) and not counted
    return len(known.distinct) > 1 and named and max(known.verdicts, known.cables, known.limits) < 0.5


# ---- sums below a table

_SUM = re.compile(r"([^\d:=]{3,}[:=])\s*\d+")
"""A line of words and one number."""


def _skip_sums(files: Files, result: Result) -> bool:
    """Lines such as "Links in all: 12" that were read as links: skipped from now on. Returns whether there were any."""
    full = {r["record_id"] for name in ("readings", "reported", "sweeps") for r in result.rows[name]}
    bare = [r["link_label"] or "" for r in result.rows["records"] if r["record_id"] not in full]
    sums = {f"^{re.escape(m.group(1))}" for label in bare if (m := _SUM.fullmatch(label.strip()))}
    layout, placing, pattern = files[0]
    if not full or not sums - set(layout.skip) or layout.kind not in ("delimited", "report", "workbook"):
        return False
    files[0] = (replace(layout, skip=[*layout.skip, *sorted(sums)]), placing, pattern)
    return True


# ---- leaving out


def _leave_out(files: Files, objection: Objection) -> bool:
    """Takes away the places that an objection concerns. Returns whether there were any."""
    tables = [t for _, placing, _ in files for t in placing.tables]
    if objection.table == "row":
        rows = [p for t in tables if t.rows in ("points", "curves") for p in [*t.at("row"), *t.at("sweeps")]]
        for p in rows:
            p.at_most(LIKELY - 0.05, objection.why)
        return bool(rows)
    if objection.part == "label":
        numbers = [p for t in tables for p in t.at("records", "sequence") if p.confidence >= LIKELY]
        for p in numbers:
            p.nowhere(f"perhaps {p.to}: {objection.why}")
        if numbers:
            return True
        doubtful = [p for t in tables for p in t.placed if p.confidence >= LIKELY]
        for p in doubtful:
            p.at_most(LIKELY - 0.05, objection.why)
        return bool(doubtful)
    if objection.part == "frequency" and objection.table == "sweeps":
        return _other_frequencies(tables, objection)
    hit = [p for t in tables for p in t.placed if _concerns(p, objection)]
    words = [] if hit and objection.pairings else _words(tables, objection)
    rows = [] if hit or words else [p for t in tables for p in _of_rows(t, objection)]
    for t, word in words:
        t.parameters[word] = (t.parameters[word][0], 0.0)
    for p in [*hit, *rows]:
        p.nowhere(f"perhaps {p.to}: {objection.why}")
    for t in tables:
        _without_words(t)
    return bool(hit or words or rows)


def _other_frequencies(tables: Sequence[PlacedTable], o: Objection) -> bool:
    """Gives frequencies the unit in which somebody measures, once; else the curves over them are left out."""
    changed = False
    for t in tables:
        curves = [p for p in t.at("sweeps") if p.to is not None and p.to.parameter == o.quantity]
        if not curves and not any(m.partition(" ")[0] == o.quantity for m, _ in t.parameters.values()):
            continue
        axes = [p for p in t.placed if p.to is not None and p.to.name in ("frequency", "frequencies")]
        unit = _unit_that_fits(axes[0]) if len(axes) == 1 else None
        if unit is not None and unit != axes[0].unit and "unit" not in axes[0].options:
            axes[0].unit, axes[0].options["unit"] = unit, True
            axes[0].at_most(0.85, f"in {unit or 'MHz'} they are frequencies of cabling")
            changed = True
            continue
        for p in [*curves, *(t.at("row", "value", "values", "limit", "margin") if t.rows != "readings" else [])]:
            p.nowhere(f"perhaps {p.to}: {o.why}")
            changed = True
    return changed


def _unit_that_fits(axis: Placed) -> str | None:
    """The unit in which the numbers of an axis are those of cabling; None where they are so in none or several."""
    values = np.asarray(axis.seen.profile.values, dtype=np.float64)
    finite = values[np.isfinite(values)]
    if not len(finite):
        return None
    low, high = float(finite.min()), float(finite.max())
    known = {"": 1.0, "kHz": 1e-3, "Hz": 1e-6, "GHz": 1e3}
    fits = [n for n, factor in known.items() if low * factor >= 0.1 and 10 <= high * factor <= 3000]
    return fits[0] if len(fits) == 1 else None


def _concerns(p: Placed, o: Objection) -> bool:
    to = p.to
    if to is None or (o.pairings and to.pairing not in o.pairings) or (o.end and to.end):
        return False
    if to.table == "row" and o.pairings:
        return not o.part or o.part == to.name
    if to.table != o.table or to.parameter != o.quantity:
        return False
    part = to.origin or "value" if to.table == "sweeps" else to.column or "value"
    return not o.part or part == o.part


def _words(tables: Sequence[PlacedTable], o: Objection) -> list[tuple[PlacedTable, str]]:
    """Words that name the quantity in rows, where all of it is in doubt."""
    if o.part:
        return []
    return [
        (t, word)
        for t in tables
        for word, (said, sure) in t.parameters.items()
        if said.partition(" ")[0] == o.quantity and sure >= LIKELY
    ]


def _of_rows(t: PlacedTable, o: Objection) -> list[Placed]:
    """Columns of rows that name their quantity: those of the part that is in doubt."""
    if not any(said.partition(" ")[0] == o.quantity for said, _ in t.parameters.values()):
        return []
    names = ("value", "values") if o.part == "value" else (o.part,) if o.part else ("value", "values")
    return t.at("row", *names)


def _without_words(t: PlacedTable) -> None:
    """Where no word for a quantity is left, the column of quantities says nothing any more."""
    if t.parameters and all(sure < LIKELY for _, sure in t.parameters.values()):
        for p in t.at("row", "parameter"):
            p.at_most(LIKELY - 0.05, "no quantity that it names is left")


def copied(placing: Placing) -> Placing:
    """The same placing with places of its own, to change."""
    tables = [
        PlacedTable(t.found, t.meaning, [replace(p, options=dict(p.options)) for p in t.placed], dict(t.parameters))
        for t in placing.tables
    ]
    return replace(placing, tables=tables)
