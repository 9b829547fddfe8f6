"""UTC of tests whose job states the zone of its site. No zone is ever invented.

Where the record states its own zone, the reader has filled `tested_at` already and it stays. A local time that the
zone has twice (the clock was put back) or never (it was put forward) stays without UTC, with a finding.
"""

from __future__ import annotations

import difflib
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import pyarrow as pa

from archive.errors import Trouble
from archive.isolation import ProgramFault, attempt
from archive.tables import Batch, schema
from archive.validation import catalogue
from archive.validation.catalogue.answering import BUG
from archive.version import PROGRAM

_DAY = len("2019-03-04")


def zone(name: str) -> ZoneInfo:
    """A zone of the IANA database. Errors: Trouble for a name that it does not have."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        near = difflib.get_close_matches(name, available_timezones(), 3, 0.5)
        raise Trouble(
            "there is no such time zone",
            code="time.unknown-zone",
            where="--zone",
            found=name,
            expected=" or ".join(near) or "a name of the IANA database, such as Europe/Lisbon",
        ) from None


def in_utc(batch: Batch, site: ZoneInfo) -> Batch:
    """The batch with tested_at, utc_offset_min and zone_basis "job" where the job's zone gives them."""
    records = batch["records"]
    rows = records.select(["record_id", "link_label", "tested_local", "tested_at", "utc_offset_min", "zone_basis"])
    listed, findings = rows.to_pylist(), []
    for row in listed:
        if row["tested_at"] is not None or row["tested_local"] is None or len(row["tested_local"]) <= _DAY:
            continue
        made = attempt(partial(_utc, row["tested_local"], site), "the time zone")
        if isinstance(made, ProgramFault):
            findings.append(_bug(row, made))
            continue
        moment, problem = made
        if problem:
            findings.append(_finding(row, site, problem))
        elif moment is not None:
            offset = moment.utcoffset() or timedelta()
            row |= {"tested_at": moment.astimezone(UTC), "utc_offset_min": int(offset.total_seconds() // 60)}
            row["zone_basis"] = "job"
    for name in ("tested_at", "utc_offset_min", "zone_basis"):
        at = records.column_names.index(name)
        records = records.set_column(at, name, pa.array([r[name] for r in listed], schema("records").field(name).type))
    new = Batch.from_rows({"findings": findings})["findings"]
    return batch.replace(records=records, findings=pa.concat_tables([batch["findings"], new]))


def _utc(local: str, site: ZoneInfo) -> tuple[datetime | None, str]:
    """The moment of a local time, or what is the matter with it."""
    try:
        naive = datetime.fromisoformat(local)
    except ValueError:
        return None, ""
    if naive.tzinfo is not None:
        return None, ""
    early, late = (naive.replace(tzinfo=site, fold=fold) for fold in (0, 1))
    back = early.astimezone(UTC).astimezone(site).replace(tzinfo=None)
    if back != naive:
        return None, "never was: the clock was put forward over it"
    if early.utcoffset() != late.utcoffset():
        return None, "was twice: the clock was put back over it"
    return early, ""


def _finding(row: dict[str, Any], site: ZoneInfo, problem: str) -> dict[str, Any]:
    return {
        **_raised("local-time-not-unique", row),
        "where": "tested_local",
        "found": row["tested_local"],
        "expected": f"a local time that {site.key} had once",
        "message": f"The local time {row['tested_local']} {problem}; it stays without UTC.",
        "remedy": "Ask the crew, or leave it: order within one instrument follows its own clock.",
    }


def _bug(row: dict[str, Any], fault: ProgramFault) -> dict[str, Any]:
    texts = {"where": fault.where, "found": fault.what}
    rule = catalogue.rule(BUG)
    return {**_raised(BUG, row), **texts, "message": rule.message.format(**texts), "remedy": rule.remedy}


def _raised(rule: str, row: dict[str, Any]) -> dict[str, Any]:
    """What every finding of a rule about a record has."""
    return {
        "rule": rule,
        "severity": catalogue.rule(rule).severity,
        "status": "raised",
        "record_id": row["record_id"],
        "link_label": row["link_label"],
        "program": PROGRAM,
        "rules_version": catalogue.version(),
    }
