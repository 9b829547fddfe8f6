"""Facts of jobs: stated with a deposit or later, the last stated holds; retention is reported, never acted on."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from archive.answers.known_names import check_job
from archive.answers.zone import zone
from archive.errors import Trouble
from archive.formats import cable_types
from archive.store import Archive
from archive.store.catalogue.apply_event import JOB_FACTS
from archive.store.events.write import record
from archive.store.ledger.entry import Sign
from archive.store.names import check_job_name
from archive.vocabulary import cables

_DATES = ("work_start", "work_end", "warranty_start", "warranty_end", "retain_until")
_SPANS = (("work_start", "work_end"), ("warranty_start", "warranty_end"))


def facts(archive: Archive, job: str, *, today: date | None = None) -> dict[str, Any]:
    """Facts of a job, its deposits, whether it is on hold, and whether its retention has run out.

    Errors: Trouble where the archive knows nothing of such a job.
    """
    archive.catch_up()
    archive.rest_on([job])
    db = archive.db
    stated = {r[0]: r[1] for r in db.execute("SELECT field, value FROM jobs WHERE job_id = ?", (job,))}
    deposits = [r[0] for r in db.execute("SELECT deposit FROM deposits WHERE job_id = ? ORDER BY number", (job,))]
    records = db.execute("SELECT count(*) FROM records WHERE job_id = ?", (job,)).fetchone()[0]
    if not stated and not deposits and not records:
        check_job(archive, job)
    held = db.execute("SELECT 1 FROM holds WHERE job_id = ?", (job,)).fetchone() is not None
    until = stated.get("retain_until") or stated.get("warranty_end")
    over = bool(until) and str(until) < (today or date.today()).isoformat()
    return {
        "job": job,
        **{name: stated.get(name) for name in JOB_FACTS},
        "deposits": deposits,
        "records": records,
        "hold": held,
        "retention": (
            "not stated"
            if not until
            else f"over since {until}; nothing is deleted by itself"
            if over and not held
            else f"over since {until}, but the job is on hold"
            if over
            else f"until {until}"
        ),
    }


def state(
    archive: Archive,
    job: str,
    changes: Iterable[str],
    *,
    by: str | None = None,
    reason: str | None = None,
    sign: Sign | None = None,
) -> dict[str, str]:
    """States facts, each as FIELD=VALUE; a new event, the former value stays in the ledger. Gives what was stated.

    Errors: Trouble for an unknown field, a date that is none, a time zone that is none, words that name no cable.
    """
    check_job_name(job, "the job")
    made: dict[str, str] = {}
    for change in changes:
        name, equals, value = change.partition("=")
        name = name.strip().replace("-", "_")
        if not equals or name not in JOB_FACTS:
            raise Trouble(
                "no such fact of a job",
                code="job.unknown-fact",
                found=change,
                expected=f"FIELD=VALUE with one of {', '.join(JOB_FACTS)}",
            )
        made[name] = _checked(name, value.strip())
    archive.catch_up()
    held = {r[0]: r[1] for r in archive.db.execute("SELECT field, value FROM jobs WHERE job_id = ?", (job,))}
    for first, last in _SPANS:
        start, end = ({**held, **made}.get(name) for name in (first, last))
        if start and end and end < start and {first, last} & made.keys():
            raise Trouble(
                f"{last} is before {first}",
                code="job.ends-before-start",
                where=job,
                found=end,
                expected=f"{start} or later",
            )
    texts = {"reason": reason, "facts": made}
    record(archive, "job", by=by, texts=texts, facts={"job": job}, sign=sign)
    return made


def _checked(name: str, value: str) -> str:
    if name in _DATES:
        try:
            return date.fromisoformat(value).isoformat()
        except ValueError:
            raise Trouble(
                f"{name} is no date", code="job.not-a-date", found=value, expected="an ISO 8601 date such as 2044-04-30"
            ) from None
    if name == "zone":
        zone(value)
    if name == "cable":
        return _cable(value)
    return value


def _cable(value: str) -> str:
    """The cable type that was stated for a job, as an id or in words."""
    found = value if cables.valid(value) else cable_types.neutral(value)
    if found == cables.UNKNOWN:
        raise Trouble(
            "these words say nothing of a cable",
            code="job.no-cable",
            found=repr(value),
            expected="a type such as cat6a/f-utp/awg23/solid, or words such as Cat 6A F/UTP 23 AWG solid",
        )
    return found
