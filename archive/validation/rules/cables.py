"""Rules about what resistance, length and loss say of the cable that the words name. They accuse nobody."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from archive.tables.arrow import Bools, Reals
from archive.validation import catalogue
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.cable_physics import Copper, line_db_per_m, published_unbalance, warm_factor
from archive.validation.look.record_look import once
from archive.vocabulary import PAIRS, cables

_VAGUE = "the link is too short, or its length not known well enough, for its gauge to be told"
_NO_LOOP = "the loop resistance of a pair is not there, so its difference in ohm is not known"
_CORDS = "cords are part of what was measured"
_NO_LOSS = "the loss at any frequency that is looked at, or the line of the category, is not known"


@dataclass(frozen=True)
class CableWitness:
    """Of each record, arrays (size,), NaN where nothing can be told.

    stated: gauge in the words. gauge: that of copper of the median loop resistance; spread: how far it may be off,
    in gauges. times: the resistance against copper of the stated gauge. losses: (size, frequencies of the
    rule), insertion loss per metre at 20 degC against the line of the category, as a cable of the commonest gauge of
    the category would have it; loss: their median; loss_spread: the share by which that may be off. rise: loss at a low
    frequency against the line and against the loss at 100 MHz.
    """

    stated: Reals
    gauge: Reals
    spread: Reals
    times: Reals
    losses: Reals
    loss_spread: Reals
    rise: Reals

    @property
    def loss(self) -> Reals:
        """Median over the frequencies."""
        return _median(self.losses)

    @property
    def told(self) -> Bools:
        """True where stated and measured gauge can be compared."""
        return ~np.isnan(self.stated) & ~np.isnan(self.gauge)


@once
def witness(look: RecordLook) -> CableWitness:
    """What the figures of each record say. The numbers are those of the rule gauge-not-as-stated."""
    t = catalogue.rule("gauge-not-as-stated").tolerances
    copper = Copper.of(catalogue.rule("loop-resistance-contradicts-length").tolerances)
    types = [cables.known(c) for c in look.words("cable_type")]
    words = [c.get("gauge", "") for c in types]
    stated = np.array([float(w.removeprefix("awg")) if w.startswith("awg") else np.nan for w in words])
    degc = look.readings.whole("temperature")
    local = look.readings.matrix("temperature", ("",)).values[:, 0]
    degc = np.where(np.isnan(degc), np.where(np.isnan(local), 20.0, local), degc)
    lengths = look.readings.pairs("length").values
    lengths = np.where(np.isnan(lengths), look.readings.length[:, None], lengths)
    loops = look.readings.pairs("loop_resistance")
    ohm = loops.values - t["connection_ohm"] * _connections(look, t)[:, None]
    gauge = _median(copper.gauge(ohm, lengths, degc[:, None]))
    step = np.nan_to_num(np.fmax.reduce(loops.steps, axis=1, initial=0.0)) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.hypot((t["contacts_ohm"] + step) / _median(ohm), t["length_share"])
        share = np.hypot(share, t["length_m"] / _median(lengths))
        times = _median(ohm / copper.loop_ohm(stated[:, None], lengths, degc[:, None]))
    spread = copper.gauges_of(share)
    vague: Bools = np.asarray(~(share <= t["most_share"]))
    gauge, times = (np.where(vague, np.nan, a) for a in (gauge, times))
    return CableWitness(stated, gauge, spread, times, *_loss(look, t, lengths, degc, stated))


def _connections(look: RecordLook, t: Tolerances) -> Reals:
    stated = look.reals("connections")
    return np.where(np.isnan(stated), t["connections"], stated)


def _median(by_pair: Reals) -> Reals:
    """Median over the pairs, NaN where there is no pair."""
    empty: Bools = np.asarray(np.isnan(by_pair).all(axis=1))
    return np.where(empty, np.nan, np.nanmedian(np.where(empty[:, None], 0.0, by_pair), axis=1))


def _measured(look: RecordLook, mhz: float) -> Reals:
    """Median over the pairs of the loss of each record at a frequency, dB; NaN where no sweep reaches it."""
    rows = look.curves.record[look.loss_fit.at]
    order = np.argsort(rows, kind="stable")
    rows = rows[order]
    place = np.arange(len(rows)) - np.searchsorted(rows, rows)
    by_pair = np.full((look.size, int(place.max(initial=0)) + 1), np.nan)
    by_pair[rows, place] = look.loss_fit.at_mhz(mhz)[order]
    return _median(by_pair)


def _loss(look: RecordLook, t: Tolerances, lengths: Reals, degc: Reals, stated: Reals) -> tuple[Reals, Reals, Reals]:
    """Loss per metre against the line by frequency, the share by which it may be off, and its rise when low."""
    copper = Copper.of(catalogue.rule("loop-resistance-contradicts-length").tolerances)
    kinds = [cables.known(c) for c in look.words("cable_type")]
    plugs = t["connection_db"] * _connections(look, t)
    usual = np.array([t["usual_gauge"].get(k.get("class", ""), np.nan) for k in kinds])
    screened = np.array([cables.screened(c) == cables.SCREENED for c in look.words("cable_type")], dtype=bool)
    warm = warm_factor(degc, np.where(screened, t["loss_per_degc"]["screened"], t["loss_per_degc"]["unscreened"]))
    metres = _median(lengths)
    warm_metres = metres * warm * copper.diameter_mm(usual) / copper.diameter_mm(stated)
    at_100 = _measured(look, 100.0)

    def against_line(mhz: float) -> Reals:
        lines = {c: line_db_per_m(line, mhz) for c, line in t["lines"].items()}
        line = np.array([lines.get(k.get("class", ""), np.nan) for k in kinds])
        with np.errstate(divide="ignore", invalid="ignore"):
            loss = _measured(look, mhz) - plugs * np.sqrt(mhz / 100)
            return np.asarray(np.where(loss > 0, loss, np.nan) / warm_metres / line, dtype=np.float64)

    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.hypot(plugs / at_100, t["length_m"] / metres)
        rise = against_line(t["low_mhz"]) / against_line(100.0)
    known = (look.words("configuration") != "channel") & (off <= t["most_loss_share"])
    losses = np.stack([np.where(known, against_line(f), np.nan) for f in t["loss_mhz"]], axis=1)
    return losses, off, np.where(known, rise, np.nan)


def _thin(w: CableWitness) -> Reals:
    """Loss below which a high resistance is not that of a thinner wire: its loss grows as its diameter falls."""
    with np.errstate(invalid="ignore"):
        return np.sqrt(np.sqrt(w.times))


def _clad(w: CableWitness) -> tuple[Bools, Bools]:
    """Where copper-clad aluminium is suspected; and where the loss excludes thinner copper."""
    t = catalogue.rule("copper-clad-suspected").tolerances
    low, high = t["times"]
    with np.errstate(invalid="ignore"):
        resists = w.told & (w.times >= low) & (w.times <= high)
        by_loss = resists & (w.loss < t["loss"] * _thin(w))
        return by_loss | (resists & np.isnan(w.loss)), by_loss


def _range(value: float, share: float) -> str:
    """A number with the range in which it may lie."""
    return f"{value:.2f} ({value * (1 - share):.2f} to {value * (1 + share):.2f})"


def _gauges(w: CableWitness, row: np.intp) -> str:
    return f"AWG {w.gauge[row]:.1f} ({w.gauge[row] - w.spread[row]:.1f} to {w.gauge[row] + w.spread[row]:.1f})"


@rule("gauge-not-as-stated")
def gauge_not_as_stated(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The gauge of copper of this resistance and length against that of the words, beyond what may be off."""
    w = witness(look)
    loops = look.readings.pairs("loop_resistance").present
    yield NotLooked(np.flatnonzero(loops & ~np.isnan(w.stated) & np.isnan(w.gauge)), _VAGUE)
    with np.errstate(invalid="ignore"):
        off = w.told & (np.abs(w.gauge - w.stated) > np.maximum(limits["gauges"], limits["spreads"] * w.spread))
    rows = np.flatnonzero(off & ~_clad(w)[1])
    expected = [f"AWG {w.stated[r]:.0f}" for r in rows]
    yield Raised(rows, where=[_sure(w, r) for r in rows], found=[_gauges(w, r) for r in rows], expected=expected)


