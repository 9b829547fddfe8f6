"""Which curves of a layout represent a parameter: recomputed from their parts where those are there, else as exported.

Definitions (TIA-568, ISO/IEC 11801; the two far-end terms: German standards body on EN 50288-1 Annex A, S32):

    PS x of pair j     power sum over the three pairs i that disturb it
    ACR-N of i/j       NEXT of i and j minus insertion loss of j, the disturbed pair
    ACR-F of i/j       FEXT of i/j minus insertion loss of j, the disturbed pair
    ELFEXT of i/j      FEXT of i/j minus insertion loss of i, the disturbing pair
    PS AACR-F of j     PS AFEXT of j minus insertion loss of j
    alien averages     mean of the four pairs' dB values at each frequency
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from functools import cache

import numpy as np

from archive import vocabulary
from archive.grading import expressions
from archive.grading.arithmetic import Ints
from archive.grading.coverage import SAME
from archive.grading.expressions import CurveExpression, Grid, find, names
from archive.grading.layouts import Layout, Slots
from archive.grading.sweep_arrays import PAIRINGS, PARTIAL, RECOMPUTED, WHOLE_LINK, SweepArrays, pairing_code

PAIR = {name: code for code, name in enumerate(PAIRINGS) if name in vocabulary.PAIRS}
DISTURBING, DISTURBED = 0, 1


@cache
def pairs_of(pairing: int) -> tuple[int, ...]:
    """Codes of the two pairs of a combination, or of the one pair."""
    return tuple(PAIR[name] for name in str(PAIRINGS[pairing]).split("/"))


class DerivationPlan:
    """How each parameter of one layout is obtained. Only frequencies from low to high (MHz) are looked at."""

    def __init__(self, curves: SweepArrays, layout: Layout, low: float, high: float) -> None:
        self.curves, self.layout, self.low, self.high = curves, layout, low, high
        self._known: dict[str, list[CurveExpression]] = {}
        self._grids: dict[tuple[int, ...], Grid] = {}
        self._expressions: dict[tuple[str, tuple[int, ...]], CurveExpression | None] = {}

    # What the export gives

    def grid(self, codes: Ints | tuple[int, ...]) -> Grid:
        """The points that some axes share."""
        key = tuple(sorted({int(c) for c in codes}))
        if key not in self._grids:
            self._grids[key] = self._grid(key)
        return self._grids[key]

    def _grid(self, key: tuple[int, ...]) -> Grid:
        axes = [self.curves.axes[code] for code in key]
        shared = axes[0]
        for other in axes[1:]:
            shared = np.intersect1d(shared, other, assume_unique=True)
        inside = slice(*np.searchsorted(shared, (self.low * (1 - SAME), self.high * (1 + SAME))))
        frequencies = shared[inside]
        if len(key) == 1:
            return Grid(frequencies, {key[0]: int(inside.start)})
        columns: dict[int, int | Ints] = {c: np.searchsorted(a, frequencies) for c, a in zip(key, axes, strict=True)}
        return Grid(frequencies, columns, tuple(axes))

    def slots(self, parameter: str) -> Slots | None:
        """Slots of a parameter as the export gives it."""
        return self.layout.slots.get(parameter)

    def axes(self, *parameters: str) -> tuple[int, ...]:
        """Axes of some parameters."""
        found = [self.slots(p) for p in parameters]
        return tuple(sorted({int(code) for s in found if s is not None for code in s.axes}))

    def on_shared_points(self, parameter: str, axes: tuple[int, ...]) -> CurveExpression | None:
        """A parameter as the export gives it, at the points that some axes share."""
        key = (parameter, axes)
        if key not in self._expressions:
            slots = self.slots(parameter)
            if parameter == "insertion_loss" and slots is not None:
                slots = _one_per_pair(slots)
            self._expressions[key] = None if slots is None else self._source(parameter, slots, self.grid(axes))
        return self._expressions[key]

    def _source(self, parameter: str, slots: Slots, grid: Grid) -> CurveExpression:
        return expressions.source_curves(self.curves, slots, grid, derived=parameter.endswith((RECOMPUTED, PARTIAL)))

    def as_exported(self, parameter: str, without: Collection[tuple[int, int]] = ()) -> list[CurveExpression]:
        """A parameter as the export gives it, one expression per axis; without some (end, pairing)."""
        slots = self.slots(parameter)
        if slots is None:
            return []
        slots = slots.take(np.array([name not in without for name in names(slots)], np.bool_))
        found = []
        for code in np.unique(slots.axes):
            part = slots.take(slots.axes == code)
            whole = self.on_shared_points(parameter, (int(code),)) if parameter != "insertion_loss" else None
            if whole is None or len(whole) != len(part):
                whole = self._source(parameter, part, self.grid(part.axes))
            found.append(whole)
        return found

    # What is recomputed

    def curves_for(self, parameter: str) -> list[CurveExpression]:
        """Expressions that together represent a parameter: recomputed where the parts are there, else as exported."""
        if parameter not in self._known:
            derived = self.recomputed(parameter)
            there = {name for expression in derived for name in names(expression)}
            self._known[parameter] = [*derived, *self.as_exported(parameter, there)]
        return self._known[parameter]

    def recomputed(self, parameter: str) -> list[CurveExpression]:
        """Those of curves_for that are recomputed from other curves."""
        recipe = _RECIPES.get(parameter)
        if recipe is None or self.layout.duplicate:
            return []
        return [found for found in recipe(self) if len(found) and len(found.grid.frequencies)]

    def _joint(self, parameter: str, *others: str) -> list[CurveExpression]:
        """curves_for a parameter; where its curves and those of others have several axes, at the points all share."""
        found = self.curves_for(parameter)
        derived = [expression for expression in found if expression.derived]
        axes = self.axes(parameter, *others)
        if len(derived) == len(found) or len(axes) == 1:
            return found
        whole = self.on_shared_points(parameter, axes)
        if whole is None or not len(whole.grid.frequencies):
            return found
        there = {name for expression in derived for name in names(expression)}
        rest = np.array([i for i, name in enumerate(names(whole)) if name not in there], np.int64)
        return [*derived, expressions.selected(whole, rest)]

    def loss(self, grid: Grid | None = None) -> CurveExpression | None:
        """Insertion loss, one curve per pair, at the points of a grid (or at its own); None where it has not all."""
        slots = self.slots("insertion_loss")
        if slots is None:
            return None
        axes = {int(code) for code in _one_per_pair(slots).axes}
        merged = axes if grid is None else axes | set(grid.columns)
        found = self.on_shared_points("insertion_loss", tuple(sorted(merged)))
        same = grid is None or (found is not None and np.array_equal(found.grid.frequencies, grid.frequencies))
        return found if same else None

    def _beside_loss(self, source: CurveExpression) -> tuple[CurveExpression, CurveExpression] | None:
        """Curves and insertion loss at the points that both have; None where there are none."""
        loss = self.loss(source.grid)
        if loss is not None:
            return source, loss
        loss = self.loss()
        shared = np.intersect1d(source.grid.frequencies, [] if loss is None else loss.grid.frequencies)
        if loss is None or not len(shared):
            return None
        grid = Grid(shared, {}, (source.grid.frequencies, loss.grid.frequencies))
        return expressions.at_points(source, grid), expressions.at_points(loss, grid)

    def partial(self, parameter: str) -> list[CurveExpression]:
        """Alien power sums of some of the disturbers, at points that not all have: only a fail of them counts."""
        found = self.as_exported(parameter + PARTIAL)
        return found + (self.minus_loss("ps_afext" + PARTIAL, DISTURBED) if parameter == "ps_aacr_f" else [])

    def power_sums(self, parameter: str) -> list[CurveExpression]:
        """Power sums of a pair-to-pair parameter, for every end and pair with all three disturbers."""
        per = vocabulary.parameter(parameter).per
        disturbers = {
            pair: [pairing_code(f"{PAIRINGS[i]}/{PAIRINGS[pair]}", per) for i in PAIR.values() if i != pair]
            for pair in PAIR.values()
        }
        return list(_sums(self._joint(parameter), disturbers, average=False))

    def average(self, parameter: str) -> list[CurveExpression]:
        """Mean over the four pairs, per end."""
        return list(_sums(self.curves_for(parameter), {WHOLE_LINK: list(PAIR.values())}, average=True))

    def with_loss(self, sources: list[CurveExpression], pair: int, sign: int = -1) -> list[CurveExpression]:
        """Curves minus (or plus) the insertion loss of their DISTURBING or DISTURBED pair."""
        return list(self._with_loss(sources, lambda code: [(pairs_of(code)[pair % len(pairs_of(code))], code)], sign))

    def minus_loss(self, parameter: str, pair: int, sign: int = -1) -> list[CurveExpression]:
        """A parameter minus (or plus) insertion loss, as with_loss."""
        return self.with_loss(self._joint(parameter, "insertion_loss"), pair, sign)

    def acr_n(self) -> list[CurveExpression]:
        """ACR-N: every combination of NEXT serves twice, once for each of its pairs as the disturbed one."""

        def both(code: int) -> list[tuple[int, int]]:
            one, two = pairs_of(code)
            ordered = ((one, two), (two, one))
            return [(b, pairing_code(f"{PAIRINGS[a]}/{PAIRINGS[b]}", "ordered")) for a, b in ordered]

        return list(self._with_loss(self._joint("next", "insertion_loss"), both, -1))

    def _with_loss(
        self, sources: list[CurveExpression], pairs: Callable[[int], list[tuple[int, int]]], sign: int
    ) -> Iterator[CurveExpression]:
        """pairs: for the pairing of a curve, the pair whose loss is combined with it and the pairing that results."""
        for source in sources:
            both = self._beside_loss(source)
            if both is None:
                continue
            source, loss = both
            wanted = [
                (k, find(loss, pair), name)
                for k, code in enumerate(source.pairings.tolist())
                for pair, name in pairs(code)
            ]
            there = np.array([entry for entry in wanted if entry[1] >= 0], np.int64)
            if len(there):
                curves, losses, pairings = there.T
                yield expressions.combined(source, curves, loss, losses, sign, pairings)

    def fext(self) -> list[CurveExpression]:
        """FEXT where the export has only one of the two quantities that are made of it."""
        if self.slots("fext") is not None:
            return []
        known, pair = ("acr_f", DISTURBED) if self.slots("acr_f") else ("elfext", DISTURBING)
        return self.minus_loss(known, pair, +1)

    def far_end_ratio(self, wanted: str, pair: int, other: str) -> list[CurveExpression]:
        """ACR-F or ELFEXT from FEXT, else from the other of the two. pair: whose loss is subtracted from FEXT."""
        if self.slots("fext") is not None:
            return self.minus_loss("fext", pair)
        if self.slots(other) is None or self.slots(wanted):
            return []
        return self.with_loss(self.minus_loss(other, 1 - pair, +1), pair)


def _sums(sources: list[CurveExpression], wanted: dict[int, list[int]], average: bool) -> Iterator[CurveExpression]:
    """Sums (or means) per end. wanted: by resulting pairing, the pairings that must all be there."""
    for source in sources:
        found = [
            (end, pairing, places)
            for end in np.unique(source.ends).tolist()
            for pairing, parts in wanted.items()
            if min(places := [find(source, part, end) for part in parts]) >= 0
        ]
        if found:
            ends, pairings, members = (np.array(column) for column in zip(*found, strict=True))
            yield expressions.power_sums(source, ends, pairings, members, average)


_RECIPES: dict[str, Callable[[DerivationPlan], list[CurveExpression]]] = {
    "ps_next": lambda plan: plan.power_sums("next"),
    "acr_n": lambda plan: plan.acr_n(),
    "ps_acr_n": lambda plan: plan.minus_loss("ps_next", DISTURBED),
    "acr_f": lambda plan: plan.far_end_ratio("acr_f", DISTURBED, "elfext"),
    "elfext": lambda plan: plan.far_end_ratio("elfext", DISTURBING, "acr_f"),
    "fext": lambda plan: plan.fext(),
    "ps_fext": lambda plan: plan.power_sums("fext"),
    "ps_acr_f": lambda plan: plan.power_sums("acr_f") or plan.minus_loss("ps_fext", DISTURBED),
    "ps_elfext": lambda plan: plan.power_sums("elfext"),
    "ps_anext": lambda plan: plan.as_exported("ps_anext" + RECOMPUTED),
    "ps_afext": lambda plan: plan.as_exported("ps_afext" + RECOMPUTED),
    "ps_aacr_f": lambda plan: plan.minus_loss("ps_afext", DISTURBED) or plan.as_exported("ps_aacr_f" + RECOMPUTED),
    "ps_anext_average": lambda plan: plan.average("ps_anext"),
    "ps_aacr_f_average": lambda plan: plan.average("ps_aacr_f"),
}

DERIVED = tuple(_RECIPES)
"""Parameters that can be recomputed from others."""


def _one_per_pair(slots: Slots) -> Slots:
    """One insertion-loss curve per pair: it is reciprocal; without an end before the local, that before the remote."""
    order = np.argsort(np.array([2, 3, 1])[slots.ends], kind="stable")
    _, first = np.unique(slots.pairings[order], return_index=True)
    return slots.take(order[first])
