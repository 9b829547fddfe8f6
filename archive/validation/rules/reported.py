"""Rules about what the instrument said, against its own curves, its own arithmetic, the limit and our verdict."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow.compute as pc

from archive import vocabulary
from archive.limits import Limit
from archive.limits.line import Line
from archive.tables.arrow import Bools, Ints, Reals, Words
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.curve_stats import curve_names, in_blocks
from archive.validation.look.record_look import once
from archive.validation.rules.sums import index

_BASIC = ("insertion_loss", "return_loss", "next", "fext")
_NO_LIMIT = "the limit that the words name is not known"


@dataclass(frozen=True)
class ClaimedPoints:
    """Rows of reported that name one point of one parameter in dB: rows of records, words and numbers of the point.
    mhz in MHz; value, limit and margin in dB."""

    rows: Ints
    parameter: Words
    end: Words
    pairing: Words
    mhz: Reals
    value: Reals
    limit: Reals
    margin: Reals
    worst_margin: Bools

    def place(self, at: Ints) -> list[str]:
        """Names for findings: NEXT local 1-2/3-6."""
        return curve_names(self.parameter[at], self.end[at], self.pairing[at])


@once
def points(look: RecordLook) -> ClaimedPoints:
    """The reported points of a batch."""
    decibels = {p.id for p in vocabulary.parameters().values() if p.unit == "dB"}
    rows, parameter = look.rows_for("reported"), look.words("parameter", "reported")
    use = np.flatnonzero((rows >= 0) & np.isin(parameter, sorted(decibels)))
    end, pairing, kind = (look.words(c, "reported")[use] for c in ("end", "pairing", "kind"))
    mhz, value, limit, margin = (look.reals(c, "reported")[use] for c in ("frequency_mhz", "value", "limit", "margin"))
    worst = kind == "worst_margin"
    return ClaimedPoints(rows[use], parameter[use], end, pairing, mhz, value, limit, margin, worst)


def _curves_at(look: RecordLook, said: ClaimedPoints) -> Ints:
    """Row of the sweeps table of the curve that each point belongs to, -1 where there is none."""
    out = np.full(len(said.rows), -1)
    for key in sorted(set(zip(said.parameter, said.end, said.pairing, strict=True))):
        parameter, end, pairing = key
        mine = (said.parameter == parameter) & (said.end == end) & (said.pairing == pairing)
        if pairing:
            out[mine] = index(look).at(parameter, end, pairing)[said.rows[mine]]
    return out


@rule("reported-value-contradicts-curve")
def reported_value_contradicts_curve(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The value at the reported frequency; the neighbours of that point count too, since frequencies are rounded."""
    said = points(look)
    at = _curves_at(look, said)
    pointed = ~np.isnan(said.mhz) & ~np.isnan(said.value) & (said.pairing != "")
    lost = pointed & (at < 0) & np.isin(said.parameter, _BASIC) & look.is_full_sweep[said.rows]
    yield NotLooked(np.unique(said.rows[lost]), "a reported point has no curve to compare with")
    use = np.flatnonzero(pointed & (at >= 0))
    curves = look.curves
    for axis in np.unique(curves.axis[at[use]]) if len(use) else ():
        mine, mhz = use[curves.axis[at[use]] == axis], curves.axes_mhz[axis]
        near = np.abs(mhz[:, None] - said.mhz[mine]).argmin(axis=0) if len(mhz) < 64 else _nearest(mhz, said.mhz[mine])
        around = np.clip(near[:, None] + np.arange(-1, 2), 0, len(mhz) - 1)
        values = curves.flat[curves.start[at[mine]][:, None] + around]
        step = np.gradient(mhz)[near] if len(mhz) > 1 else np.ones(len(near))
        inside = np.abs(mhz[near] - said.mhz[mine]) <= np.maximum(step, 0.05)
        off = np.fmin.reduce(np.abs(values - said.value[mine, None]), axis=1)
        bad = inside & (off > limits["db"])
        place = [f"{p} at {f:g} MHz" for p, f in zip(said.place(mine[bad]), said.mhz[mine[bad]], strict=True)]
        found = [f"{v:g} dB" for v in said.value[mine[bad]]]
        expected = [f"{v:g} dB" for v in values[bad, 1]]
        yield Raised(said.rows[mine[bad]], where=place, found=found, expected=expected)


