"""Which end, pairing, direction, wavelength, kind and origin the values of a field have."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.base import units
from archive.formats.base.numbers import TURNED, Change, of_unit
from archive.formats.mapping.build.keys import Keys
from archive.formats.mapping.model import Mapping, SourceField, SourceTable
from archive.tables.arrow import Reals

DERIVED = frozenset(
    p for p in vocabulary.parameters() if p.startswith(("ps_", "acr_", "aacr_", "elfext")) or p == "eltctl"
)
"""Quantities that an export derives from others."""


@dataclass(frozen=True)
class Qualifiers:
    """Each one text (wavelength: one number, nm) for all rows, or Arrow text (float64) with one per row, or None."""

    end: str | pa.Array | None
    pairing: str | pa.Array | None
    direction: str | pa.Array | None
    wavelength: float | pa.Array | None
    subject: str | pa.Array | None
    kind: str | pa.Array | None

    def taken(self, rows: pa.Array) -> Qualifiers:
        """Of some rows (Arrow integers)."""

        def pick(v: Any) -> Any:
            return v.take(rows) if isinstance(v, pa.Array) else v

        return Qualifiers(*(pick(getattr(self, n)) for n in Qualifiers.__dataclass_fields__))

    def columns(self) -> dict[str, Any]:
        """As columns of `sweeps` and `reported`."""
        pairing = self.pairing if self.pairing is not None else self.subject
        return {"end": self.end, "pairing": pairing, "direction": self.direction, "wavelength_nm": self.wavelength}


def qualifiers(f: SourceField, table: SourceTable, keys: Keys, parameter: str) -> Qualifiers:
    """What the field says, then what the table says, then what the row says."""
    ordered = bool(parameter) and vocabulary.parameter(parameter).per == "ordered"

    def stated(name: str) -> Any:
        own = getattr(f.to, name) or getattr(table.given, name)
        if own:
            return own
        return keys.words.get("ordered" if name == "pairing" and ordered else name)

    wavelength: str | float | pa.Array | None = f.to.wavelength or table.given.wavelength
    if wavelength:
        wavelength = float(wavelength)
    elif keys.wavelength is not None:
        wavelength = pa.array(keys.wavelength, from_pandas=True)
    return Qualifiers(
        stated("end"), stated("pairing"), stated("direction"), wavelength or None, stated("subject"), stated("kind")
    )


@dataclass(frozen=True)
class WrittenAs:
    """How the numbers of a field are written: of which parameter and origin ("" where none is named), in which unit,
    and whether their sign is turned."""

    field: SourceField
    parameter: str
    origin: str
    unit: units.Unit
    turned: bool

    @property
    def changes(self) -> set[Change]:
        """What converting does to its numbers."""
        unit = {of_unit(self.unit)} if self.unit.changes else set()
        return unit | ({TURNED} if self.turned else set())

    def ours(self, values: Reals) -> Reals:
        """Numbers of the field in the unit and with the sign of the tables."""
        converted: Reals = self.unit.ours(values)
        return (-1.0 if self.turned else 1.0) * converted + 0.0


def written_as(f: SourceField, mapping: Mapping, parameter: str) -> WrittenAs:
    """How a field writes numbers of a parameter. A unit of another dimension than the parameter's does not count."""
    own = vocabulary.parameter(parameter).unit
    named = units.find(f.unit) if f.unit else None
    unit = named if named and named.dimension == units.dimension(own) else units.for_parameter("", parameter)
    beside = {"row": f.to.name, "reported": f.to.column}.get(f.to.table, "")
    origin = f.to.origin or (beside if beside in ("limit", "margin") else "")
    # Losses may be written below zero; a margin below zero is a failure, and an uncertainty has no sign.
    turned = (
        own == "dB"
        and origin != "margin"
        and beside != "uncertainty"
        and (mapping.negative if f.negative is None else f.negative)
    )
    return WrittenAs(f, parameter, origin, unit, turned)


def origins(parameter: str, stated: str, keys: Keys, rows: pa.Array) -> str | pa.Array:
    """Origin of the values of some rows: as the field says, else as each row says, else by the parameter.

    rows: Arrow integers. One text, or Arrow text with one per row.
    """
    by_row = keys.words.get("origin")
    if stated or by_row is None:
        return origin_for(parameter, stated)
    found = by_row.take(rows)
    usual = origin_for(parameter)
    return pc.if_else(pc.equal(pc.fill_null(found, "measured"), "measured"), pa.scalar(usual), found)


def origin_for(parameter: str, stated: str = "") -> str:
    """Origin of a value: as stated, else derived for what exports derive, else measured."""
    return stated or ("derived" if parameter in DERIVED else "measured")
