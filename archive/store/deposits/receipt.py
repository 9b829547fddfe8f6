"""What a depositor gets as a receipt, and can get again from the ledger alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from archive.store import clock
from archive.store.archive import Archive, LedgerHead
from archive.store.cautions import clocks
from archive.store.deposits.handed_in import HandedIn
from archive.store.ledger import LedgerEntry
from archive.store.mapping_use import ACCEPTED
from archive.store.records import DECIDED


@dataclass(frozen=True)
class Receipt:
    """A deposit as its ledger entry says it, with the head of the ledger right after it."""

    entry: LedgerEntry | None
    head: LedgerHead
    counts: dict[str, int]
    findings: dict[str, int]
    set_aside: int
    details: dict[str, Any]

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        return {
            "deposit": None if self.entry is None else self.entry["deposit"],
            "records": sum(self.counts.values()),
            **{kind: self.counts.get(kind, 0) for kind in ("new", *DECIDED)},
            "set_aside": self.set_aside,
            "findings": self.findings,
            **self.details,
            "ledger_entry": None if self.entry is None else self.entry.number,
            "ledger_size": self.head.size,
            "ledger_head": self.head.root,
        }

    @property
    def look(self) -> bool:
        """Whether there is something to look at: set aside, a conflict, an error finding, another job's records, what
        a draft that nobody accepted left without a place, a doubt that folders raise."""
        told = self.set_aside or self.counts.get("conflicts") or self.findings.get("error")
        left = any(d["unplaced"] and not d["accepted"] for d in self.details.get("drafted", ()))
        return bool(told or left or self.details.get("elsewhere") or self.details.get("doubts"))


def receipt(archive: Archive, deposit: str) -> Receipt:
    """The receipt of a deposit again. Errors: Trouble where there is no such deposit."""
    return of_entry(archive, archive.deposit_entry(deposit))


def of_entry(archive: Archive, entry: LedgerEntry) -> Receipt:
    """The receipt that a deposit's entry gives."""
    told = ("job", "site", "zone", "at", "by", "path", "root", "notes", "here", "elsewhere")
    details = {name: entry[name] for name in told if entry.get(name) is not None}
    details |= _texts(archive, entry) | _handed_in(archive, entry)
    details["here"] = [{**h, "at": made_at(archive, h["deposit"])} for h in details.get("here", [])]
    times = archive.db.execute("SELECT number, at FROM entries WHERE number <= ? AND kind != 'void'", (entry.number,))
    if wrong := [c.text for c in clocks(map(tuple, times.fetchall()), clock.now()) if c.entry == entry.number]:
        details["cautions"] = wrong
    return Receipt(
        entry,
        archive.head(entry.number + 1),
        dict(entry["counts"]),
        dict(entry["findings"]),
        int(entry["set_aside"]),
        details,
    )


def _handed_in(archive: Archive, entry: LedgerEntry) -> dict[str, Any]:
    """What the tables of the bag say of the records that were handed in."""
    tables, made = archive.tables(entry["deposit"]), HandedIn()
    made.add(*(tables.table(name) for name in ("findings", "verdicts", "set_aside")))
    return made.plain(int(entry["records"]))


def made_at(archive: Archive, deposit: str) -> str:
    """When a deposit was made."""
    row = archive.db.execute(
        "SELECT e.at FROM deposits d JOIN entries e ON e.number = d.number WHERE d.deposit = ?", (deposit,)
    ).fetchone()
    return str(row[0]) if row else ""


def bare(entry: LedgerEntry, error: Exception) -> Receipt:
    """A receipt of what an entry says itself, where the archive cannot be asked after the commit, and why."""
    told = ("job", "site", "zone", "at", "path", "root", "elsewhere")
    details = {name: entry[name] for name in told if entry.get(name) is not None}
    details["cautions"] = [f"the deposit stands, and the archive could not be asked afterwards: {error}"]
    counts, findings = dict(entry["counts"]), dict(entry["findings"])
    return Receipt(entry, LedgerHead(entry.number + 1, ""), counts, findings, int(entry["set_aside"]), details)


def _texts(archive: Archive, entry: LedgerEntry) -> dict[str, Any]:
    """The reason, and the depositor's name, as far as they were not redacted."""
    texts = archive.texts(entry)
    reason = texts.get("reason")
    name = archive.names(entry).get(entry["by"]) if entry.get("by") else None
    return (
        ({"reason": reason} if reason else {})
        | ({"by_name": name} if name else {})
        | how_read(texts.get("files", []), entry.get("mappings") or {})
        | {"received": texts.get("originals", [])}
    )


def how_read(files: list[dict[str, Any]], use: dict[str, str]) -> dict[str, Any]:
    """How files were read, as a receipt says it. files: as deposit.json names them; use: how each mapping came to be
    used, by SHA-256.

    layouts: for each layout and mapping the files, records and rows set aside, and by what: a word of
    store.mapping_use, or "" for an open form or reader. drafted: each file read by a draft, what has no place in it,
    and whether that was accepted.
    """
    layouts: dict[tuple[str, str], dict[str, Any]] = {}
    passed_over = [f["name"] for f in files if f.get("passed_over")]
    for f in files:
        if f.get("passed_over"):
            continue
        digest = f.get("mapping", "")
        row = layouts.setdefault(
            (f.get("layout", ""), digest),
            {"layout": f.get("layout", ""), "mapping": digest or None, "by": use.get(digest, ""), "files": 0}
            | {"records": 0, "set_aside": 0},
        )
        row["files"] += 1
        row["records"] += f.get("records", 0)
        row["set_aside"] += f.get("set_aside", 0)
    drafted = [
        {"file": f["name"], "unplaced": f.get("unplaced", []), "accepted": use.get(f.get("mapping", "")) == ACCEPTED}
        for f in files
        if f.get("drafted")
    ]
    told = {"layouts": list(layouts.values()), "drafted": drafted, "passed_over": passed_over}
    return {name: value for name, value in told.items() if value}
