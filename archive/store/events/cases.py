"""Cases: claims under a warranty and what became of them. Each step is an event; its texts lie in its event.json alone.

A case is named by the event that opened it, and called by the number that somebody gave it. Its steps name the record
that was shown when it was opened, so that its margins and its cable can be asked for years later.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.catalogue.apply_event import CASE_TEXTS
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign

OPEN, NOTE, DECIDE, CLOSE = "open", "note", "decide", "close"
TEXTS = CASE_TEXTS
"""What a step may state, besides who and why."""


@dataclass(frozen=True)
class CaseStep:
    """One step of a case. action: open, note, decide or close; said: TEXTS that it states; path: of its event.json."""

    number: int
    at: str
    by: str | None
    action: str
    said: Mapping[str, Any]
    path: str


@dataclass(frozen=True)
class Case:
    """A case as its steps have made it. case: the event that opened it; address: "deposit/position" of the record that
    was shown then, "" where none was; key: the link in the catalogue, None where it is not known any more."""

    case: str
    address: str
    key: str | None
    steps: Sequence[CaseStep]

    def last(self, name: str) -> Any:
        """What was stated last of one of TEXTS; None where nobody stated it, or it was redacted."""
        return next((s.said[name] for s in reversed(self.steps) if s.said.get(name) is not None), None)

    def day_of(self, action: str) -> str | None:
        """The day of the last step of a kind."""
        return next((s.said.get("day") or s.at[:10] for s in reversed(self.steps) if s.action == action), None)

    @property
    def name(self) -> str:
        """What people call it."""
        return str(self.last("name") or self.case)

    @property
    def state(self) -> str:
        """open, decided or closed."""
        actions = {s.action for s in self.steps}
        return "closed" if CLOSE in actions else "decided" if DECIDE in actions else "open"

    @property
    def complaint(self) -> str | None:
        """What was complained of when it was opened; None where that was redacted."""
        return next((s.said.get("text") for s in self.steps if s.action == OPEN), None)

    def plain(self) -> dict[str, Any]:
        """The case as JSON."""
        told = {name: self.last(name) for name in ("link_label", "job_id", "site", "decision", "cause")}
        return {
            "case": self.name,
            "id": self.case,
            "state": self.state,
            "link": told.pop("link_label"),
            "job": told.pop("job_id"),
            **told,
            "complaint": self.complaint,
            "opened_on": self.day_of(OPEN),
            "decided_on": self.day_of(DECIDE),
            "closed_on": self.day_of(CLOSE),
            "cost": None if self.last("cost") is None else float(self.last("cost")),
            "currency": self.last("currency"),
            "record": self.address or None,
            "steps": [
                {"action": s.action, "at": s.at, "entry": s.number, "path": s.path, **s.said} for s in self.steps
            ],
        }


def open_case(
    archive: Archive,
    address: str,
    said: Mapping[str, Any],
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> LedgerEntry:
    """Opens a case over a record ("deposit/position"). Errors: Trouble where another case has its number."""
    name = said.get("name")
    taken = [c for c in cases(archive) if name is not None and name in (c.name, c.case)]
    if taken:
        raise Trouble(
            "a case of this number is there already",
            code="case.number-taken",
            found=str(name),
            remedy="give another number, or add to that case with `muniment case ARCHIVE note`",
        )
    facts = {"action": OPEN, "records": [address] if address else []}
    return record(archive, "case", by=by, texts={"reason": reason, **_stated(said)}, facts=facts, sign=sign)


def add_step(
    archive: Archive,
    case: Case,
    action: str,
    said: Mapping[str, Any],
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> LedgerEntry:
    """Adds a note, a decision or the close to a case. Errors: Trouble where it is closed and more than a note comes."""
    if case.state == "closed" and action != NOTE:
        raise Trouble(
            "this case is closed",
            code="case.closed",
            found=case.name,
            expected="a note, or a new case",
        )
    facts = {"action": action, "case": case.case, "records": [case.address] if case.address else []}
    return record(archive, "case", by=by, texts={"reason": reason, **_stated(said)}, facts=facts, sign=sign)


def one_case(archive: Archive, name: str) -> Case:
    """The case of a number, or of the event that opened it. Errors: Trouble where there is none, or are several."""
    found = [c for c in cases(archive) if name in (c.name, c.case)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise Trouble(
            "no such case",
            code="case.unknown",
            where=str(archive.root),
            found=name,
            remedy="see `muniment case ARCHIVE list`",
        )
    raise Trouble(
        f"{len(found)} cases have this number",
        code="case.ambiguous",
        where=str(archive.root),
        found=", ".join(f"{c.case} ({c.last('link_label')})" for c in found),
        remedy="name the one that is meant by its id",
    )


def cases(archive: Archive, *, keys: Sequence[str | None] | None = None) -> list[Case]:
    """Cases in the order in which they were opened. keys: of links (records.link) whose cases are wanted; None: all."""
    archive.catch_up()
    rows = archive.db.execute(
        "SELECT c.*, e.at, e.by, r.link AS key FROM case_steps c JOIN entries e ON e.number = c.number "
        "LEFT JOIN records r ON r.row = c.row ORDER BY c.number"
    )
    steps: dict[str, list[Any]] = {}
    for row in rows:
        steps.setdefault(row["case_id"], []).append(row)
    found = []
    for case, listed in steps.items():
        key = listed[0]["key"]
        if keys is None or key in keys:
            found.append(Case(case, listed[0]["address"] or "", key, [_step(r) for r in listed]))
    return found


def _step(row: Any) -> CaseStep:
    said = {k: row[k] for k in TEXTS if row[k] is not None}
    return CaseStep(row["number"], row["at"], row["by"], row["action"], said, row["path"])


def _stated(said: Mapping[str, Any]) -> dict[str, Any]:
    return {k: said[k] for k in TEXTS if said.get(k) is not None}
