"""Rules about scalars: bounds, length against delay and velocity, skew, resistance against gauge and length."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from archive import vocabulary
from archive.tables.arrow import Bools, Ints, Reals
from archive.validation import catalogue
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.vocabulary import PAIRS, cables

M_PER_NS = 0.299792458
"""Speed of light, m/ns (definition of the metre)."""
FEET_PER_M = 1 / 0.3048
_NO_VELOCITY = "the velocity that was set is not known"
_NO_GAUGE = "the gauge of the conductors is not known"


def _by_pair(mask: Bools) -> tuple[Ints, list[str]]:
    """Rows and pair names where a (size, 4) mask is true."""
    rows, columns = np.nonzero(mask)
    return rows, [PAIRS[c] for c in columns]


@rule("length-out-of-bounds")
def length_out_of_bounds(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Length of the link or of a pair at or below the lowest, or above the highest."""
    low, high = limits["lowest_m"], limits["highest_m"]
    expected = f"{low:g} and {high:g} m"
    by_pair = look.readings.pairs("length").values
    bad = (by_pair <= low) | (by_pair > high)
    rows, names = _by_pair(bad)
    yield Raised(rows, where=[f"pair {n}" for n in names], found=[f"{v:g} m" for v in by_pair[bad]], expected=expected)
    whole = look.readings.whole("length")
    rows = np.flatnonzero(((whole <= low) | (whole > high)) & look.is_copper)
    yield Raised(rows, where="the link", found=[f"{v:g} m" for v in whole[rows]], expected=expected)