def _sure(w: CableWitness, row: np.intp) -> str:
    """How sure it is, from the loss: a thinner wire loses more."""
    if np.isnan(w.loss[row]):
        return "likely; the loss is not there to agree or disagree"
    thinner = w.times[row] > 1
    agrees = (w.loss[row] >= _thin(w)[row]) == thinner
    loss = f"the insertion loss at {_looked_at(w, row)}"
    return f"very likely: {loss} agrees" if agrees else f"likely; {loss} does not agree"


@rule("copper-clad-suspected")
def copper_clad_suspected(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Resistance of copper-clad aluminium of the stated gauge, and a loss that no thinner copper has."""
    w = witness(look)
    suspected, by_loss = _clad(w)
    rows = np.flatnonzero(suspected)
    share = np.expm1(w.spread / _one_gauge())
    found = [_range(w.times[r], share[r]) for r in rows]
    sure = [
        _clad_sure(w, r, limits["rise"])
        if by_loss[r]
        else f"possible: copper of {_gauges(w, r)} would resist the same, and the loss is not there to tell"
        for r in rows
    ]
    yield Raised(rows, where=sure, found=found, expected=[f"AWG {w.stated[r]:.0f}" for r in rows])


def _clad_sure(w: CableWitness, row: np.intp, least_rise: float) -> str:
    """How sure it is, from the loss: at high frequencies that of copper of the gauge, at low ones more."""
    of_copper = (
        f"the insertion loss, {w.loss[row]:.2f} of the category's line at {_looked_at(w, row)}, is not that of "
        "thinner copper"
    )
    if w.rise[row] >= least_rise:
        low = catalogue.rule("gauge-not-as-stated").tolerances["low_mhz"]
        return f"very likely: {of_copper}, and rises to {w.rise[row]:.2f} times that at {low:g} MHz"
    return f"likely: {of_copper}"


def _looked_at(w: CableWitness, row: np.intp) -> str:
    """The frequencies at which the loss of a record could be looked at."""
    mhz = catalogue.rule("gauge-not-as-stated").tolerances["loss_mhz"]
    told = [f"{f:g}" for f, loss in zip(mhz, w.losses[row], strict=True) if not np.isnan(loss)]
    return f"{' and '.join(filter(None, [', '.join(told[:-1]), told[-1]]))} MHz"


def _one_gauge() -> float:
    """Gauges by which a resistance e times as high differs."""
    copper = Copper.of(catalogue.rule("loop-resistance-contradicts-length").tolerances)
    return float(copper.gauges_of(np.array(np.e - 1)))


@rule("stranded-not-solid")
def stranded_not_solid(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Solid in the words, resistance of the stated gauge, and more loss than the line of solid cable allows."""
    w = witness(look)
    solid = np.array([cables.known(c).get("conductor") == "solid" for c in look.words("cable_type")], dtype=bool)
    asked = solid & look.is_full_sweep & w.told
    channels = look.words("configuration") == "channel"
    yield NotLooked(np.flatnonzero(asked & channels), _CORDS)
    yield NotLooked(np.flatnonzero(asked & ~channels & np.isnan(w.loss)), _NO_LOSS)
    with np.errstate(invalid="ignore"):
        as_stated = np.abs(w.gauge - w.stated) <= limits["gauges"]
        everywhere = (np.isnan(w.losses) | (w.losses > limits["loss"])).all(axis=1) & ~np.isnan(w.loss)
        rows = np.flatnonzero(solid & w.told & as_stated & everywhere)
    found = [_range(w.loss[r], w.loss_spread[r]) for r in rows]
    yield Raised(rows, where=[_looked_at(w, r) for r in rows], found=found, expected=f"{limits['loss']:g}")


@rule("pair-resistance-unbalanced")
def pair_resistance_unbalanced(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The two conductors of a pair against the published bound: a share, or a difference in ohm, the greater."""
    percent, ohm = published_unbalance(limits["bound"])
    unbalance = look.readings.pairs("resistance_unbalance").values
    loops = look.readings.pairs("loop_resistance").values
    above: Bools = np.asarray(np.nan_to_num(unbalance) > percent)
    difference = unbalance / 100 * loops
    yield NotLooked(np.flatnonzero((above & np.isnan(loops)).any(axis=1)), _NO_LOOP)
    rows, columns = np.nonzero(above & (np.nan_to_num(difference) > ohm))
    found = [f"{unbalance[r, c]:.1f} % ({difference[r, c]:.2f} ohm)" for r, c in zip(rows, columns, strict=True)]
    yield Raised(rows, where=[PAIRS[c] for c in columns], found=found, expected=f"{percent:g} % or {ohm:g} ohm")
