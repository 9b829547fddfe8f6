"""Rules about curves that follow from other curves: power sums, ACR, reciprocity."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from archive import vocabulary
from archive.tables.arrow import Ints, Reals
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.curve_stats import in_blocks
from archive.validation.look.record_look import once
from archive.vocabulary import PAIRS

CurveKey: TypeAlias = tuple[str, str, str]
"""Parameter, end and pairing of a curve."""
Combine: TypeAlias = Callable[[list[Reals]], Reals]
"""Makes one array of those of some curves, (n, points) each."""
_BACK = tuple(reversed(vocabulary.ENDS))


@dataclass(frozen=True)
class CurveIndex:
    """Where the curves of a batch are. made: by (parameter, end, pairing) the row of the sweeps table by record."""

    look: RecordLook
    made: dict[CurveKey, Ints]

    def at(self, parameter: str, end: str, pairing: str) -> Ints:
        """Rows of the sweeps table by record, -1 where there is none. Without an end, the curve that names none, else
        of any end."""
        key = (parameter, end, pairing)
        if key not in self.made:
            curves = self.look.curves
            wanted = curves.mask("parameter", parameter) & curves.mask("pairing", pairing) & curves.fits_mhz
            wanted &= curves.mask("origin", "measured", "derived")
            out = np.full(self.look.size, -1)
            nowhere = curves.coded("end")[1] < 0
            for mask in (curves.mask("end", end),) if end else (*(curves.mask("end", e) for e in _BACK), nowhere):
                rows = np.flatnonzero(wanted & mask)[::-1]
                out[curves.record[rows]] = rows
            self.made[key] = out
        return self.made[key]

    def together(self, keys: Sequence[CurveKey]) -> Iterator[tuple[Ints, list[Reals]]]:
        """Records that have all of some curves, on one axis: for each part of them the rows of the sweeps table of
        the first curve, (n,), and the values of each curve, (n, points)."""
        rows = np.stack([self.at(*key) for key in keys], axis=1)
        rows = rows[(rows >= 0).all(axis=1)]
        curves = self.look.curves
        axes = curves.axis[rows]
        same = (axes == axes[:, :1]).all(axis=1)
        for axis in np.unique(axes[same, 0]):
            mine = rows[same & (axes[:, 0] == axis)]
            points = len(curves.axes_mhz[axis])
            for part in in_blocks(mine, points):
                yield part[:, 0], [curves.matrix(part[:, k], points) for k in range(len(keys))]

    def lacks(self, key: CurveKey, parts: Sequence[CurveKey]) -> Ints:
        """Records that have a curve and not all of its parts."""
        whole = np.all([self.at(*part) >= 0 for part in parts], axis=0)
        return np.flatnonzero((self.at(*key) >= 0) & ~whole)

    def off(self, keys: Sequence[CurveKey], difference: Combine, allowed: float) -> Iterator[tuple[Ints, Reals]]:
        """Where a difference in dB between some curves of a record, one number per record, is above what is allowed:
        rows of the sweeps table of the first curve, and the difference."""
        for at, values in self.together(keys):
            db = difference(values)
            if (db > allowed).any():
                yield at[db > allowed], db[db > allowed]


@once
def index(look: RecordLook) -> CurveIndex:
    """The index of a batch."""
    return CurveIndex(look, {})


def _power_sum(parts: list[Reals]) -> Reals:
    """-10 lg sum 10^(-x/10) in single precision: its error of 1e-5 dB is far below any tolerance."""
    total = np.zeros(parts[0].shape, dtype=np.float32)
    for values in parts:
        total += np.exp(values.astype(np.float32) * np.float32(-np.log(10) / 10))
    with np.errstate(divide="ignore"):
        return np.float32(-10 / np.log(10)) * np.log(total)


_SUMS = {"ps_next": "next", "ps_fext": "fext", "ps_acr_f": "acr_f", "ps_elfext": "elfext", "ps_acr_n": "acr_n"}


def _contributors(of: str, end: str, pair: str) -> list[CurveKey]:
    others = [p for p in PAIRS if p != pair]
    if of == "next":
        return [(of, end, "/".join(sorted((o, pair), key=PAIRS.index))) for o in others]
    return [(of, end, f"{o}/{pair}") for o in others]


def _largest(values: list[Reals]) -> Reals:
    """The largest difference of each curve from the other."""
    largest: Reals = np.fmax.reduce(np.abs(values[0] - values[1]), axis=1)
    return largest


@rule("power-sum-contradicts-parts")
def power_sum_contradicts_parts(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Every power sum against the sum of its three parts."""
    derived = [
        ((parameter, end, pair), _contributors(of, end, pair))
        for parameter, of in _SUMS.items()
        for end in vocabulary.ENDS
        for pair in PAIRS
    ]
    lacking = yield from _derived(look, derived, _power_sum, limits["db"])
    yield NotLooked(_union(lacking), "the parts of a power sum are not there")


