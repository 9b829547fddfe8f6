"""The keys of a port map, as structures; schemas/port-map.md explains each."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from archive import vocabulary
from archive.errors import Trouble
from archive.structs import convert

_CODE = "port-map.key"


class PortPlace(Struct, forbid_unknown_fields=True, frozen=True):
    """Where one end of the link is."""

    site: str = ""
    building: str = ""
    floor: str = ""
    space: str = ""
    panel: str = ""
    port: str = ""


class Analyser(Struct, forbid_unknown_fields=True, frozen=True):
    """The network analyser."""

    maker: str = ""
    model: str = ""
    serial: str = ""
    unit: str = ""
    software: str = ""
    calibrated_on: str = ""
    calibration_due: str = ""
    accuracy_level: str = ""
    adapter: str = ""


class EndPlaces(Struct, forbid_unknown_fields=True, frozen=True):
    """Where both ends are."""

    local: PortPlace = PortPlace()
    remote: PortPlace = PortPlace()


class PairKeys(Struct, forbid_unknown_fields=True, frozen=True):
    """Ports of one pair at both ends, counted from 1; a single number is a port that is differential already."""

    local: int | list[int]
    remote: int | list[int] = []


class PairsKeys(
    Struct, forbid_unknown_fields=True, frozen=True, rename=lambda name: name.removeprefix("pair_").replace("_", "-")
):
    """The pairs that were measured."""

    pair_1_2: PairKeys | None = None
    pair_3_6: PairKeys | None = None
    pair_4_5: PairKeys | None = None
    pair_7_8: PairKeys | None = None


class PortMapKeys(Struct, forbid_unknown_fields=True, frozen=True):
    """A port map, or one entry of the map of a folder laid over what holds for all."""

    link: str = ""
    job: str = ""
    tested_by: str = ""
    organisation: str = ""
    tested: Annotated[str, Meta(description="ISO 8601, or a date of TOML")] = ""
    zone: str = ""
    limit: str = ""
    configuration: str | None = None
    cable: str = ""
    cable_type: str = ""
    sequence: str = ""
    comment: str = ""
    length_m: Annotated[float, Meta(gt=0, le=1e5)] | None = None
    velocity_percent: Annotated[float, Meta(gt=0, le=100)] | None = None
    reference_ohm: Annotated[float, Meta(gt=0, le=1e6)] | None = None
    connections: Annotated[int, Meta(ge=0, le=100)] | None = None
    ignore_ports: list[int] = []
    pairs: PairsKeys = PairsKeys()
    ends: EndPlaces = EndPlaces()
    instrument: Analyser = Analyser()
    notes: dict[str, Any] = {}


class PortMapFile(PortMapKeys, forbid_unknown_fields=True, frozen=True):
    """A port map as a file: what holds for all, and an entry for each measurement of a folder."""

    files: dict[str, PortMapKeys] = {}


def checked(facts: Mapping[str, Any], where: str) -> PortMapKeys:
    """The keys of a map. Errors: Trouble for an unknown key or a value that cannot be."""
    remedy = "see the keys in schemas/port-map.md; facts that have no key of their own go under [notes]"
    keys = convert(_plain(facts, PortMapKeys), PortMapKeys, where, code=_CODE, remedy=remedy)
    words = vocabulary.words("configuration")
    if keys.configuration is not None and keys.configuration not in words:
        raise Trouble(
            "no such configuration",
            code="port-map.configuration",
            where=f"{where}, configuration",
            found=repr(keys.configuration),
            expected=", ".join(sorted(words)),
        )
    return keys


def _plain(table: Mapping[str, Any], kind: type[Struct]) -> dict[str, Any]:
    """The table with dates as ISO 8601, and with whole numbers as text where a text is expected."""
    out = dict(table)
    for field in msgspec.structs.fields(kind):
        value = table.get(field.encode_name)
        if isinstance(value, datetime.date) and field.name != "notes":
            out[field.encode_name] = value.isoformat()
        elif field.type is str and type(value) is int:
            out[field.encode_name] = str(value)
        elif isinstance(value, dict) and isinstance(field.type, type) and issubclass(field.type, Struct):
            out[field.encode_name] = _plain(value, field.type)
    return out
