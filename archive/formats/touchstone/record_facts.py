"""The facts of a port map as rows of the tables: the test, who, when, with what, between which places."""

from __future__ import annotations

import datetime
import re
import secrets
from collections.abc import Mapping
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from msgspec.structs import asdict

from archive.errors import Trouble
from archive.formats.touchstone.findings import finding
from archive.formats.touchstone.port_map import PortMap
from archive.tables import person_key, with_id
from archive.vocabulary import cables

_TIME = re.compile(
    r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?)\s*(Z|[+-]\d\d:?\d\d)?)?", re.IGNORECASE | re.ASCII
)

Rows = dict[str, list[dict[str, Any]]]


def record_facts(port_map: PortMap) -> tuple[dict[str, Any], Rows, list[dict[str, Any]]]:
    """Columns of the record, shared rows by table, and findings (without record and link).

    Errors: Trouble where a date, a zone or a cable type cannot be.
    """
    facts = port_map.facts
    columns: dict[str, Any] = {
        "medium": "copper",
        "link_label": port_map.link,
        "job_id": facts.job or None,
        "limit_found": facts.limit or None,
        "configuration": facts.configuration,
        "cable_found": facts.cable or None,
        "cable_type": _cable_type(facts.cable_type, port_map.where),
        "velocity_percent": facts.velocity_percent,
        "connections": facts.connections,
        "sequence": facts.sequence or None,
        "comment": facts.comment or None,
    }
    rows: Rows = {"people": [], "instruments": [], "places": []}
    when, doubts = test_time(facts.tested, facts.zone, port_map.where)
    columns.update(when)
    if facts.tested_by:
        person = _person(facts.tested_by, facts.organisation)
        rows["people"].append(person)
        columns["operator_key"] = person["person_key"]
    if instrument := {k: v for k, v in asdict(facts.instrument).items() if v}:
        unit = with_id("instruments", instrument)
        rows["instruments"].append(unit)
        # One analyser holds the ports of both ends.
        columns["local_instrument_id"] = columns["remote_instrument_id"] = unit["instrument_id"]
    for end, given in asdict(facts.ends).items():
        if place := {k: v for k, v in asdict(given).items() if v}:
            row = with_id("places", place)
            if row not in rows["places"]:
                rows["places"].append(row)
            columns[f"{end}_place_id"] = row["place_id"]
    return columns, rows, doubts


def test_time(given: Any, zone: str | None, where: str) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Columns of the time of a test, and a finding where its local time is not unique in its zone.

    given: a date or date-time of TOML, or ISO 8601 text; None or "" where nothing is said. zone: an IANA name.
    No zone is invented: without an offset or a zone there is no time in UTC.
    Errors: Trouble where it is no date, or the zone does not exist.
    """
    zone_info = _zone(zone, where)
    if not given:
        return {}, []
    found = given if isinstance(given, str) else given.isoformat()
    match = _TIME.fullmatch(found.strip())
    try:
        if not match:
            raise ValueError
        clock = f"{match[1]}T{match[2]}" if match[2] else match[1]
        local = datetime.datetime.fromisoformat(clock)
        offset = _offset_minutes(match[3])
    except ValueError:
        raise Trouble(
            "this is no date of a test",
            code="port-map.not-a-date",
            where=f"{where} tested",
            found=repr(found),
            expected="for example 2019-06-05, 2019-06-05T16:55 or 2019-06-05T16:55:11+02:00",
        ) from None
    columns: dict[str, Any] = {"tested_found": found, "tested_local": clock}
    if not match[2]:
        return columns, []
    doubts: list[dict[str, Any]] = []
    if offset is None and zone_info is not None:
        offset, times = _offset_in(local, zone_info)
        if offset is None:
            doubts.append(finding("local-time-not-unique", where=str(zone), found=clock, expected=times))
    if offset is not None:
        utc = (local - datetime.timedelta(minutes=offset)).replace(tzinfo=datetime.UTC)
        columns.update(tested_at=utc, utc_offset_min=offset, zone_basis="record")
    return columns, doubts


def _zone(zone: str | None, where: str) -> ZoneInfo | None:
    if not zone:
        return None
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise Trouble(
            "there is no such time zone",
            code="port-map.unknown-zone",
            where=f"{where} zone",
            found=repr(zone),
            expected="a name like Europe/Lisbon",
        ) from None


def _offset_minutes(text: str | None) -> int | None:
    if not text:
        return None
    if text.upper() == "Z":
        return 0
    hours, minutes = int(text[1:3]), int(text[-2:])
    if hours > 14 or minutes > 59:
        raise ValueError
    return (hours * 60 + minutes) * (-1 if text[0] == "-" else 1)


def _offset_in(local: datetime.datetime, zone: ZoneInfo) -> tuple[int | None, str]:
    """Offset in minutes of a local time in a zone; None, and how often it is there, where it is not there once."""
    first, second = (local.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    assert first is not None
    if first == second:
        return int(first.total_seconds() // 60), "once"
    skipped = second is not None and second > first
    return None, "not at all" if skipped else "twice"


def _person(name: str, organisation: str | None) -> dict[str, Any]:
    salt = _salt(name, organisation)
    return {
        "person_key": person_key(salt, name),
        "salt": salt,
        "name": name,
        "organisation": organisation or None,
        "role": "operator",
    }


@cache
def _salt(name: str, organisation: str | None) -> str:
    """A random salt for each person, the same for all files of one run, so that one person stands once."""
    return secrets.token_hex(16)


def _cable_type(given: str | None, where: str) -> str | None:
    if not given:
        return None
    if not cables.valid(given):
        raise Trouble(
            "this is no cable type",
            code="port-map.cable-type",
            where=f"{where} cable_type",
            found=repr(given),
            expected="for example cat6a/f-utp/awg23/solid",
            remedy="put the words as they are under cable",
        )
    return given


def notes(given: Mapping[str, Any], prefix: str = "") -> list[tuple[str, str]]:
    """The free facts of a map as names and texts, nested names joined by a point."""
    out: list[tuple[str, str]] = []
    for key, value in given.items():
        name = f"{prefix}.{key}" if prefix else key
        out += notes(value, name) if isinstance(value, dict) else [(name, str(value))]
    return out
