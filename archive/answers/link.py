"""One link in an archive: its records with their states, newest first, and the names of people."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from archive.errors import Trouble
from archive.near_names import offered
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.label_search import labels
from archive.store.catalogue.search import SHOWN, find
from archive.store.catalogue.standing_columns import link_states
from archive.store.ledger import LedgerEntry
from archive.store.records import COUNTED
from archive.store.roles import RecordState, Role
from archive.vocabulary.role_reasons import reason


@dataclass(frozen=True)
class ArchivedLink:
    """A link: rows of the catalogue, newest test first, and the state of each.

    job: the job that was named, or None. prefer: the role to show; without it, accepted where a job was named, else
    current. doubt: why it is not sure that these records are of one link, and no others;
    empty where it is. beside: records of the same label that may be of this link.
    """

    label: str
    key: str | None
    rows: list[dict[str, Any]]
    states: dict[int, RecordState]
    job: str | None = None
    prefer: Role | None = None
    doubt: str = ""
    beside: list[dict[str, Any]] = field(default_factory=list)

    @property
    def current(self) -> dict[str, Any] | None:
        """The record that decides for the link now."""
        return next((r for r in self.rows if self.states[r["row"]].unit == r["row"]), None)

    @property
    def accepted(self) -> dict[str, Any] | None:
        """The record accepted in the job that was named, or else in the latest job that has one."""
        return next(
            (
                r
                for r in self.rows
                if self.states[r["row"]].accepted_unit == r["row"] and self.job in (None, r["job_id"])
            ),
            None,
        )

    @property
    def accepted_jobs(self) -> list[str]:
        """Jobs in which the link has an accepted record, the one tested last first."""
        found = [r["job_id"] for r in self.rows if self.states[r["row"]].accepted_unit == r["row"] and r["job_id"]]
        return list(dict.fromkeys(found))

    @property
    def role(self) -> Role:
        """Which role is shown: the one preferred, as far as a record has it."""
        wanted: Role = self.prefer or ("accepted" if self.job is not None else "current")
        return "current" if wanted == "accepted" and self.job is None and self.accepted is None else wanted

    @property
    def standing(self) -> dict[str, Any] | None:
        """The record in the role that is shown."""
        return self.accepted if self.role == "accepted" else self.current

    @property
    def home(self) -> dict[str, Any]:
        """The row whose job and site an answer about the link speaks of: that of the role shown, or of the job that was
        named, or else the newest."""
        return self.standing or next((r for r in self.rows if self.job in (None, r["job_id"])), self.rows[0])

    @property
    def lesser_fails(self) -> int:
        """Later failing tests of less evidence than the record that is shown."""
        shown = self.standing
        return 0 if shown is None else self.states[shown["row"]].lesser_fails

    @property
    def reasons(self) -> list[str]:
        """Why none of its records counts, where none does."""
        found = sorted({s.why for r in self.rows if not (s := self.states[r["row"]]).live})
        return found or [reason("none by day")]

    @property
    def why(self) -> str:
        """Which record is shown in which role and why, and the other role where it is another record."""
        shown = self.standing
        if shown is None:
            told = f"No record of {self.label} is {self.role}"
            told += f" in job {self.job}" if self.job is not None else ""
            return f"{told}: {'; '.join(self.reasons)}."
        state = self.states[shown["row"]]
        why = state.why_accepted if self.role == "accepted" else state.why
        told = f"Record {shown['record_id']} of {_when(shown)} is {self.role}: {why}."
        other = self.current if self.role == "accepted" else self.accepted
        if other is not None and other is not shown:
            word = "current" if self.role == "accepted" else "accepted"
            told += f" Record {other['record_id']} of {_when(other)}, job {other['job_id'] or 'not stated'}, is {word}."
        if state.lesser_fails:
            n = state.lesser_fails
            told += f" {n} later test{'s' * (n > 1)} of less evidence fail{'s' * (n == 1)}."
        families = sum(1 for r in self.rows if self.states[r["row"]].current) - 1
        if families > 0:
            told += f" {families} more count{'s' * (families == 1)} under other limits or configurations."
        return told + (f" In doubt: {self.doubt}." if self.doubt else "")


def _when(row: dict[str, Any]) -> str:
    return str(row["tested_local"] or row["tested_at"] or "an unknown time")


def open_link(
    archive: Archive,
    label: str,
    *,
    job: str | None = None,
    site: str | None = None,
    record: str | None = None,
    role: Role | None = None,
) -> ArchivedLink:
    """The one link that a label means. record: one of its records, by id or address, where the label means several.

    role: which role to show; see ArchivedLink.

    Errors: Trouble where none fits, or where several do (they are named).
    """
    archive.catch_up()
    db = archive.db
    found = labels(db, label, job=job, site=site)
    if not found:
        archive.rest_on_every_record()
        raise Trouble(
            "no link of the archive has such a label",
            code="link.unknown",
            where=str(archive.root),
            found=label,
            expected=offered(label, _like(db, label)),
            remedy="look for it with `muniment find --text`, or give less of the label",
        )
    if len(found) > 1:
        listed = ", ".join(found[:12]) + (" ..." if len(found) > 12 else "")
        raise Trouble(
            f"{len(found)} links may be meant",
            code="link.ambiguous",
            where=str(archive.root),
            found=listed,
            remedy="give one of these labels",
        )
    rows = [dict(r) for r in find(db, Filters(link=found[0], job=job, site=site))]
    if record is not None:
        address = archive.address(record)
        rows = [r for r in rows if r["address"] == address]
    chosen = _one_link(archive, found[0], rows)
    everything = [
        dict(r)
        for r in db.execute(
            f"SELECT {SHOWN} FROM records WHERE link_key = ? AND link = ? AND {COUNTED} "
            "ORDER BY coalesce(tested_local, tested_at, '') DESC, row DESC",
            (chosen["link_key"], chosen["link"]),
        )
    ]
    beside = db.execute(
        f"SELECT {SHOWN} FROM records WHERE link_key = ? AND link != ? AND doubt IS NOT NULL AND {COUNTED} "
        "ORDER BY row",
        (chosen["link_key"], chosen["link"]),
    ).fetchall()
    archive.rest_on({r["job_id"] for r in (*everything, *beside)})
    return ArchivedLink(
        found[0],
        chosen["link"],
        everything,
        link_states(db, everything),
        job,
        role,
        chosen["doubt"] or "",
        [dict(r) for r in beside],
    )


def _one_link(archive: Archive, label: str, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """A record of the link that is meant. Errors: Trouble where records of several links are there."""
    keys = {r["link"]: r for r in rows}
    if len(keys) == 1 or (len({r["link_key"] for r in rows}) == 1 and all(r["doubt"] for r in keys.values())):
        return rows[0]  # of sides that are in doubt, the one with the latest test
    listed = "; ".join(
        ", ".join(
            [f"site {r['site'] or 'not stated'}", f"job {r['job_id'] or 'not stated'}"]
            + [f"{name} {r[name]}" for name in ("building", "floor", "space") if r[name]]
            + [f"record {r['record_id']}"]
        )
        for r in keys.values()
    )
    raise Trouble(
        f"{len(keys)} places have a link {label}",
        code="link.ambiguous",
        where=str(archive.root),
        found=listed,
        remedy="say which with --site or --job, or name one of its records with --record",
    )


def people(archive: Archive, keys: Iterable[str | None], where: Iterable[LedgerEntry]) -> dict[str, str]:
    """Names of people by key, as far as they are still there; a redacted name is not.

    where: the ledger entries that name the keys. A name stands where its key was written: in the tables of the
    deposit, in the files of the event or the grading run.
    """
    wanted = {k for k in keys if k}
    found: dict[str, str] = {}
    for entry in where:
        if wanted <= found.keys():
            break
        found |= {k: n for k, n in archive.names(entry).items() if k in wanted}
    return found


def _like(db: Any, label: str) -> list[str]:
    """Labels that begin like one; some of them where there are very many."""
    from archive.store.catalogue.standing_columns import fold

    begin = (fold(label) or "")[:3]
    rows = db.execute(
        "SELECT DISTINCT link_label FROM records WHERE folded >= ? AND folded < ? LIMIT 3000", (begin, begin + "~")
    )
    return [str(r[0]) for r in rows]