@rule("acr-contradicts-parts")
def acr_contradicts_parts(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Every ACR-N, ACR-F and ELFEXT, and their power sums, against crosstalk less insertion loss."""
    lacking = []
    for parameter, of, pairings in (
        ("acr_n", "next", vocabulary.ORDERED),
        ("acr_f", "fext", vocabulary.ORDERED),
        ("elfext", "fext", vocabulary.ORDERED),
        ("ps_acr_n", "ps_next", PAIRS),
        ("ps_acr_f", "ps_fext", PAIRS),
    ):
        derived = [
            ((parameter, end, p), [(of, end, _named(of, p)), ("insertion_loss", "", _losing(parameter, p))])
            for end in vocabulary.ENDS
            for p in pairings
        ]
        short = yield from _derived(look, derived, lambda m: m[0] - m[1], limits["db"])
        # power sums of ACR are there without their power sum of crosstalk as a rule: no blind spot of this one
        lacking += short if not parameter.startswith("ps_") else []
    yield NotLooked(_union(lacking), "crosstalk or insertion loss is not there to compare with")


def _derived(
    look: RecordLook,
    derived: Sequence[tuple[CurveKey, list[CurveKey]]],
    total: Combine,
    allowed: float,
) -> Generator[Answer, None, list[Ints]]:
    """Curves against what follows from their parts; returns the records that lack parts."""
    found, lacking = index(look), []
    for key, parts in derived:
        if look.curves.mask("parameter", key[0]).any():
            for at, db in found.off([key, *parts], lambda m: _largest([m[0], total(m[1:])]), allowed):
                where = look.places(at)
                yield Raised(look.curves.record[at], where=where, found=[f"{v:.2f} dB" for v in db])
            lacking.append(found.lacks(key, parts))
    return lacking


def _named(of: str, pairing: str) -> str:
    """NEXT is symmetric and named with the lower pair first."""
    return "/".join(sorted(pairing.split("/"), key=PAIRS.index)) if of == "next" else pairing


def _losing(parameter: str, pairing: str) -> str:
    """The pair whose insertion loss counts: the disturbed one; for ELFEXT the disturbing one."""
    return pairing.split("/")[0 if parameter == "elfext" else -1]


def _union(rows: list[Ints]) -> Ints:
    return np.unique(np.concatenate([np.zeros(0, dtype=np.int64), *rows]))


@rule("crosstalk-not-reciprocal")
def crosstalk_not_reciprocal(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """FEXT i to j seen at one end against j to i at the other, at every eighth point: the median difference."""
    if not look.curves.mask("parameter", "fext").any():
        return
    for pairing in vocabulary.ORDERED:
        turned = "/".join(reversed(pairing.split("/")))
        keys = [("fext", "local", pairing), ("fext", "remote", turned)]
        for at, db in index(look).off(keys, lambda m: _median(np.abs(m[0][:, ::8] - m[1][:, ::8])), limits["db"]):
            found = [f"{v:.1f} dB" for v in db]
            yield Raised(look.curves.record[at], where=look.places(at), found=found)


def _median(values: Reals) -> Reals:
    """Median of each row; missing points do not count."""
    middle = values.shape[1] // 2
    out = np.partition(values, middle, axis=1)[:, middle]
    holes = np.isnan(values).any(axis=1)
    if holes.any():
        out[holes] = np.nanmedian(values[holes], axis=1)
    return out


@rule("insertion-loss-differs-by-end")
def insertion_loss_differs_by_end(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Insertion loss that is given from both ends."""
    if not look.curves.mask("end", "remote")[look.curves.of("insertion_loss")].any():
        return
    for pair in PAIRS:
        keys = [("insertion_loss", end, pair) for end in vocabulary.ENDS]
        for at, db in index(look).off(keys, _largest, limits["db"]):
            yield Raised(look.curves.record[at], where=f"pair {pair}", found=[f"{v:.2f} dB" for v in db])
