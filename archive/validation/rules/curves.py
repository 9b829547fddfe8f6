"""Rules about single curves: gaps, flat and clipped stretches, signs, units, bounds, the shape of insertion loss."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from archive.tables.arrow import Ints, Reals
from archive.tables.curves import CurveBlock
from archive.validation.catalogue.registry import Answer, Raised, Text, Tolerances, rule
from archive.validation.look import RecordLook

_REFLECTED = ("return_loss",)
_COUPLED = ("next", "ps_next", "fext", "ps_fext", "acr_f", "ps_acr_f", "elfext", "ps_elfext", "anext", "afext")
_LOSSES = ("insertion_loss", *_REFLECTED, *_COUPLED)
_DIFFERENCES = ("acr_f", "ps_acr_f", "elfext", "ps_elfext")


def _db(value: float) -> str:
    return f"{value:.3g} dB" if abs(value) < 1 else f"{value:.1f} dB"


def _raised(look: RecordLook, at: Ints, found: Text, expected: Text = "") -> Raised:
    return Raised(look.curves.record[at], where=look.places(at), found=found, expected=expected)


@rule("points-missing")
def points_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Nulls inside a curve."""
    at = np.flatnonzero((look.stats.missing > 0) & look.is_measured)
    found: dict[int, str] = {}
    for block in look.curves.blocks(at, most=1):
        gone = block.mhz[np.isnan(block.values[0])]
        ends = f"{gone[0]:.6g} MHz" if len(gone) == 1 else f"between {gone[0]:.6g} and {gone[-1]:.6g} MHz"
        found[int(block.rows[0])] = f"{len(gone)} of {len(block.mhz)} points, {ends}"
    yield _raised(look, np.fromiter(found, dtype=np.int64), list(found.values()))


