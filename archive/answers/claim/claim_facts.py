"""What a claim file is composed from, gathered once and free of any storage."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.answers.claim.claim_statement import ClaimStatement
from archive.answers.photographs import Photograph
from archive.answers.sealing.seal_note import SealNote
from archive.store.events.cases import Case
from archive.store.roles import Role
from archive.tables import Batch
from archive.vocabulary.link_counts import LinkResult

Row = Mapping[str, Any]

DEPOSIT, ASSESSMENT, NOW, NEWEST = "deposit", "assessment", "now", "newest"


@dataclass(frozen=True)
class StatedVerdict:
    """A verdict of this program on a record.

    kind: deposit (when the record came), assessment (a later grading run), now (the same limit, by the limit library
    of today), newest (today's edition of that limit). when: ISO 8601, "" for now and newest. grades: its worst points.
    """

    kind: str
    when: str
    by: str
    verdict: Row
    grades: Sequence[Row]


@dataclass(frozen=True)
class Original:
    """A file as received. path: where the whole lies in the claim file, "" where it does not.

    ranges: the stretches of its bytes that do, with file, offset, bytes, sha256, and of what. why: why the whole is
    not enclosed: gone, damaged, redacted (a name was, which it may hold), ranges (of several links), others (of several
    links, and no stretch can be told), left out. said: file, damage and remedy.
    """

    name: str = ""
    path: str = ""
    bytes: int = 0
    sha256: str = ""
    beside: Sequence[str] = ()
    ranges: Sequence[Row] = ()
    why: str = ""
    said: str = ""


@dataclass(frozen=True)
class TestedRecord:
    """One record of the link. batch: that record alone, with the grades, verdicts and findings it was archived with.

    entry: number of the ledger entry of its deposit. job: that it counts in. relation: what dedup made of it, in a
    word. state: why it stands or does not. accepted: why it is the accepted record of its job, "" where it is not.
    stated: verdicts on it, the archived ones first. cable: the type that the catalogue counts it under, and what that
    rests on (cable_columns.BASES). curves: the same record with the curves that grading derives, for pictures.
    """

    batch: Batch
    digest: str
    address: str = ""
    deposit: str = ""
    deposited_at: str = ""
    deposited_by: str = ""
    entry: int = 0
    job: str = ""
    original: Original = Original()
    relation: str = "test"
    state: str = ""
    standing: bool = False
    accepted: str = ""
    stated: Sequence[StatedVerdict] = ()
    cable: tuple[str | None, str | None] = (None, None)
    curves: Batch | None = None

    @property
    def record(self) -> Row:
        """Its row of records."""
        return row(self.batch["records"], 0)

    def rows(self, table: str) -> list[dict[str, Any]]:
        """Rows of one of its tables as dicts; not for tables with curves."""
        found: list[dict[str, Any]] = self.batch[table].to_pylist()
        return found

    def verdict(self) -> Row | None:
        """The verdict under the limit of its day: the first that it was archived with."""
        return next((s.verdict for s in self.stated if s.kind == DEPOSIT), None) or next(
            iter(self.rows("verdicts")), None
        )

    def grades(self, limit_id: str | None) -> list[dict[str, Any]]:
        """The worst points it was archived with, under one limit."""
        return [g for g in self.rows("grades") if g["limit_id"] == limit_id]

    @property
    def units(self) -> dict[str, Row | None]:
        """The units at the local and at the remote end, each with None where the record names none."""
        known = {u["instrument_id"]: u for u in self.rows("instruments")}
        return {end: known.get(self.record[f"{end}_instrument_id"]) for end in ("local", "remote")}

    @property
    def operator(self) -> str | None:
        """Name of who tested; "" where the record states somebody whose name is not there any more, None for nobody."""
        key = self.record["operator_key"]
        if not key:
            return None
        return next((p["name"] or "" for p in self.rows("people") if p["person_key"] == key), "")


@dataclass(frozen=True)
class CopyOf:
    """Curves that stand under two links. of: "this link's" curves from the other, or "the other's" from this one."""

    link: str
    tested: str
    record: str
    of: str


@dataclass(frozen=True)
class FreshEqual:
    """A record of the archive that the fresh test equals. whole: in all that was measured, with label, time and units;
    else in its curves alone."""

    link: str
    tested: str
    record: str
    whole: bool


@dataclass(frozen=True)
class CurveSearch:
    """Whose curves were looked for among all of the archive: those of the record that is shown, and of the fresh test.

    False where curves are too few or too even to tell tests apart, where there is no such test, and for a record that
    a deposit decided upon by something else. equal: what was found for
    the fresh test."""

    standing: bool = False
    fresh: bool = False
    equal: Sequence[FreshEqual] = ()


@dataclass(frozen=True)
class Neighbours:
    """Standing records of links nearby, in the order of labels, this link among them. basis: what makes them near:
    bundle, panel or order; name: which bundle or panel."""

    basis: str
    name: str
    rows: Sequence[Row]


@dataclass(frozen=True)
class Around:
    """What the archive knows around a link that may weaken its record.

    look_alikes: other labels of the job that people may mean by the same. findings: of rules across records that name
    the link. set_aside: parts of exports that name the link and were never read.
    """

    copies: Sequence[CopyOf] = ()
    look_alikes: Sequence[str] = ()
    findings: Sequence[Row] = ()
    set_aside: Sequence[Row] = ()
    held: bool = False


@dataclass(frozen=True)
class Proven:
    """Since when the ledger holds the record that is shown. archived: ISO 8601, by the clock of the machine that
    archived it; entry: its ledger entry; signed: key that signed it, "" for none; stamped: days of time stamps of a
    head that covers it, as the ledger has them."""

    archived: str
    entry: int
    signed: str = ""
    stamped: Sequence[str] = ()


@dataclass(frozen=True)
class ProvenRecord:
    """A record with its proof, which was verified while the file was made: each step with whether it holds (None:
    open) and what is said. address: that of the record; since: when the ledger has held it."""

    address: str
    proof: Row
    steps: Sequence[tuple[str, bool | None, str]]
    since: Proven


@dataclass(frozen=True)
class ClaimFacts:
    """Everything about one link.

    tests: newest first. state: ISO 8601 time of the newest ledger entry. on: the day for which the file is made,
    ISO 8601. newest_edition: the newest edition of the limit that this program names, where it holds no lines of it.
    why: which record is shown in which role and why, in English. reasons: why none of its records counts, where none
    does. role: that of `standing`. counted: what it comes to in the counts of its job, None where no job is named.
    on: the day that spans are counted from; made: ISO 8601 time at which the file is made, by this machine's clock.
    stated: what the claim states. proven: since when the ledger holds `standing`. required_kept: whether that was
    tested to the limit which the job requires, None where no limit is required or known. applications: verdicts on it
    under the limits of applications. case: that of the claim.
    seal: what the file can say of its own seal. compared: what its curves were compared with. issued_by: name of who
    issues the file, "" where nobody stated one. steps: the proof's verification, each with whether it holds (None:
    open) and what is said. disputed: the proofs of the records in conflict, the oldest deposit first, where none stands
    because of them.
    """

    link: str
    job: Row
    place: Row
    tests: Sequence[TestedRecord]
    standing: TestedRecord | None
    why: str
    reasons: Sequence[str]
    history: Sequence[Row]
    neighbours: Neighbours | None
    documents: Sequence[Row]
    proof: Row
    head: str
    entries: int
    state: str
    archive_id: str
    on: str
    around: Around = Around()
    steps: Sequence[tuple[str, bool | None, str]] = ()
    signatures: Sequence[str] = ()
    cautions: Sequence[str] = ()
    retest: TestedRecord | None = None
    reason: str = ""
    newest_edition: str = ""
    former_labels: Sequence[str] = field(default=())
    counted: LinkResult | None = None
    role: Role = "accepted"
    made: str = ""
    stated: ClaimStatement = field(default_factory=ClaimStatement)
    proven: Proven | None = None
    required_kept: bool | None = None
    case: Case | None = None
    applications: Sequence[Row] = ()
    photographs: Sequence[Photograph] = ()
    seal: SealNote = field(default=SealNote())
    compared: CurveSearch = CurveSearch()
    issued_by: str = ""
    disputed: Sequence[ProvenRecord] = ()

    @property
    def number(self) -> str:
        """The number of this file: a digest of what it is made from, so that two that differ have different ones."""
        parts = (
            self.archive_id,
            self.head,
            self.link,
            self.on,
            self.made,
            self.reason,
            repr(self.stated),
            self.issued_by,
        )
        digest = hashlib.sha256("\n".join(parts).encode()).hexdigest()
        return "-".join(digest[k : k + 4] for k in (0, 4, 8))


def letters(facts: ClaimFacts) -> list[tuple[str, TestedRecord]]:
    """The records in conflict because of which none stands, as A, B and so on, the oldest deposit first."""
    if facts.standing is not None:
        return []
    both = sorted((t for t in facts.tests if t.state.startswith("in conflict")), key=lambda t: (t.entry, t.address))
    return [(chr(ord("A") + n), t) for n, t in enumerate(both[:26])] if len(both) > 1 else []


def row(table: Any, index: int) -> dict[str, Any]:
    """One row of a table as a dict."""
    return {name: table.column(name)[index].as_py() for name in table.column_names}
