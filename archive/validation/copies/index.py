"""Pairs of records worth a closer look, without comparing all pairs.

Equal curves are found by sorting their hashes. Near ones by locality-sensitive hashing: each end of a record goes into
buckets by some of the signs of its sketch; records whose residuals agree share a bucket almost surely, others hardly
ever. Bits per bucket grow with the logarithm of the number of records, so that buckets stay small and the cost grows
about as n log n.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from archive.tables.arrow import Bools, Ints
from archive.validation.copies.residual import GROUPS
from archive.validation.copies.sketch import BANDS, BITS, SCALE, Bits, Sketches

FULLEST = 64
"""Members of a bucket compared with each other; a fuller one is sorted and compared within a window."""


def equal_curves(sketches: Sketches) -> tuple[Ints, Ints, Ints]:
    """Pairs of records with equal curves that are neither one link nor one test: a, b, number of slots of a that stand
    in b. In a group of many equal records each is paired with the first that is not its own link."""
    hashes = sketches.arrays.hashes
    record, slot = np.nonzero(hashes)
    order = np.argsort(hashes[record, slot], kind="stable")
    record, value = record[order], hashes[record, slot][order]
    first = np.flatnonzero(np.concatenate([[True], value[1:] != value[:-1]])) if len(value) else np.zeros(0, int)
    size = np.diff(np.append(first, len(value)))
    many = size > 1
    a, b = _star(record, first[many], size[many], sketches)
    if not len(a):
        return a, b, a
    low, high = np.minimum(a, b), np.maximum(a, b)
    pairs, count = np.unique(np.stack([low, high], axis=1), axis=0, return_counts=True)
    return pairs[:, 0], pairs[:, 1], count


def _star(record: Ints, first: Ints, size: Ints, sketches: Sketches) -> tuple[Ints, Ints]:
    """Each member of a run of equal hashes with the earliest member that is another link and another test."""
    two = first[size == 2]
    apart = ~sketches.who.same(record[two], record[two + 1])
    a_parts, b_parts = [record[two][apart]], [record[two + 1][apart]]
    for start, length in zip(first[size > 2], size[size > 2], strict=True):
        members = np.unique(record[start : start + length])
        for hub in members[:8]:
            others = members[members > hub]
            apart = others[~sketches.who.same(np.full(len(others), hub), others)]
            if len(apart):
                a_parts.append(np.full(len(apart), hub))
                b_parts.append(apart)
                break
    none = np.zeros(0, dtype=np.int64)
    return np.concatenate([none, *a_parts]), np.concatenate([none, *b_parts])


def bits_for(records: int) -> int:
    """Signs that name a bucket: 14 up to 20,000 records, one more for each doubling, at most 24."""
    return int(np.clip(14 + np.ceil(np.log2(max(records, 1) / 20_000)), 14, 24))


def near(sketches: Sketches, least: float, least_part: float, *, tables: int = 4) -> tuple[Ints, Ints, Bools]:
    """Pairs of records whose sketches agree: a, b, True where the ends are exchanged.

    least: estimated mean correlation over all segments that both have; least_part: over one parameter at one end.
    """
    found: list[Ints] = []
    for a, b in _buckets(sketches, bits_for(len(sketches)), tables):
        swapped = (a & 1) != (b & 1)
        left, right = a >> 1, b >> 1
        keep = left != right
        left, right, swapped = left[keep], right[keep], swapped[keep]
        turn = left > right
        left, right = np.where(turn, right, left), np.where(turn, left, right)
        close = _close(sketches, left, right, swapped, least, least_part)
        found.append(np.stack([left[close], right[close], swapped[close]], axis=1))
    if not found:
        return np.zeros(0, int), np.zeros(0, int), np.zeros(0, bool)
    pairs = np.unique(np.concatenate(found), axis=0)
    pairs = pairs[~sketches.who.same(pairs[:, 0], pairs[:, 1])] if len(pairs) else pairs
    return pairs[:, 0], pairs[:, 1], pairs[:, 2].astype(bool)


def _buckets(sketches: Sketches, bits: int, tables: int) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of units (2 * record + end) that share a bucket, table by table."""
    signs, there = sketches.arrays.signs, sketches.arrays.there.reshape(-1, len(GROUPS), len(BANDS))
    for parameter in range(len(GROUPS) // 2):
        local, remote = 2 * parameter, 2 * parameter + 1
        for band in range(len(BANDS)):
            # by the lowest band that a record has: of a coarse sweep the lower ones hold too few points
            has = there[:, :, band] & ~there[:, :, :band].any(axis=2)
            units = np.concatenate([2 * np.flatnonzero(has[:, g]) + e for e, g in ((0, local), (1, remote))])
            words = np.concatenate([signs[has[:, g], g, band] for g in (local, remote)])
            for table in range(tables):
                yield from _pairs(units, _key(words, table, bits))


def _key(words: Bits, table: int, bits: int) -> Bits:
    """Some of the 64 signs, mixed: those of a table lie at random places that are the same for all."""
    places = np.random.default_rng(table).permutation(BITS)[:bits]
    out = np.zeros(len(words), dtype=np.uint64)
    for i, place in enumerate(places):
        out |= ((words >> np.uint64(place)) & np.uint64(1)) << np.uint64(i)
    return out


def _pairs(units: Ints, keys: Bits) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of units with equal keys; in buckets that are too full only neighbours by number of unit."""
    order = np.argsort(keys, kind="stable")
    units, keys = units[order], keys[order]
    for ahead in range(1, FULLEST):
        same = keys[ahead:] == keys[:-ahead]
        if not same.any():
            return
        yield units[:-ahead][same], units[ahead:][same]


def _close(sketches: Sketches, a: Ints, b: Ints, swapped: Bools, least: float, least_part: float) -> Bools:
    """True for pairs whose sketches agree. The signs are asked first: they cost a tenth of the numbers."""
    if not len(a):
        return np.zeros(0, dtype=bool)
    turned = np.array([1, 0, 3, 2])
    signs_b = sketches.arrays.signs[b]
    there_a, there_b = (sketches.arrays.there[x].reshape(-1, len(GROUPS), len(BANDS)) for x in (a, b))
    signs_b[swapped], there_b[swapped] = signs_b[swapped][:, turned], there_b[swapped][:, turned]
    both = there_a & there_b
    differ = np.bitwise_count(sketches.arrays.signs[a] ^ signs_b) / BITS
    count = np.maximum(both.sum(axis=(1, 2)), 1)
    rough = np.cos(np.pi * np.sum(differ * both, axis=(1, 2)) / count)
    bands = np.maximum(both.sum(axis=2), 1)
    rough_part = np.cos(np.pi * np.sum(differ * both, axis=2) / bands) * both.any(axis=2)
    # room for the scatter of the estimate from so many signs
    maybe = (rough > least - 0.08 / np.sqrt(count / 4)) | (rough_part > least_part - 0.05).any(axis=1)
    out = np.zeros(len(a), dtype=bool)
    at = np.flatnonzero(maybe)
    for part in np.array_split(at, max(1, len(at) // 20_000)):
        out[part] = _agree(sketches, a[part], b[part], swapped[part], both[part], least, least_part)
    return out


def _agree(sketches: Sketches, a: Ints, b: Ints, swapped: Bools, both: Bools, least: float, least_part: float) -> Bools:
    """True for pairs whose numbers agree."""
    left = sketches.arrays.codes[a].reshape(-1, len(GROUPS), len(BANDS), BITS).astype(np.float32)
    right = sketches.arrays.codes[b].reshape(-1, len(GROUPS), len(BANDS), BITS).astype(np.float32)
    right[swapped] = right[swapped][:, np.array([1, 0, 3, 2])]
    product = np.einsum("pgbx,pgbx->pgb", left, right)
    norm = np.einsum("pgbx,pgbx->pgb", left, left) * np.einsum("pgbx,pgbx->pgb", right, right)
    r = np.where(both, product / np.sqrt(np.maximum(norm, SCALE)), 0.0)
    whole = r.sum(axis=(1, 2)) / np.maximum(both.sum(axis=(1, 2)), 1)
    parts = r.sum(axis=2) / np.maximum(both.sum(axis=2), 1)
    return np.asarray((whole >= least) | (parts >= least_part).any(axis=1))
