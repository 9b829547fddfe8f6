"""One link in an archive: its records with their states, newest first, and the names of people."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from archive.errors import Trouble
from archive.store import Archive
from archive.store.assessments import names_of
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import SHOWN, find, labels
from archive.store.catalogue.standing_columns import with_formers
from archive.store.ledger import LedgerEntry
from archive.store.standing import State, states


@dataclass(frozen=True)
class ArchivedLink:
    """A link: rows of the catalogue, newest test first, the state of each, and the record that stands over all."""

    label: str
    key: str
    rows: list[dict[str, Any]]
    states: dict[int, State]

    @property
    def standing(self) -> dict[str, Any] | None:
        """The record that answers for the link: of several that stand, the one with the most evidence, then newest."""
        held = [r for r in self.rows if self.states[r["row"]].standing]
        return max(held, key=lambda r: (r["evidence"] == "full-sweep", r["verdict"] in ("pass", "fail")), default=None)

    @property
    def why(self) -> str:
        """Why that one stands, or why none does, in one sentence."""
        stands = self.standing
        if stands is None:
            reasons = sorted({self.states[r["row"]].why for r in self.rows})
            return f"No record of {self.label} stands: {'; '.join(reasons) or 'there is none'}."
        when = stands["tested_local"] or stands["tested_at"] or "an unknown time"
        why = self.states[stands["row"]].why
        others = sum(1 for r in self.rows if self.states[r["row"]].standing) - 1
        more = f" {others} more stand under other limits or configurations." if others else ""
        return f"Record {stands['record_id']} of {when} stands: {why}.{more}"


def open_link(archive: Archive, label: str, *, job: str | None = None, site: str | None = None) -> ArchivedLink:
    """The one link that a label means. Errors: Trouble where none fits, or where several do (they are listed)."""
    archive.catch_up()
    db = archive.db
    found = labels(db, label, job=job, site=site)
    if not found:
        raise Trouble(
            "no link of the archive has such a label",
            code="link.unknown",
            where=str(archive.root),
            found=label,
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
    keys = {r["link_key"]: (r["site"], r["job_id"]) for r in rows}
    if len(keys) > 1:
        listed = "; ".join(f"site {s or 'not stated'}, job {j or 'not stated'}" for s, j in keys.values())
        raise Trouble(
            f"{len(keys)} places have a link {found[0]}",
            code="link.ambiguous",
            where=str(archive.root),
            found=listed,
            remedy="say which with --site or --job",
        )
    key = next(iter(keys))
    everything = [dict(r) for r in db.execute(f"SELECT {SHOWN} FROM records WHERE link_key = ?", (key,))]
    return ArchivedLink(found[0], key, rows, states(with_formers(db, everything)))


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
        if entry.kind == "deposit":
            rows = archive.tables(entry["deposit"]).table("people").to_pylist()
            names = {r["person_key"]: r["name"] for r in rows if r["name"]}
        else:
            names = names_of(archive, entry)
        found |= {k: n for k, n in names.items() if k in wanted}
    return found
