"""Options of `check`, resolved: policy, schedule, day; and the files that it writes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.store import Archive
    from archive.vocabulary.link_counts import LinkCounts


@dataclass(frozen=True)
class CheckPlan:
    """policy, schedule table or None with the places of its links, the schedule's own findings, and the day that counts
    as today."""

    policy: Any
    schedule: Any
    places: Any
    schedule_findings: Any
    schedule_name: str
    today: date


@dataclass(frozen=True)
class CheckInput:
    """Where the records come from. read(ids): batches with at least these records (None: all), read again at each call;
    schedule, places: what was to be built and where, as an archive knows it; counts: of the links of a job, as an
    archive knows them; retyped: records that are checked by a cable type that was settled, or stated for the job, after
    they came; files: what is read, where it is no archive; archive: where it is one."""

    read: Callable[[list[str] | None], Iterable[Any]]
    schedule: Any = None
    places: Any = None
    schedule_name: str = ""
    counts: LinkCounts | None = None
    retyped: int = 0
    files: tuple[str, ...] = ()
    archive: Archive | None = None


def source(
    inputs: tuple[str, ...], job: str | None, mapping: tuple[str, ...], beside: list[Path], *, saved: bool
) -> CheckInput:
    """Files, or one archive. beside: files of the command itself, passed over where an input holds them. saved: what is
    found is written to a file, which has no place to say that a damaged deposit was passed over: it is refused.

    Errors: Trouble for a job without an archive, or for a folder that is not an archive.
    """
    from archive.objects import place

    if len(inputs) == 1 and (place(inputs[0]) / "archive.toml").is_file():
        return _of_archive(place(inputs[0]), job, saved=saved)
    if job is not None:
        raise Trouble(
            "--job is for an archive",
            code="option.needs-archive",
            where=inputs[0],
            remedy="name an archive, or leave --job out",
        )
    from archive import formats

    return CheckInput(lambda _: formats.read_all(inputs, mapping=mapping, leave_out=beside), files=inputs)


def _of_archive(path: Path, job: str | None, *, saved: bool) -> CheckInput:
    from archive import store
    from archive.answers.job_schedule import latest_schedule
    from archive.answers.kept_calibrations import KeptCalibrations
    from archive.answers.known_names import check_job
    from archive.answers.progress import progress
    from archive.answers.records import places, read, retyped_count
    from archive.store.catalogue.filters import Filters
    from archive.tables import Batch, tables, with_id
    from archive.vocabulary.places import PLACE

    archive = store.open(path)
    if job is not None:
        check_job(archive, job)
    where, calibrations = places(archive, Filters(job=job)), KeptCalibrations(archive)
    if saved:
        archive.rest_on_every_record()
    lacks = None if saved or job is not None else "not all of its records are checked"

    def batches(ids: list[str] | None) -> Iterable[Any]:
        chosen = where.values() if ids is None else [where[i] for i in ids]
        return map(calibrations.beside, read(archive, chosen, lacks=lacks))

    rows = latest_schedule(archive, job) if job is not None else {}
    known = {c.name for c in tables()["schedule"].columns} - {"schedule_id"}
    places_of = [with_id("places", {k: r[k] for k in PLACE if r[k]}) for r in rows.values()]
    listed = [
        {**{k: v for k, v in r.items() if k in known}, "schedule_id": str(n), "local_place_id": p["place_id"]}
        for n, (r, p) in enumerate(zip(rows.values(), places_of, strict=True))
    ]
    made = Batch.from_rows({"schedule": listed, "places": list({p["place_id"]: p for p in places_of}.values())})
    counts = progress(archive, job).counts if job is not None else None
    table = made["schedule"] if listed else None
    name, retyped = f"as deposited for {job}" if listed else "", retyped_count(archive, where.values())
    return CheckInput(batches, table, made["places"], name, counts, retyped, archive=archive)


def plan(
    schedule: Path | None,
    columns: str | None,
    policy: Path | None,
    today: str | None,
    report: Path | None,
    source: CheckInput,
) -> CheckPlan:
    """Reads policy and schedule before any record is read. Errors: Trouble for whatever is wrong with them."""
    from archive.validation.catalogue import policy as policies

    if report is not None and report.suffix.lower() not in (".html", ".htm", ".pdf"):
        raise Trouble(
            "unknown form of a report",
            code="option.report-form",
            found=report.name,
            expected="a name that ends in .html or .pdf",
        )
    chosen = policies.load(policy) if policy else policies.Policy()
    table, places, found, name = source.schedule, source.places, None, source.schedule_name
    named = columns_for(columns, schedule)
    if schedule is not None:
        from archive.formats import schedule as schedules

        read = schedules.read(schedule, named)
        table, places, found, name = read["schedule"], read["places"], read["findings"], schedule.name
    return CheckPlan(chosen, table, places, found, name, _day(today) if today else datetime.now(UTC).date())


def columns_for(text: str | None, schedule: Path | None) -> dict[str, str] | None:
    """Heading by column of a schedule that is given; None where no heading is. Errors: Trouble without a schedule."""
    if text is None:
        return None
    if schedule is None:
        raise Trouble(
            "--schedule-columns says how a schedule is read, and none is given",
            code="option.needs-another",
            expected="--schedule LINKS.csv",
            remedy="name the list of links with --schedule, though it lies among the files too",
        )
    return columns_of(text)


def columns_of(text: str) -> dict[str, str]:
    """Heading by column of a schedule. Errors: Trouble where a part is none."""
    out = {}
    for part in text.split(","):
        column, equals, heading = part.partition("=")
        if not equals or not heading.strip():
            raise Trouble(
                "unclear column of the schedule",
                code="option.schedule-columns",
                found=part,
                expected="COLUMN=HEADING, as link_label=Cable",
            )
        out[column.strip()] = heading.strip()
    return out


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Trouble(
            "not a day", code="option.not-a-day", where="--today", found=text, expected="a day such as 2026-11-25"
        ) from None


def add_schedule(plan: CheckPlan, collected: Any) -> None:
    """What reading the schedule found."""
    if plan.schedule_findings is not None:
        collected.add(plan.schedule_findings)


def write_json(path: Path, document: Any) -> None:
    """A JSON file, written atomically."""
    _put(path, (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode())


def write_report(path: Path, summary: Any, collected: Any, plan: CheckPlan) -> None:
    """The acceptance report as HTML or PDF, written atomically."""
    from archive.answers.acceptance import facts, html, pdf

    shown = facts(summary, collected, made_on=plan.today, schedule=plan.schedule_name)
    _put(path, pdf(shown) if path.suffix.lower() == ".pdf" else html(shown).encode())


def _put(path: Path, data: bytes) -> None:
    from archive.atomic import write_bytes

    write_bytes(path, data)
