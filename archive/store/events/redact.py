"""Redaction: a file's bytes go, a tombstone with their digest stays, and every other proof holds.

In order: the replacement, if any, and the reason are written as an event; its entry names path, digest and size of
what goes; only then are the old bytes removed. Stopped in between, the next writer removes them.
"""

from __future__ import annotations

import io
import json
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import pyarrow as pa
import pyarrow.compute as pc

from archive import disk
from archive.errors import Trouble
from archive.store import files, layout
from archive.store.archive import Archive
from archive.store.checked_files import damaged
from archive.store.committed import files_of
from archive.store.events.hold import holds
from archive.store.events.write import PEOPLE, json_bytes, record, told
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.parquet import options

_OF_A_PERSON = ("salt", "name", "contact", "organisation")
_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_MOST_UNPACKED, _MOST_DEPTH = 1 << 30, 4
"""Bytes of a file in a zip, and zips in zips, where a name is looked for."""
NOT_LOOKED_INTO = ", which could not be looked into"
_WRITTEN = ("text", "cause", "reason")
_NEVER = ("index.parquet", "tables/records.parquet")


@dataclass
class RedactionPlan:
    """What a redaction is to do: files that go -> bytes that replace them (None: nothing does)."""

    gone: dict[str, bytes | None] = field(default_factory=dict)
    people: int = 0
    done_by: int | None = None
    """Ledger entry that did it already."""
    stays: str = ""
    """What stands in place of a text that goes, in words."""


def of_name(archive: Archive, name: str) -> RedactionPlan:
    """Takes a name out of every table of people. Errors: Trouble where it stands in none."""
    plan = RedactionPlan()
    for path in _people_files(archive):
        data, count = _without_name(archive.root / path, name)
        if count:
            plan.gone[path] = data
            plan.people += count
    if not plan.gone and any("people" in path for path in archive.ended):
        return RedactionPlan(done_by=max(archive.ended.values()))  # an earlier run was stopped, and is ended now
    if not plan.gone:
        found = [place for place in still_named(archive, name) if not place.endswith(NOT_LOOKED_INTO)]
        others = list(dict.fromkeys(place.partition(": ")[0] for place in found))
        more = f" and {len(others) - 3} more" if len(others) > 3 else ""
        raise Trouble(
            "this name stands in no table of people",
            code="redact.unknown-name",
            found=name,
            remedy=f"it stands in {', '.join(others[:3])}{more}: take each out, as with --file {others[0]}"
            if others
            else "write it as the records do",
        )
    return plan


def of_file(archive: Archive, path: str, replacement: Path | None = None) -> RedactionPlan:
    """Takes one committed file out, such as deposits/2026/<id>/data/originals.zip. The text of an event that is damaged
    or lost, and that no copy holds, is given up so: answers go on without it.

    Of a step of a case what was written goes, and its number, link, days and costs stay, unless a replacement is given.

    Errors: Trouble where the ledger commits no such file, or it is one that proofs rest on.
    """
    clean = Path(path).as_posix()
    archive.catch_up()
    before = archive.db.execute("SELECT number FROM gone WHERE path = ?", (clean,)).fetchone()
    if before is not None:
        return RedactionPlan(done_by=int(before[0]))
    lost = any(event.path == clean for event in archive.unread())
    if not lost and not ((archive.root / clean).is_file() and _may_go(archive, clean)):
        raise Trouble(
            "no file of a deposit or an event",
            code="redact.not-committed",
            found=path,
            expected="a path inside the archive",
        )
    if any(clean.endswith(f"/data/{n}") for n in _NEVER) or "/tables/sweeps-" in clean:
        raise Trouble(
            "proofs rest on this file",
            code="redact.proofs-rest-on-it",
            found=path,
            remedy="withdraw the records instead",
        )
    if replacement is None and not lost and (kept := _of_case(archive, clean)) is not None:
        return RedactionPlan({clean: kept}, stays="the step of the case without text, cause and reason")
    return RedactionPlan({clean: None if replacement is None else replacement.read_bytes()})


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
    lost = {event.path for event in archive.unread()} & plan.gone.keys()
    gone: list[dict[str, Any]] = []
    attached: dict[str, bytes] = {}
    for number, (path, data) in enumerate(plan.gone.items()):
        name = f"{number:04d}-{Path(path).name}"
        if data is not None:
            attached[name] = data
        if path in lost:
            found = {"sha256": committed[path], "lost": True}
        else:
            found = told(files.fingerprint(archive.root / path))
        if found["sha256"] != committed.get(path):
            raise damaged(archive.root, path)
        gone.append({"path": path, **found, "replacement": name if data is not None else None})
    texts = {"reason": reason, "gone": gone}
    made = record(archive, "redact", by=by, texts=texts, facts={"gone": gone}, attached=attached, sign=sign)
    archive.take_away_condemned()
    for path in lost:
        disk.remove(archive.root / path)
    archive.ended.clear()  # nothing of an earlier run
    return made


