"""Which curves of a layout stand for a parameter: recomputed from their parts where those are there, else as given.

Definitions (TIA-568, ISO/IEC 11801; the two far-end terms: German standards body on EN 50288-1 Annex A, S32):

    PS x of pair j     power sum over the three pairs i that disturb it
    ACR-N of i/j       NEXT of i and j minus insertion loss of j, the disturbed pair
    ACR-F of i/j       FEXT of i/j minus insertion loss of j, the disturbed pair
    ELFEXT of i/j      FEXT of i/j minus insertion loss of i, the disturbing pair
    PS AACR-F of j     PS AFEXT of j minus insertion loss of j
    alien averages     mean of the four pairs' dB values at each frequency
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from archive import vocabulary
from archive.grading import expressions
from archive.grading.arithmetic import Ints
from archive.grading.coverage import SAME
from archive.grading.curves import PAIRINGS, RECOMPUTED, WHOLE_LINK, Curves, pairing_code
from archive.grading.expressions import CurveExpression, Grid
from archive.grading.layouts import Layout, Slots

PAIR = {name: code for code, name in enumerate(PAIRINGS) if name in vocabulary.PAIRS}


def pairs_of(pairing: int) -> tuple[int, int]:
    """Codes of the two pairs of a combination."""
    first, second = str(PAIRINGS[pairing]).split("/")
    return PAIR[first], PAIR[second]


class DerivationPlan:
    """How each parameter of one layout is come by. Frequencies outside low to high (MHz) are left out."""

    def __init__(self, curves: Curves, layout: Layout, low: float, high: float) -> None:
        self.curves, self.layout, self.low, self.high = curves, layout, low, high
        self._known: dict[str, list[CurveExpression]] = {}
        self._grids: dict[tuple[int, ...], Grid] = {}
        self._expressions: dict[tuple[str, tuple[int, ...]], CurveExpression | None] = {}

    # What the export gives

    def grid(self, codes: Ints) -> Grid:
        """The points that some axes share."""
        key = tuple(sorted({int(c) for c in codes}))
        if key not in self._grids:
            self._grids[key] = self._grid(key)
        return self._grids[key]

    def _grid(self, key: tuple[int, ...]) -> Grid:
        axes = [self.curves.axes[code].frequencies for code in key]
        shared = axes[0]
        for other in axes[1:]:
            shared = np.intersect1d(shared, other, assume_unique=True)
        inside = slice(*np.searchsorted(shared, (self.low * (1 - SAME), self.high * (1 + SAME))))
        frequencies = shared[inside]
        if len(key) == 1:
            return Grid(frequencies, {key[0]: int(inside.start)})
        return Grid(frequencies, {c: np.searchsorted(a, frequencies) for c, a in zip(key, axes, strict=True)})

    def slots(self, parameter: str) -> Slots | None:
        """Slots of a parameter as the export gives it."""
        return self.layout.slots.get(parameter)

    def axes(self, *parameters: str) -> tuple[int, ...]:
        """Axes on which some parameters lie."""
        found = [self.slots(p) for p in parameters]
        return tuple(sorted({int(code) for s in found if s is not None for code in s.axes}))

    def on_shared_points(self, parameter: str, axes: tuple[int, ...]) -> CurveExpression | None:
        """A parameter as the export gives it, at the points that some axes share."""
        key = (parameter, axes)
        if key not in self._expressions:
            slots = self.slots(parameter)
            if parameter == "insertion_loss" and slots is not None:
                slots = _one_per_pair(slots)
            fresh = parameter.endswith(RECOMPUTED)
            expression = (
                None
                if slots is None
                else expressions.source_curves(self.curves, slots, self.grid(np.array(axes)), fresh)
            )
            self._expressions[key] = expression
        return self._expressions[key]

    def as_exported(self, parameter: str, informational: set[tuple[int, int]] | None = None) -> list[CurveExpression]:
        """A parameter as the export gives it, each axis by itself; without some (end, pairing)."""
        slots = self.slots(parameter)
        if slots is None:
            return []
        keep = np.array([pair not in (informational or set()) for pair in _names(slots)], np.bool_)
        slots = slots.take(keep)
        found = []
        for code in np.unique(slots.axes):
            part = slots.take(slots.axes == code)
            whole = self.on_shared_points(parameter, (int(code),)) if parameter != "insertion_loss" else None
            if whole is None or len(whole) != len(part):
                whole = expressions.source_curves(
                    self.curves, part, self.grid(part.axes), parameter.endswith(RECOMPUTED)
                )
            found.append(whole)
        return found

    # What is recomputed

    def curves_for(self, parameter: str) -> list[CurveExpression]:
        """Nodes that together stand for a parameter: recomputed where the parts are there, else as given."""
        if parameter not in self._known:
            derived = self.recomputed(parameter)
            there = {pair for expression in derived for pair in _names(expression)}
            self._known[parameter] = [*derived, *self.as_exported(parameter, there)]
        return self._known[parameter]

    def recomputed(self, parameter: str) -> list[CurveExpression]:
        """The part of best that is recomputed from other curves."""
        recipe = _RECIPES.get(parameter)
        if recipe is None or self.layout.duplicate:
            return []
        return [expression for expression in recipe(self) if len(expression) and len(expression.grid.frequencies)]

    def _joint(self, parameter: str, *others: str) -> list[CurveExpression]:
        """best of a parameter; where its curves and those of others lie on several axes, at the points all share."""
        found = self.curves_for(parameter)
        derived = [expression for expression in found if expression.derived]
        axes = self.axes(parameter, *others)
        if len(derived) == len(found) or len(axes) == 1:
            return found
        whole = self.on_shared_points(parameter, axes)
        if whole is None or not len(whole.grid.frequencies):
            return found
        there = {name for expression in derived for name in _names(expression)}
        return [
            *derived,
            expressions.selected(whole, np.array([i for i, n in enumerate(_names(whole)) if n not in there])),
        ]

    def loss(self, grid: Grid) -> CurveExpression | None:
        """Insertion loss at the points of a grid: one curve per pair."""
        slots = self.slots("insertion_loss")
        if slots is None:
            return None
        axes = tuple(sorted({int(code) for code in _one_per_pair(slots).axes}))
        if axes == tuple(grid.columns):
            return self.on_shared_points("insertion_loss", axes)
        merged = tuple(sorted({*axes, *grid.columns}))
        expression = self.on_shared_points("insertion_loss", merged)
        return (
            expression
            if expression is not None and np.array_equal(expression.grid.frequencies, grid.frequencies)
            else None
        )

    def power_sums(self, parameter: str, *also: str) -> list[CurveExpression]:
        """Power sums of a pair-to-pair parameter, for every end and pair with all three disturbers."""
        per = vocabulary.parameter(parameter).per
        found: list[CurveExpression] = []
        for expression in self._joint(parameter, *also):
            ends, pairs, members = [], [], []
            for end in np.unique(expression.ends):
                for pair in PAIR.values():
                    names = [f"{PAIRINGS[i]}/{PAIRINGS[pair]}" for i in PAIR.values() if i != pair]
                    places = [_place(expression, int(end), pairing_code(name, per)) for name in names]
                    if min(places) >= 0:
                        ends.append(int(end))
                        pairs.append(pair)
                        members.append(places)
            if members:
                found.append(expressions.power_sums(expression, np.array(ends), np.array(pairs), np.array(members)))
        return found

    def minus_loss(self, parameter: str, which: int, sign: int = -1) -> list[CurveExpression]:
        """A parameter minus (or plus) the insertion loss of the disturbing (0) or the disturbed (1) pair."""
        found: list[CurveExpression] = []
        for expression in self._joint(parameter, "insertion_loss"):
            loss = self.loss(expression.grid)
            if loss is None:
                continue
            pairs = [pairs_of(int(p))[which] if PAIRINGS[p] not in PAIR else int(p) for p in expression.pairings]
            places = np.array([_pair_place(loss, pair) for pair in pairs], np.int64)
            if (there := np.flatnonzero(places >= 0)).size:
                found.append(expressions.combined(expression, there, loss, places[there], sign))
        return found

    def acr_n(self) -> list[CurveExpression]:
        """ACR-N: every combination of NEXT serves twice, once for each of its pairs as the disturbed one."""
        found: list[CurveExpression] = []
        for expression in self._joint("next", "insertion_loss"):
            loss = self.loss(expression.grid)
            if loss is None:
                continue
            curve, pair, name = [], [], []
            for k, code in enumerate(expression.pairings):
                first, second = pairs_of(int(code))
                for disturbing, disturbed in ((first, second), (second, first)):
                    place = _pair_place(loss, disturbed)
                    if place >= 0:
                        curve.append(k)
                        pair.append(place)
                        name.append(pairing_code(f"{PAIRINGS[disturbing]}/{PAIRINGS[disturbed]}", "ordered"))
            if curve:
                found.append(
                    expressions.combined(expression, np.array(curve), loss, np.array(pair), -1, np.array(name))
                )
        return found

    def fext(self) -> list[CurveExpression]:
        """FEXT where the export has only one of the two quantities that are made of it."""
        if self.slots("fext") is not None:
            return []
        return self.minus_loss("acr_f", 1, +1) if self.slots("acr_f") else self.minus_loss("elfext", 0, +1)

    def far_end_ratio(self, wanted: int, other: str, shift: int) -> list[CurveExpression]:
        """ACR-F (wanted 1) or ELFEXT (wanted 0): from FEXT, else from the other of the two.

        other: that other parameter; shift: the pair whose loss turns it back into FEXT.
        """
        if self.slots("fext") is not None:
            return self.minus_loss("fext", wanted)
        if self.slots("elfext" if wanted else "acr_f") is None or self.slots("acr_f" if wanted else "elfext"):
            return []
        back: list[CurveExpression] = []
        for expression in self.minus_loss(other, shift, +1):
            loss = self.loss(expression.grid)
            if loss is not None:
                places = np.array([_pair_place(loss, pairs_of(int(p))[wanted]) for p in expression.pairings])
                there = np.flatnonzero(places >= 0)
                back.append(expressions.combined(expression, there, loss, places[there]))
        return back

    def average(self, parameter: str) -> list[CurveExpression]:
        """Mean over the four pairs, per end."""
        found: list[CurveExpression] = []
        for expression in self.curves_for(parameter):
            ends, members = [], []
            for end in np.unique(expression.ends):
                places = [_place(expression, int(end), pair) for pair in PAIR.values()]
                if min(places) >= 0:
                    ends.append(int(end))
                    members.append(places)
            if members:
                link = np.full(len(ends), WHOLE_LINK)
                found.append(expressions.power_sums(expression, np.array(ends), link, np.array(members), average=True))
        return found


_RECIPES: dict[str, Callable[[DerivationPlan], list[CurveExpression]]] = {
    "ps_next": lambda plan: plan.power_sums("next"),
    "acr_n": lambda plan: plan.acr_n(),
    "ps_acr_n": lambda plan: plan.minus_loss("ps_next", 1),
    "acr_f": lambda plan: plan.far_end_ratio(1, "elfext", 0),
    "elfext": lambda plan: plan.far_end_ratio(0, "acr_f", 1),
    "fext": lambda plan: plan.fext(),
    "ps_fext": lambda plan: plan.power_sums("fext"),
    "ps_acr_f": lambda plan: plan.power_sums("acr_f") or plan.minus_loss("ps_fext", 1),
    "ps_elfext": lambda plan: plan.power_sums("elfext"),
    "ps_anext": lambda plan: plan.as_exported("ps_anext" + RECOMPUTED),
    "ps_afext": lambda plan: plan.as_exported("ps_afext" + RECOMPUTED),
    "ps_aacr_f": lambda plan: plan.minus_loss("ps_afext", 1) or plan.as_exported("ps_aacr_f" + RECOMPUTED),
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


def _names(part: Slots | CurveExpression) -> list[tuple[int, int]]:
    return list(zip(part.ends.tolist(), part.pairings.tolist(), strict=True))


def _place(expression: CurveExpression, end: int, pairing: int) -> int:
    found = np.flatnonzero((expression.ends == end) & (expression.pairings == pairing))
    return int(found[0]) if len(found) else -1


def _pair_place(loss: CurveExpression, pair: int) -> int:
    found = np.flatnonzero(loss.pairings == pair)
    return int(found[0]) if len(found) else -1