@rule("value-not-a-number")
def value_not_a_number(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Infinity, or a NaN that is no missing value."""
    curves = look.curves
    at = np.flatnonzero(~look.stats.finite & (curves.record >= 0))
    yield _raised(look, at, "an infinite value")
    if look.stats.missing.any():
        at = np.flatnonzero(curves.has_nan & (curves.record >= 0))
        yield _raised(look, at, "NaN")


@rule("curve-twice")
def curve_twice(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Curves of one record that agree in all that says what a curve is of."""
    curves = look.curves
    columns = [curves.coded(name)[1] for name in ("parameter", "end", "pairing", "direction", "disturber", "origin")]
    waves = np.unique(np.nan_to_num(look.reals("wavelength_nm", "sweeps")), return_inverse=True)[1]
    of = np.column_stack([curves.record, waves, *columns])
    order = np.lexsort(of.T[::-1])
    first = np.flatnonzero(np.append(True, (np.diff(of[order], axis=0) != 0).any(axis=1))[: len(order)])
    count = np.diff(np.append(first, len(order)))
    several = (count > 1) & (curves.record[order[first]] >= 0)
    yield _raised(look, order[first[several]], [_times(n) for n in count[several].tolist()], "once")


def _times(count: int) -> str:
    return "twice" if count == 2 else f"{count} times"


@rule("curve-constant")
def curve_constant(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Highest and lowest value are the same."""
    stats = look.stats
    same = (stats.low == stats.high) & (look.curves.length - stats.missing >= limits["least_points"])
    at = np.flatnonzero(same & look.is_measured)
    yield _raised(look, at, [_db(v) for v in stats.low[at]])


@rule("curve-flat")
def curve_flat(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A run of equal values. It holds three equal values a quarter of its length apart: few points decide for most."""
    run = int(limits["points"])
    stats = look.stats
    at = look.curves.of(*_REFLECTED, "next")
    at = at[stats.low[at] < stats.high[at]]
    for block in look.curves.blocks(at):
        if len(block.mhz) <= run:
            continue
        sparse = block.values[:, :: max(1, run // 4)]
        equal = sparse[:, 1:] == sparse[:, :-1]
        for row in np.flatnonzero((equal[:, 1:] & equal[:, :-1]).any(axis=1)):
            yield from _flat(look, block, int(row), run)


def _flat(look: RecordLook, block: CurveBlock, row: int, run: int) -> Iterator[Answer]:
    values = block.values[row]
    starts = np.concatenate([[0], np.flatnonzero(np.diff(values) != 0) + 1, [len(values)]])
    lengths = np.diff(starts)
    longest = int(lengths.argmax())
    first, last = starts[longest], starts[longest + 1] - 1
    at = block.rows[[row]]
    # what the source itself says only as a bound is no measured stretch
    if lengths[longest] < run or look.curves.bounded[at[0]]:
        return
    found = f"{_db(values[first])} from {block.mhz[first]:.6g} to {block.mhz[last]:.6g} MHz ({lengths[longest]} points)"
    yield _raised(look, at, [found])


@rule("curve-clipped")
def curve_clipped(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Many points at the highest or lowest value, first looked for in every fourth point."""
    share, stats = limits["share_percent"] / 100, look.stats
    at = look.curves.of(*_REFLECTED, "next")
    at = at[(stats.low[at] < stats.high[at]) & (look.curves.length[at] >= 50)]
    for block in look.curves.blocks(at):
        sparse = block.values[:, ::4]
        for extreme, word in ((stats.high[block.rows], "and never above"), (stats.low[block.rows], "and never below")):
            often = (sparse == extreme[:, None]).mean(axis=1) >= share / 2
            for row in np.flatnonzero(often & ~look.curves.bounded[block.rows]):
                part = float(np.mean(block.values[row] == extreme[row]))
                if part >= share and _cut_off(block.values[row], extreme[row], limits["times_the_next"]):
                    found = f"{_db(extreme[row])} at {100 * part:.0f} % of its points {word}"
                    yield _raised(look, block.rows[[row]], [found])


def _cut_off(values: Reals, extreme: float, times: float) -> bool:
    """True where far more points lie at the extreme than at the next value the curve has.

    The rounded top of a smooth curve has at most 2.4 times as many points in its last step as in the step before it
    (the roots of a parabola: 1 / (sqrt 2 - 1)), and some 10 times where the frequency step changes beside it; behind
    the cut of a clipped curve lies everything that was beyond.
    """
    off = np.abs(values - extreme)
    off = off[~np.isnan(off)]
    beside = off[off > 0]
    reach = max(0.1, float(beside.min())) * (1 + 1e-6)
    return bool(np.sum(off == 0) >= times * np.sum(beside <= reach))


@rule("sign-wrong")
def sign_wrong(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """The highest value of a curve is below zero, or at zero with something below."""
    stats, at = look.stats, look.curves.of(*_LOSSES)
    at = at[(stats.high[at] <= 0) & (stats.low[at] < 0)]
    yield _raised(look, at, [f"{_db(a)} to {_db(b)}" for a, b in zip(stats.low[at], stats.high[at], strict=True)])


@rule("loss-below-zero")
def loss_below_zero(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A dip below zero of a curve that is not negative throughout. ACR may be negative: it is a difference."""
    stats = look.stats
    at = look.curves.of(*(p for p in _LOSSES if p not in _DIFFERENCES))
    at = at[(stats.low[at] < -limits["db"]) & (stats.high[at] > 0)]
    yield _raised(look, at, [_db(v) for v in stats.low[at]])


@rule("value-beyond-bounds")
def value_beyond_bounds(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A highest value that no field test can tell from its own noise."""
    stats = look.stats
    for parameters, bound in (
        (("insertion_loss",), limits["insertion_loss"]),
        (_REFLECTED, limits["return_loss"]),
        (_COUPLED, limits["crosstalk"]),
    ):
        at = look.curves.of(*parameters)
        at = at[(np.maximum(stats.high[at], -stats.low[at]) > bound) & stats.finite[at]]
        high = np.where(stats.high[at] > bound, stats.high[at], stats.low[at])
        yield _raised(look, at, [_db(v) for v in high], _db(bound))


@rule("value-looks-like-ratio")
def value_looks_like_ratio(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Crosstalk and return loss between 0 and 1 everywhere."""
    stats, at = look.stats, look.curves.of(*_REFLECTED, "next", "fext")
    inside = (stats.low[at] >= 0) & (stats.high[at] <= limits["highest"]) & (stats.high[at] > stats.low[at])
    at = at[inside & (look.curves.length[at] >= limits["least_points"])]
    found = [f"{a:.3g} and {b:.3g}" for a, b in zip(stats.low[at], stats.high[at], strict=True)]
    yield _raised(look, at, found)


@rule("insertion-loss-falls")
def insertion_loss_falls(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Smoothed over bands, the loss never falls below what it had reached."""
    fit = look.loss_fit
    bad = fit.fall > np.maximum(limits["db"], limits["percent"] / 100 * fit.top)
    found = [f"{_db(d)} towards {f:.4g} MHz" for d, f in zip(fit.fall[bad], fit.fall_mhz[bad], strict=True)]
    yield _raised(look, fit.at[bad], found)


@rule("insertion-loss-jumps")
def insertion_loss_jumps(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The residual of the fit from one point to the next."""
    fit = look.loss_fit
    bad = fit.jump > limits["db"]
    found = [f"{_db(d)} at {f:.6g} MHz" for d, f in zip(fit.jump[bad], fit.jump_mhz[bad], strict=True)]
    yield _raised(look, fit.at[bad], found)


@rule("insertion-loss-not-of-cable")
def insertion_loss_not_of_cable(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The residual of the fit as a whole."""
    fit = look.loss_fit
    bad = fit.rms > np.maximum(limits["db"], limits["percent"] / 100 * fit.top)
    yield _raised(look, fit.at[bad], [_db(v) for v in fit.rms[bad]])