def still_named(archive: Archive, name: str) -> Iterator[str]:
    """Places where a name stands outside the tables of people: originals and what is in zips and workbooks among them,
    cells of other tables, reasons given. A zip that could not be looked into ends with NOT_LOOKED_INTO."""
    spellings = {name.encode(code) for code in ("utf-8", "utf-16-le", "cp1252", "cp1250") if _can(name, code)}
    root = archive.root
    for path in sorted(p for top in (layout.DEPOSITS, layout.EVENTS) for p in (root / top).rglob("*") if p.is_file()):
        shown = path.relative_to(root).as_posix()
        if path.suffix == ".parquet":
            if "people" not in path.name and not path.name.startswith("sweeps-") and _in_cells(path, name):
                yield shown
        else:
            with path.open("rb") as file:
                yield from (
                    _in_zip(file, shown, spellings)
                    if file.read(4) in _ZIP
                    else _inside(path.read_bytes(), shown, spellings)
                )


def _inside(data: bytes, shown: str, spellings: set[bytes], depth: int = 0) -> Iterator[str]:
    """Places in a file, and in the zips in it, where a name stands. depth: of zips around it."""
    if _holds(data, spellings):
        yield shown
    elif data.startswith(_ZIP):
        yield from _in_zip(io.BytesIO(data), shown, spellings, depth)


def _in_zip(file: IO[bytes], shown: str, spellings: set[bytes], depth: int = 0) -> Iterator[str]:
    """Places in a zip or a workbook where a name stands: "shown: member/member"."""
    try:
        with zipfile.ZipFile(file) as packed:
            for m in packed.infolist() if depth < _MOST_DEPTH else ():
                place = f"{shown}{'/' if depth else ': '}{m.filename}"
                if m.file_size > _MOST_UNPACKED:
                    yield place + NOT_LOOKED_INTO
                else:
                    yield from _inside(packed.read(m), place, spellings, depth + 1)
            if depth == _MOST_DEPTH:
                yield shown + NOT_LOOKED_INTO
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, UnicodeDecodeError):
        yield shown + NOT_LOOKED_INTO  # damaged, of an unknown kind, or encrypted


def _can(name: str, code: str) -> bool:
    try:
        name.encode(code)
    except UnicodeEncodeError:
        return False
    return True


def _holds(data: bytes, spellings: set[bytes]) -> bool:
    return any(s in data for s in spellings)


def _in_cells(path: Path, name: str) -> bool:
    table = options.read(path)
    texts = [c for c in table.columns if pa.types.is_string(c.type)]
    return any(pc.any(pc.match_substring(c, name)).as_py() for c in texts)


def _people_files(archive: Archive) -> Iterator[str]:
    """Every file that may hold names of people: the tables in bags, those in events, and what replaced some."""
    archive.catch_up()
    for pattern in (
        f"{layout.DEPOSITS}/*/*/data/tables/people.parquet",
        f"{layout.ASSESSMENTS}/*/data/{PEOPLE}",
        f"{layout.EVENTS}/*/*people.*",
    ):
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
    out = io.BytesIO()
    writer = options.writer(out, table.schema)
    writer.write_table(pa.Table.from_pylist(rows, schema=table.schema))
    writer.close()
    return out.getvalue(), len(hit)


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
    for path in plan.gone:
        parts = path.split("/")
        if under and parts[0] == layout.DEPOSITS:
            jobs = {
                r[0] for r in archive.db.execute("SELECT DISTINCT job_id FROM records WHERE deposit = ?", (parts[2],))
            }
            if jobs & under:
                raise Trouble(
                    "a legal hold forbids this",
                    code="redact.under-hold",
                    where=path,
                    found=f"job {sorted(jobs & under)[0]}",
                    remedy="release it first",
                )