@rule("scalar-out-of-bounds")
def scalar_out_of_bounds(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Each measured value of a quantity against its bounds. Resistance and impedance of nothing are no reading."""
    readings = look.readings
    for quantity, (low, high) in limits.items():
        at = readings.of(quantity)
        values = readings.value[at]
        at = at[(values < low) | (values > high) | ((values == 0) & (quantity == "loop_resistance"))]
        if not len(at):
            continue
        key = vocabulary.parameter(quantity)
        where = [f"{key.name} {s}".strip() for s in readings.subject[at]]
        found = [f"{v:g} {key.unit}" for v in readings.value[at]]
        yield Raised(readings.rows[at], where=where, found=found, expected=f"{low:g} and {high:g} {key.unit}")


def _travelled(look: RecordLook) -> Reals:
    """Length in m that delay and velocity give, (size, 4)."""
    velocity = look.reals("velocity_percent") / 100
    return look.readings.pairs("propagation_delay").values * velocity[:, None] * M_PER_NS


def _lengths(look: RecordLook) -> Reals:
    """Length in m by pair (size, 4); one length for the whole link counts as that of its shortest pair."""
    by_pair = look.readings.pairs("length").values.copy()
    whole = look.readings.whole("length")
    delays = look.readings.pairs("propagation_delay").values
    alone = np.flatnonzero(np.isnan(by_pair).all(axis=1) & ~np.isnan(whole) & ~np.isnan(delays).all(axis=1))
    if len(alone):
        by_pair[alone, np.nanargmin(delays[alone], axis=1)] = whole[alone]
    return by_pair


def _no_velocity(look: RecordLook) -> NotLooked:
    both = ~np.isnan(look.readings.length) & look.readings.pairs("propagation_delay").present
    return NotLooked(np.flatnonzero(both & look.is_null("velocity_percent")), _NO_VELOCITY)


@rule("delay-contradicts-length")
def delay_contradicts_length(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """abs(L - c NVP t) pair by pair."""
    yield _no_velocity(look)
    lengths, travelled = _lengths(look), _travelled(look)
    allowed = np.maximum(limits["m"], limits["percent"] / 100 * np.maximum(lengths, travelled))
    bad = np.abs(lengths - travelled) > allowed
    rows, names = _by_pair(bad)
    found = [f"{v:.1f} m" for v in lengths[bad]]
    yield Raised(rows, where=names, found=found, expected=[f"{v:.1f} m" for v in travelled[bad]])


@rule("length-looks-like-feet")
def length_looks_like_feet(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The median ratio over the pairs is that of feet to metres, one way or the other."""
    yield _no_velocity(look)
    lengths, travelled = _lengths(look), _travelled(look)
    both = ~np.isnan(lengths) & ~np.isnan(travelled) & (travelled > 0) & (lengths > 0)
    ratio = np.array(
        [np.median(a[b] / c[b]) if b.any() else np.nan for a, b, c in zip(lengths, both, travelled, strict=True)]
    )
    slack = limits["percent"] / 100
    rows = np.flatnonzero((np.abs(ratio * FEET_PER_M - 1) < slack) | (np.abs(ratio / FEET_PER_M - 1) < slack))
    found = [f"{np.nanmin(lengths[r]):.1f} m" for r in rows]
    yield Raised(rows, found=found, expected=[f"{np.nanmin(travelled[r]):.1f} m" for r in rows])


@rule("skew-contradicts-delays")
def skew_contradicts_delays(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Skew of each pair against the shortest delay; skew of the link against longest less shortest."""
    delays, skews = look.readings.pairs("propagation_delay"), look.readings.pairs("delay_skew")
    whole = look.readings.whole("delay_skew")
    given = skews.present | ~np.isnan(whole)
    enough = (~np.isnan(delays.values)).sum(axis=1) >= 2
    yield NotLooked(np.flatnonzero(given & ~enough), "there are no delays to compare the skew with")
    step = np.nan_to_num(np.fmax.reduce(delays.steps, axis=1, initial=0.0)) / 2
    allowed = limits["ns"] + step + 1e-9
    shortest = np.fmin.reduce(delays.values, axis=1)
    due = delays.values - shortest[:, None]
    bad = enough[:, None] & (np.abs(skews.values - due) > allowed[:, None])
    rows, names = _by_pair(bad)
    found, expected = ([f"{v:g} ns" for v in m[bad]] for m in (skews.values, due))
    yield Raised(rows, where=[f"of pair {n}" for n in names], found=found, expected=expected)
    spread = np.fmax.reduce(delays.values, axis=1) - shortest
    rows = np.flatnonzero(enough & (np.abs(whole - spread) > allowed))
    expected = [f"{v:g} ns" for v in spread[rows]]
    yield Raised(rows, where="of the link", found=[f"{v:g} ns" for v in whole[rows]], expected=expected)


@rule("velocity-implausible")
def velocity_implausible(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Set velocity out of the range of insulations."""
    low, high = limits["percent"]
    velocity = look.reals("velocity_percent")
    rows = np.flatnonzero((velocity < low) | (velocity > high))
    yield Raised(rows, found=[f"{v:g} %" for v in velocity[rows]], expected=f"{low:g} to {high:g} %")


@rule("pair-lengths-differ")
def pair_lengths_differ(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Longest less shortest pair."""
    values = look.readings.pairs("length").values
    longest, shortest = np.fmax.reduce(values, axis=1), np.fmin.reduce(values, axis=1)
    rows = np.flatnonzero(longest - shortest > np.maximum(limits["m"], limits["percent"] / 100 * longest))
    yield Raised(rows, found=[f"{shortest[r]:.1f} to {longest[r]:.1f} m" for r in rows])


def _gauge(cable_type: str) -> float:
    found = cables.known(cable_type).get("gauge", "")
    return float(found.removeprefix("awg")) if found.startswith("awg") else np.nan


def _copper_loop(look: RecordLook) -> tuple[Reals, Bools]:
    """Loop resistance in ohm that copper of the gauge has, (size, 4), and True where the gauge is not known."""
    t = catalogue.rule("loop-resistance-contradicts-length").tolerances
    smallest, base, first, span = t["gauge_mm"]
    gauge = np.array([_gauge(c) for c in look.words("cable_type")], dtype=np.float64)
    diameter = smallest * base ** ((first - gauge) / span)
    ohm_m = t["ohm_mm2_m"] / (np.pi / 4 * diameter**2)
    degc = look.readings.whole("temperature")
    warm = 1 + t["per_degc"] * (np.where(np.isnan(degc), 20.0, degc) - 20.0)
    lengths = look.readings.pairs("length").values
    whole = look.readings.length
    lengths = np.where(np.isnan(lengths), whole[:, None], lengths)
    return 2 * lengths * (ohm_m * warm)[:, None], np.isnan(gauge)


@rule("loop-resistance-contradicts-length")
def loop_resistance_contradicts_length(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Measured loop against copper of the gauge and length at the temperature of the record (20 degC where none)."""
    loops = look.readings.pairs("loop_resistance")
    copper, unknown = _copper_loop(look)
    yield NotLooked(np.flatnonzero(loops.present & unknown), _NO_GAUGE)
    low, high = limits["share"]
    least, most = low * copper - 0.05, high * copper + limits["contacts_ohm"]
    bad = (loops.values < least) | (loops.values > most)
    rows, names = _by_pair(bad)
    found = [f"{v:.2f} ohm" for v in loops.values[bad]]
    expected = [f"{a:.2f} to {b:.2f} ohm" for a, b in zip(least[bad], most[bad], strict=True)]
    yield Raised(rows, where=names, found=found, expected=expected)


@rule("resistance-too-high-for-copper")
def resistance_too_high_for_copper(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """All pairs with a reading lie above so many times copper."""
    loops = look.readings.pairs("loop_resistance")
    copper, unknown = _copper_loop(look)
    yield NotLooked(np.flatnonzero(loops.present & unknown), _NO_GAUGE)
    contacts = catalogue.rule("loop-resistance-contradicts-length").tolerances["contacts_ohm"]
    known = ~np.isnan(loops.values) & ~np.isnan(copper)
    high = known & (loops.values > limits["times"] * copper + contacts)
    rows = np.flatnonzero(known.any(axis=1) & (high == known).all(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        times = np.fmin.reduce(np.where(known, loops.values / copper, np.nan), axis=1)
    where = [", ".join(p for p, k in zip(PAIRS, known[r], strict=True) if k) for r in rows]
    yield Raised(rows, where=where, found=[f"{t:.2f}" for t in times[rows]])


@rule("resistances-contradict-each-other")
def resistances_contradict_each_other(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Loop and unbalance of a pair against its two conductors."""
    wires = look.readings.conductors("conductor_resistance").values
    pairs = [tuple(int(n) - 1 for n in p.split("-")) for p in PAIRS]
    first, second = (wires[:, [p[i] for p in pairs]] for i in (0, 1))
    total = first + second
    loops = look.readings.pairs("loop_resistance").values
    bad = np.abs(loops - total) > np.maximum(limits["ohm"], limits["percent"] / 100 * total)
    rows, names = _by_pair(bad)
    found = [f"a loop of {v:.2f} ohm" for v in loops[bad]]
    yield Raised(rows, where=names, found=found, expected=[f"{v:.2f} ohm" for v in total[bad]])
    with np.errstate(divide="ignore", invalid="ignore"):
        due = 100 * np.abs(first - second) / total
    given = look.readings.pairs("resistance_unbalance").values
    bad = np.abs(given - due) > limits["unbalance_percent"]
    rows, names = _by_pair(bad)
    found = [f"an unbalance of {v:.2f} %" for v in given[bad]]
    yield Raised(rows, where=names, found=found, expected=[f"{v:.2f} %" for v in due[bad]])


@rule("insertion-loss-contradicts-length")
def insertion_loss_contradicts_length(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Fitted loss at 100 MHz against that of the category over the length of the link."""
    fit = look.loss_fit
    rows = look.curves.record[fit.at]
    length = look.readings.length[rows]
    at_100 = fit.at_mhz(100.0)
    measured = ~np.isnan(at_100)
    yield NotLooked(np.unique(rows[measured & np.isnan(length)]), "the length is not known")
    by_class = limits["db_100m"]
    classes = [cables.known(c).get("class", "") for c in look.words("cable_type")]
    per_m = np.array([by_class.get(c, limits["any_db_100m"]) / 100 for c in classes])[rows]
    less, more = limits["connections_db"]
    least = np.maximum(limits["share"][0] * per_m * length - less, 0)
    most = limits["share"][1] * per_m * length + more
    bad = measured & ((at_100 < least) | (at_100 > most))
    expected = [f"{a:.1f} to {b:.1f} dB" for a, b in zip(least[bad], most[bad], strict=True)]
    found = [f"{v:.1f} dB" for v in at_100[bad]]
    yield Raised(rows[bad], where=look.places(fit.at[bad]), found=found, expected=expected)


@rule("cable-below-limit")
def cable_below_limit(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Place of the cable's category in the order against what the limit asks for."""
    order, asks = list(limits["order"]), limits["asks"]
    hits = []
    for row, (kind, limit_id) in enumerate(zip(look.words("cable_type"), look.limits.ids, strict=True)):
        asked = asks.get(limit_id.split("/")[1]) if limit_id.count("/") == 2 else None
        category = cables.known(kind).get("class", "").split(".")[0]
        if asked in order and category in order and order.index(category) < order.index(asked):
            hits.append((row, category, limit_id))
    yield Raised.each(hits)