def _nearest(mhz: Reals, wanted: Reals) -> Ints:
    """Index of the nearest of rising frequencies."""
    right = np.clip(np.searchsorted(mhz, wanted), 1, len(mhz) - 1)
    return np.where(wanted - mhz[right - 1] <= mhz[right] - wanted, right - 1, right)


@rule("reported-margin-contradicts-itself")
def reported_margin_contradicts_itself(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Margin against value and limit of the same row, in any unit."""
    rows = look.rows_for("reported")
    value, limit, margin = (look.reals(c, "reported") for c in ("value", "limit", "margin"))
    parameter = look.words("parameter", "reported")
    known = vocabulary.parameters()
    highest = np.array([p in known and known[p].sense == "max" for p in parameter], dtype=bool)
    decibel = np.array([p in known and known[p].unit == "dB" for p in parameter], dtype=bool)
    due = np.where(highest, limit - value, value - limit)
    allowed = np.where(decibel, limits["db"], np.maximum(limits["percent"] / 100 * np.abs(limit), 0.01))
    at = np.flatnonzero((rows >= 0) & (np.abs(margin - due) > allowed + 1e-9))
    where = _places(look, at)
    unit = [known[p].unit if p in known else "" for p in parameter[at]]
    found = [f"{v:.4g} {u}" for v, u in zip(margin[at], unit, strict=True)]
    expected = [f"{v:.4g} {u}" for v, u in zip(due[at], unit, strict=True)]
    yield Raised(rows[at], where=where, found=found, expected=expected)


def _places(look: RecordLook, at: Ints) -> list[str]:
    """Rows of reported by name: NEXT local 1-2/3-6."""
    return curve_names(*(look.words(c, "reported")[at] for c in ("parameter", "end", "pairing")))


def _lines(look: RecordLook, said: ClaimedPoints) -> Iterator[tuple[Limit, Line, Ints]]:
    """For each limit and parameter: the limit, the line and the points of the records that name it."""
    for limit, theirs in look.limits.groups():
        here = theirs[said.rows]
        for parameter in sorted(set(said.parameter[here])):
            line = limit.line(parameter)
            if line is not None:
                yield limit, line, np.flatnonzero(here & (said.parameter == parameter))


@rule("reported-limit-contradicts-ours")
def reported_limit_contradicts_ours(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The limit at the reported frequency; a rounded frequency is allowed for by the line half a step beside it."""
    said = points(look)
    given = ~np.isnan(said.limit) & ~np.isnan(said.mhz)
    yield NotLooked(np.unique(said.rows[given & ~look.limits.known[said.rows]]), _NO_LIMIT)
    for _, line, at in _lines(look, said):
        at = at[given[at]]
        around = np.stack([line.at(said.mhz[at] + d) for d in (0.0, -0.5, 0.5)])
        off = np.abs(said.limit[at] - around[0])
        slope = np.fmax(np.abs(around[0] - around[1]), np.abs(around[0] - around[2]))
        bad = at[off > limits["db"] + np.nan_to_num(slope)]
        found = [f"{said.limit[i]:g} dB at {said.mhz[i]:g} MHz" for i in bad]
        expected = [f"{v:.2f} dB" for v in line.at(said.mhz[bad])]
        yield Raised(said.rows[bad], where=said.place(bad), found=found, expected=expected)


@rule("reported-margin-not-worst")
def reported_margin_not_worst(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The smallest margin against the line, of the curve that is named; of all pairings where the instrument names one
    worst case for a parameter and end. Left out: points where reported limit and line differ, and points that the
    limit takes for information only because the loss of a pair involved is small.
    """
    said = points(look)
    for limit, line, at in _lines(look, said):
        if any(r.word != "il_below" for r in line.exemptions) or line.role == "information":
            continue
        ours = line.at(said.mhz[at])
        same = np.isnan(said.limit[at]) | np.isnan(ours) | (np.abs(said.limit[at] - ours) <= 0.3)
        at = at[said.worst_margin[at] & ~np.isnan(said.margin[at]) & same]
        owner, sweep = _claimed(look, said, at)
        worst = np.full(len(said.rows), np.inf)
        for part, margins in _margins(look, line, owner, sweep):
            np.minimum.at(worst, owner[part], np.nan_to_num(np.fmin.reduce(margins, axis=1), nan=np.inf))
        bad = at[said.margin[at] - worst[at] > limits["db"]]
        found = [f"{v:g} dB" for v in said.margin[bad]]
        expected = [f"{v:.2f} dB against {limit.id}" for v in worst[bad]]
        yield Raised(said.rows[bad], where=said.place(bad), found=found, expected=expected)


def _claimed(look: RecordLook, said: ClaimedPoints, at: Ints) -> tuple[Ints, Ints]:
    """The curves that each worst case claims to be the worst of: point and row of the sweeps table, as two arrays."""
    keys = [f"{r} {p} {e}" for r, p, e in zip(said.rows[at], said.parameter[at], said.end[at], strict=True)]
    _, inverse, counts = np.unique(np.array(keys, dtype=str), return_inverse=True, return_counts=True)
    alone = counts[inverse] == 1
    owner, sweep = [], []
    for key in sorted(set(zip(said.parameter[at], said.end[at], said.pairing[at], alone, strict=True))):
        parameter, end, pairing, sole = key
        mine = at[(said.parameter[at] == parameter) & (said.end[at] == end) & (said.pairing[at] == pairing)]
        mine = mine[alone[np.searchsorted(at, mine)] == sole]
        names = vocabulary.pairings(vocabulary.parameter(parameter).per) if sole else (pairing,)
        for name in names:
            rows = index(look).at(parameter, end, name)[said.rows[mine]]
            owner.append(mine[rows >= 0])
            sweep.append(rows[rows >= 0])
    none = np.zeros(0, dtype=np.int64)
    return np.concatenate([none, *owner]), np.concatenate([none, *sweep])


def _margins(look: RecordLook, line: Line, owner: Ints, sweep: Ints) -> Iterator[tuple[Ints, Reals]]:
    """Margins of curves against a line, in parts: places in the two arrays, and (n, points) in dB."""
    curves = look.curves
    lowest = max((r.value for r in line.exemptions), default=None)
    for axis in np.unique(curves.axis[sweep]) if len(sweep) else ():
        mine = np.flatnonzero(curves.axis[sweep] == axis)
        mhz = curves.axes_mhz[axis]
        bound = line.at(mhz)
        if np.isnan(bound).all():
            continue
        for part in in_blocks(mine, len(mhz)):
            values = curves.matrix(sweep[part], len(mhz))
            margins = bound - values if line.sense == "max" else values - bound
            if lowest is not None:
                margins = np.where(_loss(look, sweep[part], len(mhz)) >= lowest, margins, np.nan)
            yield part, margins


def _loss(look: RecordLook, sweep: Ints, points_of_axis: int) -> Reals:
    """Smallest insertion loss of the pairs that each curve involves, (n, points); NaN where it is not there."""
    curves = look.curves
    pairings, rows_of_curves = curves.words("pairing", sweep), curves.record[sweep]
    out = np.full((len(sweep), points_of_axis), np.inf)
    for pair in vocabulary.PAIRS:
        involved = np.flatnonzero([pair in p.split("/") for p in pairings])
        rows = index(look).at("insertion_loss", "", pair)[rows_of_curves[involved]]
        there = (rows >= 0) & (curves.length[rows] == points_of_axis)
        out[involved[~there]] = np.nan
        if there.any():
            mine = involved[there]
            out[mine] = np.fmin(out[mine], curves.matrix(rows[there], points_of_axis))
    return out


@rule("limit-curve-contradicts-ours")
def limit_curve_contradicts_ours(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Curves of origin limit against the line, over the frequencies that both have."""
    curves = look.curves
    given = curves.mask("origin", "limit") & curves.fits_mhz
    if not given.any():
        return
    yield NotLooked(np.unique(curves.record[given & ~look.limits.known[np.maximum(curves.record, 0)]]), _NO_LIMIT)
    for limit, theirs in look.limits.groups():
        mine = given & theirs[np.maximum(curves.record, 0)]
        for parameter in sorted(set(curves.words("parameter", np.flatnonzero(mine)))):
            line = limit.line(parameter)
            if line is None:
                continue
            for block in curves.blocks(np.flatnonzero(mine & curves.mask("parameter", parameter))):
                off = np.fmax.reduce(np.abs(block.values - line.at(block.mhz)), axis=1)
                bad = off > limits["db"]
                found = [f"up to {v:.2f} dB" for v in off[bad]]
                yield Raised(block.records[bad], where=look.places(block.rows[bad]), found=found, expected=limit.id)


@rule("verdict-contradicts-margins")
def verdict_contradicts_margins(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A pass with a failed parameter or a margin below zero; what was taken for information does not count."""
    rows = look.rows_for("reported")
    passed = (rows >= 0) & (look.words("reported_verdict") == "pass")[rows]
    verdict, margin = look.words("verdict", "reported"), look.reals("margin", "reported")
    bad = np.flatnonzero(passed & ((verdict == "fail") | ((margin < -0.005) & (verdict != "informative"))))
    # one finding for a record: its smallest margin, with the number of others
    order = bad[np.argsort(np.nan_to_num(margin[bad]), kind="stable")]
    first, count = np.unique(rows[order], return_index=True, return_counts=True)[1:]
    at = order[first]
    found = [_against(verdict[i], margin[i], int(n) - 1) for i, n in zip(at, count, strict=True)]
    yield Raised(rows[at], where=_places(look, at), found=found)


def _against(verdict: str, margin: float, others: int) -> str:
    """What speaks against a pass."""
    text = f"a margin of {margin:g}" if margin < -0.005 else f"the verdict {verdict}"
    return f"{text}, and {others} more" if others else text


@rule("verdict-contradicts-ours")
def verdict_contradicts_ours(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Verdicts in the batch that disagree by more than the resolution of the export."""
    yield _not_graded(look)
    at, rows, opposite = _differing(look)
    at = at[opposite]
    yield Raised(
        rows[at],
        where=list(look.words("limit_id", "verdicts")[at]),
        found=list(look.words("reported_verdict")[rows[at]]),
        expected=list(look.words("verdict", "verdicts")[at]),
    )


@rule("margins-contradict-ours")
def margins_contradict_ours(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Verdicts do not contradict each other, a margin or the verdict of one parameter does. The grade says which."""
    yield _not_graded(look)
    at, rows, opposite = _differing(look)
    at = at[~opposite]
    found = [reason or "a parameter differs" for reason in look.words("reason", "verdicts")[at]]
    yield Raised(rows[at], where=list(look.words("limit_id", "verdicts")[at]), found=found)


def _not_graded(look: RecordLook) -> NotLooked:
    judged = look.with_rows(look.rows_for("verdicts"))
    said = np.isin(look.words("reported_verdict"), ("pass", "fail"))
    return NotLooked(np.flatnonzero(said & ~judged), "the record was not graded here")


def _differing(look: RecordLook) -> tuple[Ints, Ints, Bools]:
    """Verdicts of ours that differ from what the instrument said: their places in the table, row of the records table
    of every verdict, and whether one says pass and the other fail: no other word contradicts."""
    verdicts, rows = look.batch["verdicts"], look.rows_for("verdicts")
    differs = pc.fill_null(pc.invert(verdicts.column("agrees")), False)
    within = pc.fill_null(verdicts.column("within_resolution"), False)
    at = np.flatnonzero(pc.and_(differs, pc.invert(within)).to_numpy().astype(bool) & (rows >= 0))
    both = zip(look.words("verdict", "verdicts")[at], look.words("reported_verdict")[rows[at]], strict=True)
    return at, rows, np.array([set(pair) == {"pass", "fail"} for pair in both], dtype=bool)


@rule("marginal-result")
def marginal_result(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """The instrument's own mark on the record or on one of its parameters."""
    of_a_part = look.with_rows(look.rows_for("reported"), look.flags("marginal", "reported"))
    at = np.flatnonzero(look.flags("reported_marginal") | of_a_part)
    yield Raised(at, found=[v or "no verdict" for v in look.words("reported_verdict")[at]])
