"""Accuracy of instruments from a file of the user's. No accuracy is built in: none is established."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

import msgspec
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals
from archive.structs import Number, Positive, Text, convert, read_toml
from archive.tables import Batch
from archive.tables.arrow import rows_of

Half = Annotated[float, msgspec.Meta(ge=0, le=1e6)]


class OverFrequency(msgspec.Struct, forbid_unknown_fields=True):
    """Accuracies at frequencies, MHz, rising."""

    at_mhz: list[Number]
    values: list[Half] = msgspec.field(name="is")

    def __post_init__(self) -> None:
        if not 0 < len(self.at_mhz) == len(self.values) or any(a >= b for a, b in pairwise(self.at_mhz)):
            raise ValueError("frequencies that do not rise, or not as many numbers")


class AccuracyFile(msgspec.Struct, forbid_unknown_fields=True):
    """What stands in an accuracy file: see load."""

    source: Text
    accuracy: dict[str, Half | OverFrequency]
    coverage_factor: Positive | None = None
    decision: Literal["simple", "guarded"] = "simple"
    guard_band: Positive | None = None
    serials: list[Text] | None = None

    def __post_init__(self) -> None:
        for name in self.accuracy:
            if name not in vocabulary.parameters():
                raise ValueError(f"no such parameter: '{name}'")
        if (self.decision == "guarded") != (self.guard_band is not None):
            raise ValueError("a guarded decision needs its guard_band, and no other has one")


@dataclass(frozen=True)
class Accuracy:
    """Accuracy by parameter: frequencies in MHz (empty: one number) and values in the parameter's unit.

    basis: what the verdict says of it. Between frequencies it runs in a straight line; beyond them the last holds.
    coverage_factor: k, where the values are expanded uncertainties. guard_band: in multiples of the values, by which a
    margin has to be larger to be accepted; 0 for simple acceptance. serials: of the units that it speaks of; empty: of
    any unit.
    """

    by_parameter: dict[str, tuple[Reals, Reals]]
    basis: str
    coverage_factor: float | None = None
    guard_band: float = 0.0
    serials: frozenset[str] = frozenset()

    def speaks_of(self, batch: Batch) -> Bools:
        """A flag per record: every unit that it names is one of these, and it names one."""
        if not self.serials:
            return np.ones(len(batch), np.bool_)
        units = batch["instruments"]
        listed = pa.array(sorted(self.serials), pa.string())
        known = units.column("instrument_id").filter(pc.is_in(units.column("serial"), value_set=listed))
        out, named = np.ones(len(batch), np.bool_), np.zeros(len(batch), np.bool_)
        for end in ("local_instrument_id", "remote_instrument_id"):
            ids = batch["records"].column(end)
            there = np.asarray(ids.is_valid())
            out &= ~there | (rows_of(ids, known) >= 0)
            named |= there
        return out & named

    def at(self, parameter: Ints, names: list[str], frequency: Reals) -> Reals:
        """Accuracy of points. parameter: places in names; NaN where the file says nothing."""
        out = np.full(frequency.shape, np.nan)
        for place, name in enumerate(names):
            known = self.by_parameter.get(name)
            if known is not None:
                mine = parameter == place
                f = np.where(np.isnan(frequency[mine]), 0.0, frequency[mine])
                out[mine] = np.interp(f, *known) if len(known[0]) else known[1][0]
        return out


def load(path: Path | str) -> Accuracy:
    """Reads an accuracy file.

        source = "certificate of unit 40-00317, page 2"
        coverage_factor = 2             # optional: k of expanded uncertainties; without it no probability is stated
        decision = "guarded"            # optional: accept only margins larger than the guard band
        guard_band = 1.0                # in multiples of the accuracy
        serials = ["40-00317"]          # optional: only of tests whose units are all among these
        [accuracy]
        propagation_delay = 5
        next = { at_mhz = [1, 100, 500], is = [1.2, 1.8, 3.5] }

    Errors: Trouble for a file that cannot be read, an unknown parameter, or lists that do not match.
    """
    path = Path(path)
    table = read_toml(path, code="accuracy.file")
    file = convert(table, AccuracyFile, str(path), code="accuracy.declaration")
    by_parameter = {
        name: (np.array(value.at_mhz), np.array(value.values))
        if isinstance(value, OverFrequency)
        else (np.zeros(0), np.array([value]))
        for name, value in file.accuracy.items()
    }
    basis = f"accuracy by {path.name}: {file.source.strip()}"
    return Accuracy(by_parameter, basis, file.coverage_factor, file.guard_band or 0.0, frozenset(file.serials or ()))
