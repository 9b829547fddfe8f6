"""Which end, pairing, direction, wavelength, kind and origin the values of a field have."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.mapping.build.keys import Keys
from archive.formats.mapping.model import Mapping, SourceField, SourceTable

DERIVED = frozenset(
    p for p in vocabulary.parameters() if p.startswith(("ps_", "acr_", "aacr_", "elfext")) or p == "eltctl"
)
"""Quantities that an export derives from others."""


@dataclass(frozen=True)
class Qualifiers:
    """Each one text for all rows, or Arrow text with one per row, or None."""

    end: Any
    pairing: Any
    direction: Any
    wavelength: Any
    subject: Any
    kind: Any

    def taken(self, rows: Any) -> Qualifiers:
        """Of some rows (Arrow integers)."""

        def pick(v: Any) -> Any:
            return v.take(rows) if isinstance(v, pa.Array) else v

        return Qualifiers(*(pick(getattr(self, n)) for n in Qualifiers.__dataclass_fields__))


def qualifiers(f: SourceField, table: SourceTable, keys: Keys, parameter: str) -> Qualifiers:
    """What the field says, then what the table says, then what the row says."""
    ordered = bool(parameter) and vocabulary.parameter(parameter).per == "ordered"

    def said(name: str) -> Any:
        own = getattr(f.to, name) or getattr(table.given, name)
        if own:
            return own
        return keys.words.get("ordered" if name == "pairing" and ordered else name)

    wavelength: Any = f.to.wavelength or table.given.wavelength
    if wavelength:
        wavelength = float(wavelength)
    elif keys.wavelength is not None:
        wavelength = pa.array(keys.wavelength, from_pandas=True)
    return Qualifiers(
        said("end"), said("pairing"), said("direction"), wavelength or None, said("subject"), said("kind")
    )


def turned(f: SourceField, mapping: Mapping, parameter: str, origin: str) -> bool:
    """Whether the sign of a field's numbers is turned: losses that are written below zero; never a margin."""
    if origin == "margin" or vocabulary.parameter(parameter).unit != "dB":
        return False
    return mapping.negative if f.negative is None else f.negative


def origins(parameter: str, said: str, keys: Keys, rows: Any) -> Any:
    """Origin of the values of some rows: as the field says, else as each row says, else by the parameter.

    rows: Arrow integers. One text, or Arrow text with one per row.
    """
    by_row = keys.words.get("origin")
    if said or by_row is None:
        return origin_for(parameter, said)
    found = by_row.take(rows)
    usual = origin_for(parameter)
    return pc.if_else(pc.equal(pc.fill_null(found, "measured"), "measured"), pa.scalar(usual), found)


def origin_for(parameter: str, said: str = "") -> str:
    """Origin of a value: as said, else derived for what exports derive, else measured."""
    return said or ("derived" if parameter in DERIVED else "measured")
