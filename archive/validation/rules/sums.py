"""Rules about curves that follow from other curves: power sums, ACR, reciprocity."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive import vocabulary
from archive.validation.look import Look
from archive.validation.registry import NotLooked, Raised, Said, Tolerances, rule
from archive.vocabulary import PAIRS

ORIGINS = ("measured", "derived")


@dataclass(frozen=True)
class Index:
    """Where the curves of a batch are: at[key] is the row of the sweeps table, -1 where there is none.

    A key is (parameter, end, pairing); each array is as long as the records table.
    """

    look: Look
    made: dict[tuple[str, str, str], Any]

    def at(self, parameter: str, end: str, pairing: str) -> Any:
        """Rows of the sweeps table by record. Without an end, the curve that names none, else of any end."""
        key = (parameter, end, pairing)
        if key not in self.made:
            curves = self.look.curves
            wanted = curves.mask("parameter", parameter) & curves.mask("pairing", pairing) & curves.fits
            wanted &= curves.mask("origin", *ORIGINS)
            out = np.full(self.look.size, -1)
            for word in (end,) if end else ("remote", "local", ""):
                rows = np.flatnonzero(wanted & curves.mask("end", word))[::-1]
                out[curves.rows[rows]] = rows
            self.made[key] = out
        return self.made[key]


def index(look: Look) -> Index:
    """The index of a batch, made once."""
    made: dict[tuple[str, str, str], Any] = look.shared.setdefault("index", {})
    return Index(look, made)


def _together(look: Look, rows: Any) -> Iterator[tuple[Any, list[Any]]]:
    """Records whose curves, (n, k) rows of the sweeps table, share one axis: the rows and the k matrices of values."""
    axes = look.curves.axis[rows]
    same = (axes == axes[:, :1]).all(axis=1)
    for axis in np.unique(axes[same, 0]) if same.any() else ():
        mine = rows[same & (axes[:, 0] == axis)]
        points = len(look.curves.axes_mhz[axis])
        height = max(1, (1 << 17) // max(1, points))
        for start in range(0, len(mine), height):
            part = mine[start : start + height]
            yield part, [look.curves.matrix(part[:, k], points) for k in range(part.shape[1])]


def _compare(look: Look, parameter: str, end: str, pairing: str, parts: list[tuple[str, str, str]], total: Any) -> Any:
    """Records that have a curve and all its parts, and the largest difference to total(parts) in dB.

    Yields (rows of the sweeps table, difference), and the records that lack parts as the last item.
    """
    found = index(look)
    rows = np.stack([found.at(parameter, end, pairing), *(found.at(*p) for p in parts)], axis=1)
    here = rows[:, 0] >= 0
    whole = here & (rows >= 0).all(axis=1)
    worst: list[tuple[Any, Any]] = []
    for part, matrices in _together(look, rows[whole]):
        off = np.abs(matrices[0] - total(matrices[1:]))
        worst.append((part[:, 0], np.fmax.reduce(off, axis=1)))
    return worst, np.flatnonzero(here & ~whole)


def _power_sum(parts: list[Any]) -> Any:
    """-10 lg sum 10^(-x/10) in single precision: its error of 1e-5 dB is far below any tolerance."""
    total = np.zeros(parts[0].shape, dtype=np.float32)
    for values in parts:
        total += np.exp(values.astype(np.float32) * np.float32(-np.log(10) / 10))
    with np.errstate(divide="ignore"):
        return np.float32(-10 / np.log(10)) * np.log(total)


_SUMS = {"ps_next": "next", "ps_fext": "fext", "ps_acr_f": "acr_f", "ps_elfext": "elfext", "ps_acr_n": "acr_n"}


def _contributors(of: str, end: str, pair: str) -> list[tuple[str, str, str]]:
    others = [p for p in PAIRS if p != pair]
    if of == "next":
        return [(of, end, "/".join(sorted((o, pair), key=PAIRS.index))) for o in others]
    return [(of, end, f"{o}/{pair}") for o in others]


def _report(look: Look, said: Any, allowed: float) -> Iterator[Said]:
    for at, off in said:
        bad = off > allowed
        if bad.any():
            found = [f"{v:.2f} dB" for v in off[bad]]
            yield Raised(look.curves.rows[at[bad]], where=look.curves.places(at[bad]), found=found)


@rule("power-sum-contradicts-parts")
def power_sum_contradicts_parts(look: Look, limits: Tolerances) -> Iterator[Said]:
    """Every power sum against the sum of its three parts."""
    lacking = []
    for parameter, of in _SUMS.items():
        if not look.curves.mask("parameter", parameter).any():
            continue
        for end in vocabulary.ENDS:
            for pair in PAIRS:
                said, short = _compare(look, parameter, end, pair, _contributors(of, end, pair), _power_sum)
                yield from _report(look, said, limits["db"])
                lacking.append(short)
    yield NotLooked(_union(lacking), "the parts of a power sum are not there")


@rule("acr-contradicts-parts")
def acr_contradicts_parts(look: Look, limits: Tolerances) -> Iterator[Said]:
    """Every ACR-N, ACR-F and ELFEXT, and their power sums, against crosstalk less insertion loss."""
    lacking = []
    for parameter, of, pairings in (
        ("acr_n", "next", vocabulary.ORDERED),
        ("acr_f", "fext", vocabulary.ORDERED),
        ("elfext", "fext", vocabulary.ORDERED),
        ("ps_acr_n", "ps_next", PAIRS),
        ("ps_acr_f", "ps_fext", PAIRS),
    ):
        if not look.curves.mask("parameter", parameter).any():
            continue
        for end in vocabulary.ENDS:
            for pairing in pairings:
                parts = [(of, end, _named(of, pairing)), ("insertion_loss", "", _losing(parameter, pairing))]
                said, short = _compare(look, parameter, end, pairing, parts, lambda m: m[0] - m[1])
                yield from _report(look, said, limits["db"])
                # power sums of ACR are there without their power sum of crosstalk as a rule: no blind spot of this one
                lacking.append(short if parameter in ("acr_n", "acr_f", "elfext") else short[:0])
    yield NotLooked(_union(lacking), "crosstalk or insertion loss is not there to compare with")


def _named(of: str, pairing: str) -> str:
    """NEXT is symmetric and named with the lower pair first."""
    return "/".join(sorted(pairing.split("/"), key=PAIRS.index)) if of == "next" else pairing


def _losing(parameter: str, pairing: str) -> str:
    """The pair whose insertion loss counts: the disturbed one; for ELFEXT the disturbing one."""
    return pairing.split("/")[0 if parameter == "elfext" else -1]


def _union(rows: list[Any]) -> Any:
    return np.unique(np.concatenate(rows)) if rows else np.zeros(0, dtype=np.int64)


@rule("crosstalk-not-reciprocal")
def crosstalk_not_reciprocal(look: Look, limits: Tolerances) -> Iterator[Said]:
    """FEXT i to j seen at one end against j to i at the other, at every eighth point: the median difference."""
    if not look.curves.mask("parameter", "fext").any():
        return
    found = index(look)
    for pairing in vocabulary.ORDERED:
        turned = "/".join(reversed(pairing.split("/")))
        rows = np.stack([found.at("fext", "local", pairing), found.at("fext", "remote", turned)], axis=1)
        for part, (here, there) in _together(look, rows[(rows >= 0).all(axis=1)]):
            off = _median(np.abs(here[:, ::8] - there[:, ::8]))
            bad = off > limits["db"]
            if bad.any():
                at = part[bad, 0]
                yield Raised(
                    look.curves.rows[at], where=look.curves.places(at), found=[f"{v:.1f} dB" for v in off[bad]]
                )


def _median(values: Any) -> Any:
    """Median of each row; missing points do not count."""
    middle = values.shape[1] // 2
    out = np.partition(values, middle, axis=1)[:, middle]
    holes = np.isnan(values).any(axis=1)
    if holes.any():
        out[holes] = np.nanmedian(values[holes], axis=1)
    return out


@rule("insertion-loss-differs-by-end")
def insertion_loss_differs_by_end(look: Look, limits: Tolerances) -> Iterator[Said]:
    """Insertion loss that is given from both ends."""
    if not look.curves.mask("end", "remote")[look.curves.of("insertion_loss")].any():
        return
    found = index(look)
    for pair in PAIRS:
        rows = np.stack([found.at("insertion_loss", end, pair) for end in vocabulary.ENDS], axis=1)
        for part, (here, there) in _together(look, rows[(rows >= 0).all(axis=1)]):
            off = np.fmax.reduce(np.abs(here - there), axis=1)
            bad = off > limits["db"]
            if bad.any():
                rows_bad = look.curves.rows[part[bad, 0]]
                yield Raised(rows_bad, where=f"pair {pair}", found=[f"{v:.2f} dB" for v in off[bad]])
