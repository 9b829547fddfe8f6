"""Rules about axes: range, step, holes, unit."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from archive import vocabulary
from archive.tables.arrow import Bools, Reals
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.curve_stats import axis_ends


def _mhz(value: float) -> str:
    return f"{value:.6g} MHz"


def _short(look: RecordLook, at_end: bool, far_enough: Callable[[Reals, float], Bools]) -> Iterator[Answer]:
    """Records with curves that do not reach one end of their lines: one finding each, with all parameters concerned.

    far_enough(reached, needed): boolean array.
    """
    curves = look.curves
    reached = axis_ends(curves)[:2][at_end]
    measured = look.is_measured
    asked = look.with_rows(curves.record, measured)
    yield NotLooked(np.flatnonzero(asked & ~look.limits.known), "the range that is needed is not known: no limit")
    short: dict[int, list[tuple[str, float, float]]] = {}
    for limit, theirs in look.limits.groups():
        for parameter, line in limit.lines.items():
            if line.role == "information":
                continue
            needed = line.range_mhz[1 if at_end else 0]
            held = {held for held in vocabulary.parameters() if limit.names.get(held, held) == parameter}
            at = np.flatnonzero(measured & curves.mask("parameter", *held))
            at = at[theirs[curves.record[at]]]
            at = at[~far_enough(reached[at], needed)]
            worst = at[np.argsort(reached[at] if at_end else -reached[at], kind="stable")]
            for row, first in zip(*np.unique(curves.record[worst], return_index=True), strict=True):
                name = vocabulary.parameter(parameter).name
                short.setdefault(int(row), []).append((name, float(reached[worst[first]]), needed))
    rows = sorted(short)
    extreme = min if at_end else max
    yield Raised(
        rows,
        where=[", ".join(name for name, _, _ in short[r]) for r in rows],
        found=[_mhz(extreme(mhz for _, mhz, _ in short[r])) for r in rows],
        expected=[_mhz(max(mhz for _, _, mhz in short[r]) if at_end else min(m for _, _, m in short[r])) for r in rows],
    )


@rule("sweep-starts-late")
def sweep_starts_late(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The first frequency against the beginning of the line."""
    yield from _short(look, False, lambda reached, needed: reached <= needed + limits["mhz"] * (1 + 1e-9))


@rule("sweep-stops-short")
def sweep_stops_short(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The last frequency against the end of the line."""
    share = 1 - limits["percent"] / 100
    yield from _short(look, True, lambda reached, needed: reached >= needed * share * (1 - 1e-9))


def _by_axis(
    look: RecordLook, test: Callable[[Reals], tuple[str, str] | None], among: Bools | bool = True
) -> Iterator[Answer]:
    """Findings on the records that use an axis of which test(mhz) gives what was found and expected. among: the
    records that count."""
    curves = look.curves
    for number, mhz in enumerate(curves.axes_mhz):
        said = test(mhz) if len(mhz) else None
        if said:
            users = look.with_rows(curves.record, curves.axis == number)
            yield Raised(np.flatnonzero(users & among), found=said[0], expected=said[1])


@rule("step-too-coarse")
def step_too_coarse(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Each gap against the step of the band in which it begins."""
    bands = np.asarray(limits["steps"], dtype=np.float64)
    slack = 1 + limits["slack_percent"] / 100

    def test(mhz: Reals) -> tuple[str, str] | None:
        gaps = np.diff(mhz)
        band = np.clip(np.searchsorted(bands[:, 0], mhz[1:] - 1e-9, side="left") - 1, 0, len(bands) - 1)
        allowed = bands[band, 2]
        over = gaps / (allowed * slack)
        if not len(gaps) or over.max() <= 1:
            return None
        worst = int(over.argmax())
        return f"{_mhz(gaps[worst])} at {_mhz(mhz[worst])}", f"{_mhz(allowed[worst])} there"

    yield from _by_axis(look, test)


@rule("sweep-has-holes")
def sweep_has_holes(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Each gap against the wider of its two neighbours."""

    def test(mhz: Reals) -> tuple[str, str] | None:
        gaps = np.diff(mhz)
        if len(gaps) < 3:
            return None
        padded = np.concatenate([[gaps[1]], gaps, [gaps[-2]]])
        beside = np.maximum(padded[:-2], padded[2:])
        holes = np.flatnonzero(gaps > limits["times"] * beside)
        return (", ".join(f"{mhz[i]:.6g} and {_mhz(mhz[i + 1])}" for i in holes[:3]), "") if len(holes) else None

    yield from _by_axis(look, test)


@rule("frequency-unit-slip")
def frequency_unit_slip(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A top that no cabling test has, where the form of the source leaves the unit to whoever reads it."""

    def test(mhz: Reals) -> tuple[str, str] | None:
        top = mhz[-1]
        if top > limits["highest_mhz"]:
            return f"to {_mhz(top)}", "Hz" if top > 1e6 else "kHz"
        if top < limits["lowest_top_mhz"] and len(mhz) > 1:
            return f"{mhz[0]:.6g} to {_mhz(top)}", "GHz"
        return None

    stated = np.isin(look.joined("source_id", "sources", "layout").astype(str), limits["unit_stated_by"])
    yield from _by_axis(look, test, ~stated)


@rule("axis-not-rising")
def axis_not_rising(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """The first frequency that does not lie above the one before."""

    def test(mhz: Reals) -> tuple[str, str] | None:
        back = np.flatnonzero(~(np.diff(mhz) > 0))
        return (_mhz(mhz[back[0]]), _mhz(mhz[back[0] + 1])) if len(back) else None

    yield from _by_axis(look, test)


@rule("curve-without-axis")
def curve_without_axis(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No axis of that id, or another number of points."""
    curves = look.curves
    at = np.flatnonzero((curves.record >= 0) & ~curves.fits_mhz & (look.is_null("wavelength_nm", "sweeps")))
    found = [f"{n} values" for n in curves.length[at]]
    expected = [f"{n} frequencies" if n else "no frequencies" for n in axis_ends(curves)[2][at]]
    yield Raised(curves.record[at], where=look.places(at), found=found, expected=expected)
