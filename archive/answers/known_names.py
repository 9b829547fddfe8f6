"""Jobs and links that an archive knows, so that a slip of the hand files nothing where nobody looks for it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from archive.answers.job_memory import one_slip
from archive.answers.job_schedule import latest_schedule
from archive.errors import Trouble
from archive.near_names import offered
from archive.objects import StorePath
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.records import split_address


def jobs(archive: Archive) -> list[str]:
    """Names of all jobs of which anything is known."""
    archive.catch_up()
    rows = archive.db.execute(
        "SELECT job_id FROM deposits UNION SELECT job_id FROM jobs UNION SELECT job_id FROM records ORDER BY 1"
    )
    return [r[0] for r in rows if r[0]]


def check_job(archive: Archive, job: str, remedy: str = "check the job's name") -> None:
    """Errors: Trouble where the archive knows nothing of such a job."""
    known = jobs(archive)
    if job not in known:
        archive.rest_on_every_record()
        raise Trouble(
            "the archive knows no such job",
            code="job.unknown",
            where=str(archive.root),
            found=job,
            expected=offered(job, known),
            remedy=remedy,
        )


def hints(archive: Archive, chosen: Filters) -> list[str]:
    """Of filters that no record fits: jobs, sites and units that the archive does not know, with nearly equal names."""
    columns = {"job": ("job_id",), "site": ("site",), "serial": ("local_serial", "remote_serial")}
    found = []
    for name, of in columns.items():
        given = getattr(chosen, name)
        if given is None:
            continue
        parts = " UNION ".join(f"SELECT DISTINCT {c} FROM records WHERE {c} IS NOT NULL" for c in of)
        known = [str(r[0]) for r in archive.db.execute(parts)]
        if given not in known:
            what = {"serial": "unit"}.get(name, name)
            meant = offered(given, known)
            found.append(f"the archive knows no {what} {given}" + (f"; is {meant} meant?" if meant else ""))
    return found


_LEAST = 5
"""Names of archives that are shorter are told apart by one letter on purpose."""


def not_by_a_slip(folder: Path) -> None:
    """Errors: Trouble where an archive stands beside a new one whose name differs from its by a slip of the hand."""
    name = folder.resolve().name
    if isinstance(folder, StorePath):
        return  # a bucket is no folder that somebody looks into
    for other in sorted(folder.resolve().parent.glob("*/archive.toml")):
        beside = other.parent.name
        if beside != name and len(name) >= _LEAST and one_slip(name, beside) and _words(name) != _words(beside):
            raise Trouble(
                "an archive of nearly the same name stands beside it; nothing was made",
                code="archive.nearly-known",
                where=str(folder),
                found=name,
                expected=beside,
                remedy="use that one, or say --yes where a second archive is meant",
            )


def _words(name: str) -> str:
    """A name without its digits: those that differ in them alone are numbered on purpose."""
    return "".join(c for c in name if not c.isdigit())


def check_link(archive: Archive, job: str, link: str) -> None:
    """Errors: Trouble where a job has neither a record nor a scheduled line of a link."""
    rows = archive.db.execute("SELECT DISTINCT link_label FROM records WHERE job_id = ?", (job,))
    known = sorted({str(r[0]) for r in rows if r[0]} | {key[0] for key in latest_schedule(archive, job)})
    if link not in known:
        archive.rest_on([job])
        raise Trouble(
            "the job has no such link",
            code="job.no-such-link",
            where=job,
            found=link,
            expected=offered(link, known) or "the label of a record or of a scheduled link",
            remedy="give it as `muniment find` shows it, or say --new where it is still to come",
        )


def links_named(archive: Archive, records: Iterable[str]) -> list[tuple[str | None, str | None]]:
    """Label and job of each link that records are of, given by address or record_id, in their order.

    Errors: Trouble where there is no such record.
    """
    found: dict[tuple[str | None, str | None], None] = {}
    for record in records:
        deposit, position = split_address(archive.address(record))
        row = archive.db.execute(
            "SELECT link_label, job_id FROM records WHERE deposit = ? AND position = ?", (deposit, position)
        ).fetchone()
        found[row["link_label"], row["job_id"]] = None
    return list(found)
