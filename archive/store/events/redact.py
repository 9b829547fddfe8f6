"""Redaction: a file's bytes go, a tombstone with their digest stays, and every other proof holds.

In order: the replacement, if any, and the reason are written as an event; its entry names path, digest and size of
what goes; only then are the old bytes removed. Stopped in between, the next writer removes them.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.errors import Trouble
from archive.store import files, layout
from archive.store.archive import Archive
from archive.store.checked_files import damaged
from archive.store.committed import files_of
from archive.store.condemned import remove_for_good
from archive.store.events.hold import holds
from archive.store.events.write import PEOPLE, Content, json_bytes, record, told
from archive.store.events.zip_parts import ZipWithout
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.parquet import options
from archive.store.records import NEVER_REDACTED

_OF_A_PERSON = ("salt", "name", "contact", "organisation")
_INSTEAD = "(name redacted)"
_INSIDE = ": "
"""Between the path of a zip in the archive and the path of a file in it."""
_WRITTEN = ("text", "cause", "reason")


@dataclass
class RedactionPlan:
    """What a redaction is to do: files that go -> what replaces them: bytes, a zip without a file, or nothing."""

    gone: dict[str, bytes | ZipWithout | None] = field(default_factory=dict)
    people: int = 0
    done_by: int | None = None
    """Ledger entry that did it already."""
    stays: str = ""
    """What stands in place of a text that goes, in words."""
    parts: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    """Of files that are zips: SHA-256 and size of each file in them that goes, where not all do."""


def of_name(archive: Archive, name: str, elsewhere: Callable[[], Iterable[str]] = list) -> RedactionPlan:
    """Takes a name out of every table of people, and out of what findings say. elsewhere: other places where it stands,
    to be offered.

    Errors: Trouble where it stands in no table of people.
    """
    plan = RedactionPlan()
    for path in _people_files(archive):
        data, count = _without_name(archive.root / path, name)
        if count:
            plan.gone[path] = data
            plan.people += count
    for path in _standing(archive, "findings.parquet"):
        if (kept := _told_without(archive.root / path, name)) is not None:
            plan.gone[path] = kept
    if not plan.gone and any("people" in path for path in archive.ended):
        return RedactionPlan(done_by=max(archive.ended.values()))  # an earlier run was stopped, and is ended now
    if not plan.gone:
        others = list(dict.fromkeys(elsewhere()))
        more = f" and {len(others) - 3} more" if len(others) > 3 else ""
        raise Trouble(
            "this name stands in no table of people",
            code="redact.unknown-name",
            found=name,
            remedy=f"it stands in {'; '.join(others[:3])}{more}: take each out, as with --file '{others[0]}'"
            if others
            else "write it as the records do",
        )
    return plan


def of_file(archive: Archive, path: str, replacement: Path | None = None) -> RedactionPlan:
    """Takes one committed file out, such as deposits/2026/<id>/data/originals.zip, or one file of a zip among the
    originals or documents: deposits/2026/<id>/data/originals.zip: week2/crew.txt. What is damaged or lost, and that no
    copy holds, is given up so, unless proofs rest on it: answers go on without it.

    Of a step of a case what was written goes, and its number, link, days and costs stay, unless a replacement is given.

    Errors: Trouble where the ledger commits no such file, or it is one that proofs rest on.
    """
    outer, colon, inside = path.partition(_INSIDE)
    if colon and not (archive.root / path).is_file():
        return _of_part(archive, Path(outer).as_posix(), inside, replacement)
    clean = Path(path).as_posix()
    archive.catch_up()
    before = archive.db.execute("SELECT number FROM gone WHERE path = ?", (clean,)).fetchone()
    if before is not None:
        return RedactionPlan(done_by=int(before[0]))
    lost = any(entry.path == clean and entry.may_be_given_up for entry in archive.unread())
    if not lost:
        _require_committed(archive, clean)
    if any(clean.endswith(f"/data/{n}") for n in NEVER_REDACTED) or "/tables/sweeps-" in clean:
        raise Trouble(
            "proofs rest on this file",
            code="redact.proofs-rest-on-it",
            found=path,
            remedy="withdraw the records instead",
        )
    if replacement is None and not lost and (kept := _of_case(archive, clean)) is not None:
        return RedactionPlan({clean: kept}, stays="the step of the case without text, cause and reason")
    return RedactionPlan({clean: None if replacement is None else replacement.read_bytes()})


def _of_part(archive: Archive, path: str, inside: str, replacement: Path | None) -> RedactionPlan:
    """Takes a file out of a zip, as that stands today. Nothing takes its place: it would pass for what was received."""
    if replacement is not None:
        raise Trouble("a file in a zip is not replaced", code="redact.part-replaced", where="--with", found=inside)
    archive.catch_up()
    place = path
    while (row := archive.db.execute("SELECT replacement FROM gone WHERE path = ?", (place,)).fetchone()) is not None:
        if row[0] is None:
            return of_file(archive, place)
        place = str(row[0])
    _require_committed(archive, place)
    part = ZipWithout(archive.root / place, path, inside)
    try:
        part.look()
    except Trouble:
        if (number := _part_gone(archive, path, inside)) is not None:
            return RedactionPlan(done_by=number)
        raise
    return RedactionPlan({place: None if part.empty else part}, parts={place: part.members})


def _part_gone(archive: Archive, path: str, inside: str) -> int | None:
    """Ledger entry that took a file out of the originals of a bag, by its name as deposit.json has it; None: none."""
    deposit = path.split("/")[2] if path.startswith(f"{layout.DEPOSITS}/") and path.count("/") > 2 else ""
    received = archive.texts(archive.deposit_entry(deposit)).get("originals", []) if deposit else []
    for one in (o for o in received if o.get("name") == inside):
        found = archive.db.execute(
            "SELECT g.number FROM gone_parts p JOIN gone g ON g.path = p.path WHERE p.sha256 = ?", (one["sha256"],)
        ).fetchone()
        if found is not None:
            return int(found[0])
    ended = [number for gone, number in archive.ended.items() if gone == path]
    return max(ended, default=None)


def _require_committed(archive: Archive, path: str) -> None:
    """Errors: Trouble where a path is no file of a deposit or an event that the ledger commits."""
    if not ((archive.root / path).is_file() and _may_go(archive, path)):
        raise Trouble(
            "no file of a deposit or an event",
            code="redact.not-committed",
            found=path,
            expected="a path inside the archive, and for a file in a zip ': ' and its path there",
        )


def _of_case(archive: Archive, path: str) -> bytes | None:
    """What stays of a step of a case: all but what somebody wrote in words of his own. None where it is no such step,
    or not the file that the ledger commits."""
    if archive.db.execute("SELECT 1 FROM case_steps WHERE path = ?", (path,)).fetchone() is None:
        return None
    try:
        said = json.loads((archive.root / path).read_bytes())
    except ValueError:
        return None
    return json_bytes({k: v for k, v in said.items() if k not in _WRITTEN})


def redact(
    archive: Archive, plan: RedactionPlan, *, by: str | None, reason: str | None, sign: Sign | None = None
) -> LedgerEntry:
    """Does it, unless it was done before; gives its entry.

    Errors: Trouble where a deposit that it touches is of a job under a legal hold, or a file is not the one committed.
    """
    before = None if plan.done_by is None else archive.ledger.read(plan.done_by)
    if before is not None:
        return before
    _not_held(archive, plan)
    committed = dict(pair for e in archive.entries() for pair in files_of(archive.root, e))
    lost = {entry.path for entry in archive.unread()} & plan.gone.keys()
    gone: list[dict[str, Any]] = []
    attached: dict[str, Content] = {}
    for number, (path, data) in enumerate(plan.gone.items()):
        name = f"{number:04d}-{Path(path).name}"
        if data is not None:
            attached[name] = data.write if isinstance(data, ZipWithout) else data
        if path in lost:
            found = {"sha256": committed[path], "lost": True}
        else:
            found = told(files.fingerprint(archive.root / path))
        if found["sha256"] != committed.get(path):
            raise damaged(archive.root, path, committed.get(path, ""))
        members = {"members": plan.parts[path]} if path in plan.parts else {}
        gone.append({"path": path, **found, "replacement": name if data is not None else None, **members})
    texts = {"reason": reason, "gone": gone}
    made = record(archive, "redact", by=by, texts=texts, facts={"gone": gone}, attached=attached, sign=sign)
    archive.take_away_condemned()
    for path in lost:
        remove_for_good(archive.root / path)
    archive.ended.clear()  # nothing of an earlier run
    return made


def _people_files(archive: Archive) -> Iterator[str]:
    """Every file that may hold names of people: the tables in bags, those in events, and what replaced some."""
    yield from _standing(archive, "people.parquet")
    for pattern in (f"{layout.ASSESSMENTS}/*/data/{PEOPLE}", f"{layout.EVENTS}/*/*{PEOPLE}"):
        yield from (p.relative_to(archive.root).as_posix() for p in sorted(archive.root.glob(pattern)))


def _standing(archive: Archive, name: str) -> Iterator[str]:
    """Files of one table in bags, and what replaced some."""
    archive.catch_up()
    for pattern in (f"{layout.DEPOSITS}/*/*/data/tables/{name}", f"{layout.EVENTS}/*/*-{name}"):
        yield from (p.relative_to(archive.root).as_posix() for p in sorted(archive.root.glob(pattern)))


def _without_name(path: Path, name: str) -> tuple[bytes, int]:
    """The file without what says who that person is, and how many rows that were."""
    if path.suffix == ".json":
        rows = json.loads(path.read_bytes())
        hit = [r for r in rows if r.get("name") == name]
        for row in hit:
            row.update({k: None for k in _OF_A_PERSON if k in row})
        return (json.dumps(rows, ensure_ascii=False, indent=1) + "\n").encode(), len(hit)
    table = options.read(path)
    rows = table.to_pylist()
    hit = [r for r in rows if r["name"] == name]
    for row in hit:
        row.update(dict.fromkeys(_OF_A_PERSON))
    return _as_file(pa.Table.from_pylist(rows, schema=table.schema)), len(hit)


def _told_without(path: Path, name: str) -> bytes | None:
    """A table of findings with other words in place of a name; None where no cell has it."""
    table = options.read(path)
    hit = False
    for at, column in enumerate(table.schema):
        if pa.types.is_string(column.type) and pc.any(pc.match_substring(table.column(at), name)).as_py():
            table = table.set_column(at, column, pc.replace_substring(table.column(at), name, _INSTEAD))
            hit = True
    return _as_file(table) if hit else None


def _as_file(table: Any) -> bytes:
    out = io.BytesIO()
    writer = options.writer(out, table.schema)
    writer.write_table(table)
    writer.close()
    return out.getvalue()


def _may_go(archive: Archive, path: str) -> bool:
    """Whether the ledger commits the file, and it is payload of a bag or part of an event."""
    for entry in archive.entries():
        for committed in entry.files:
            folder = committed.rpartition("/")[0]
            if folder and path.startswith(f"{folder}/"):
                inside = dict(files_of(archive.root, entry))
                return path in inside and (path.startswith(f"{folder}/data/") or folder.startswith(layout.EVENTS))
    return False


def _not_held(archive: Archive, plan: RedactionPlan) -> None:
    under = {h["job"] for h in holds(archive)}
    for path in plan.gone if under else ():
        if held := _jobs(archive, path) & under:
            raise Trouble(
                "a legal hold forbids this",
                code="redact.under-hold",
                where=path,
                found=f"job {sorted(held)[0]}",
                remedy="release it first",
            )


def _jobs(archive: Archive, path: str) -> set[str]:
    """Jobs that a file of the archive is of: those of its deposit's records, or those that its event names."""
    while (row := archive.db.execute("SELECT path FROM gone WHERE replacement = ?", (path,)).fetchone()) is not None:
        path = str(row[0])
    top, *parts = path.split("/")
    if top == layout.DEPOSITS:
        hidden = [u for u in archive.unread() if u.deposit == parts[1] and not u.applied]
        if hidden and None in (hidden[0].jobs or ()):  # its records may be of any job
            raise hidden[0].trouble(archive.root)
        if hidden:
            return {job for job in hidden[0].jobs or () if job}
        asked = " UNION ".join(f"SELECT job_id FROM {name} WHERE deposit = ?1" for name in ("records", "deposits"))
        return {r[0] for r in archive.db.execute(asked, (parts[1],)) if r[0]}
    if top != layout.EVENTS:
        return set()
    entry = next((e for e in archive.entries() if e.get("id") == parts[0]), None)
    return set() if entry is None else {j for j in [entry.get("job"), *entry.get("jobs", ())] if j}
