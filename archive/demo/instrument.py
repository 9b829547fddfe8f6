"""What the invented instrument says of a link: worst margins, worst values, verdicts, from the numbers it stores."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from archive import limits
from archive.demo import cables
from archive.demo.scalars import KINDS
from archive.errors import Trouble
from archive.limits import Limit
from archive.vocabulary import COMBINATIONS, ENDS, ORDERED, PAIRS

PARAMETERS = ("insertion_loss", "return_loss", "next", "ps_next", "acr_f", "ps_acr_f")
"""Parameters with curves that the instrument judges."""
SCALARS = ("propagation_delay", "delay_skew", "loop_resistance")
"""Parameters of one number per pair that it judges."""
_LOG = np.float32(np.log(10) / 10)
_NEXT_OF = np.array([[i for i, c in enumerate(COMBINATIONS) if p in c.split("/")] for p in PAIRS])
_FEXT_TO = np.array([[i for i, c in enumerate(ORDERED) if c.split("/")[1] == p] for p in PAIRS])
_VICTIM = np.array([PAIRS.index(c.split("/")[1]) for c in ORDERED])


def subjects(parameter: str) -> tuple[tuple[str | None, str], ...]:
    """End and pairing of the curves of a parameter, in the order of the rows below."""
    if parameter == "insertion_loss":
        return tuple((None, p) for p in PAIRS)
    names = {"next": COMBINATIONS, "acr_f": ORDERED}.get(parameter, PAIRS)
    return tuple((e, p) for e in ENDS for p in names)


@dataclass(frozen=True)
class SimulatedWorst:
    """One kind of worst case of one parameter over n tests. Arrays (n,): row of `subjects`, point of the grid, value,
    limit and margin (unrounded); verdict follows from the sign of the margin."""

    parameter: str
    kind: str
    row: Any
    point: Any
    value: Any
    limit: Any
    margin: Any

    def take(self, rows: Any) -> SimulatedWorst:
        """Some of the tests."""
        parts = (x[rows] for x in (self.row, self.point, self.value, self.limit, self.margin))
        return SimulatedWorst(self.parameter, self.kind, *parts)


class Judge:
    """A limit on a grid."""

    def __init__(self, limit: Limit, f: Any) -> None:
        self.limit, self.f = limit, f
        self.lines: dict[str, Any] = {}
        for name in PARAMETERS:
            line = limit.line(name)
            if line is not None:
                at = line.at(f)
                self.lines[name] = np.where(np.isnan(at), np.inf if line.sense == "max" else -np.inf, at)

    def levels(self, values: Any) -> dict[str, Any]:
        """Curves of each parameter, float32 (n, rows, F), from the 48 measured ones (n, 48, F)."""
        x = values.astype(np.float32)
        loss, near, far = x[:, :4], x[:, 12:24], x[:, 24:48]
        n, points = len(x), x.shape[2]
        power = np.exp(near * -_LOG).reshape(n, 2, 6, points)
        ps_next = np.log(sum(power[:, :, _NEXT_OF[:, i]] for i in range(3))) / -_LOG
        power = np.exp(far * -_LOG).reshape(n, 2, 12, points)
        ps_far = np.log(sum(power[:, :, _FEXT_TO[:, i]] for i in range(3))) / -_LOG
        return {
            "insertion_loss": loss,
            "return_loss": x[:, 4:12],
            "next": near,
            "ps_next": ps_next.reshape(n, 8, points),
            "acr_f": far - np.concatenate([loss[:, _VICTIM]] * 2, axis=1),
            "ps_acr_f": (ps_far - loss[:, None]).reshape(n, 8, points),
        }

    def margins(self, parameter: str, levels: dict[str, Any]) -> Any:
        """Margins, float32 (n, rows, F); infinite where the limit does not speak or the point is for information."""
        line, level = self.limit.line(parameter), levels[parameter]
        assert line is not None
        at = self.lines[parameter].astype(np.float32)
        out = at - level if line.sense == "max" else level - at
        for word, value in line.informational.items():
            if word == "il_below":
                out[self._loss_of(parameter, levels["insertion_loss"]) < value] = np.inf
            if word in ("fext_above", "ps_fext_above"):
                out[level + self._loss_of(parameter, levels["insertion_loss"]) > value] = np.inf
        return out

    @staticmethod
    def _loss_of(parameter: str, loss: Any) -> Any:
        """Insertion loss that belongs to each row: of the pair, of the disturbed pair, or the larger of two pairs."""
        if parameter == "next":
            pairs = [[PAIRS.index(p) for p in c.split("/")] for c in COMBINATIONS]
            one = np.stack([np.maximum(loss[:, a], loss[:, b]) for a, b in pairs], axis=1)
        elif parameter == "acr_f":
            one = loss[:, _VICTIM]
        else:
            one = loss
        return one if parameter == "insertion_loss" else np.concatenate([one, one], axis=1)

    def curve_margins(self, values: Any) -> dict[str, Any]:
        """Worst margin of every curve, float32 (n, rows) by parameter."""
        levels = self.levels(values)
        return {p: self.margins(p, levels).min(axis=2) for p in self.lines}

    def worst(self, values: Any) -> list[SimulatedWorst]:
        """Worst margin and worst value of every parameter, over all its curves; ties go to the lowest frequency."""
        levels = self.levels(values)
        out = []
        for name in self.lines:
            line = self.limit.line(name)
            assert line is not None
            margins = self.margins(name, levels)
            turned = -levels[name] if line.sense == "max" else levels[name]
            turned = np.where(np.isfinite(margins), turned, np.inf)
            for kind, field in (("worst_margin", margins), ("worst_value", turned)):
                row, point = np.divmod(field.reshape(len(field), -1).argmin(axis=1), field.shape[2])
                value = self._exact(name, values, row, point)
                at = self.lines[name][point]
                margin = at - value if line.sense == "max" else value - at
                # where every point is for information only there is nothing to report
                margin = np.where(np.isfinite(margins.min(axis=(1, 2))), margin, np.inf)
                out.append(SimulatedWorst(name, kind, row, point, value, at, margin))
        return out

    def _exact(self, parameter: str, values: Any, row: Any, point: Any) -> Any:
        """Values of one point of each test in full precision, (n,)."""
        n = np.arange(len(row))
        first = {"insertion_loss": 0, "return_loss": 4, "next": 12}
        if parameter in first:
            return values[n, first[parameter] + row, point]
        if parameter == "acr_f":
            return values[n, 24 + row, point] - values[n, _VICTIM[row % 12], point]
        end, pair = np.divmod(row, 4)
        start, members, step = (12, _NEXT_OF, 6) if parameter == "ps_next" else (24, _FEXT_TO, 12)
        three = values[n[:, None], start + end[:, None] * step + members[pair], point[:, None]]
        total = -10 * np.log10(np.sum(10 ** (-three / 10), axis=1))
        return total if parameter == "ps_next" else total - values[n, pair, point]

    def scalars(self, readings: Any) -> list[SimulatedWorst]:
        """The worst pair for each limit of one number. readings: (n, KINDS)."""
        out = []
        n = np.arange(len(readings))
        for name in SCALARS:
            scalar = self.limit.scalars.get(name)
            columns = [i for i, kind in enumerate(KINDS) if kind.quantity == name]
            if scalar is None or scalar.per not in ("pair", "link"):
                continue
            row = readings[:, columns].argmax(axis=1)
            value = readings[n, np.array(columns)[row]]
            at = np.full(len(n), scalar.value)
            out.append(SimulatedWorst(name, "worst_margin", row, np.full(len(n), -1), value, at, at - value))
        return out


@cache
def judge(limit_id: str, category: str) -> Judge | None:
    """The judge of a limit; None where the library does not have it (the instrument then gives no verdict)."""
    try:
        limit = limits.get(limit_id)
    except Trouble:
        return None
    return Judge(limit, cables.grid(category)) if limit.established else None
