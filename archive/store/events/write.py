"""An event: texts in events/<id>/, their digests in one ledger entry. Nothing that it speaks of is rewritten.

events/<id>/event.json   what was done, to what, why: texts that only this file holds
events/<id>/people.json  who did it; the entry and event.json carry the key alone
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from archive import disk
from archive.store import aside, clock, files, layout
from archive.store.archive import Archive
from archive.store.files import DigestedFile, Fingerprint
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.tables import person_key

EVENT = "event.json"
PEOPLE = "people.json"

Content = bytes | Callable[[DigestedFile], object]
"""What goes into a file of an event: its bytes, or what writes them."""


def record(
    archive: Archive,
    event: str,
    *,
    by: str | None,
    texts: Mapping[str, Any],
    facts: Mapping[str, Any] | Callable[[], Mapping[str, Any]] | None = None,
    attached: Mapping[str, Content] | None = None,
    sign: Sign | None = None,
) -> LedgerEntry:
    """Commits an event and gives its entry.

    by: name of who did it, or None where it was not stated. texts: what event.json holds. facts: what the entry
    itself holds, no names and no free text; or what gives them after each look at the ledger, and raises where the
    event no longer makes sense. attached: more files by name; PEOPLE among them has rows of
    others, whom the texts name by key.
    """
    event_id = layout.new_id(clock.now())
    place = f"{layout.EVENTS}/{event_id}"
    writing = aside.begin(archive, event_id)
    try:
        folder = writing.folder / event_id
        disk.make_folder(folder)
        who, depositor = person(by)
        more = dict(attached or {})
        others = more.pop(PEOPLE, b"[]")
        people = [*depositor, *(json.loads(others) if isinstance(others, bytes) else ())]
        contents: dict[str, Content] = {
            EVENT: json_bytes({"event": event, "id": event_id, "at": clock.text(clock.now()), "by": who, **texts}),
            **({PEOPLE: json_bytes(people)} if people else {}),
            **more,
        }
        prints = {name: _write(folder / name, content) for name, content in contents.items()}
        disk.sync_folder(folder)
        disk.move_in(folder, archive.root / place)
        fields = {
            "kind": "event",
            "event": event,
            "id": event_id,
            "by": who,
        }
        committed = {f"{place}/{name}": told(p) for name, p in prints.items()}

        def as_it_stands() -> dict[str, Any]:
            return {**fields, **(facts() if callable(facts) else facts or {}), "files": committed}

        return archive.commit(as_it_stands, writing.folder, sign)
    finally:
        aside.take_back(archive, writing.folder)


def _write(path: Path, content: Content) -> Fingerprint:
    return files.write_new(path, content) if isinstance(content, bytes) else files.write_by(path, content)


def told(p: Fingerprint) -> dict[str, Any]:
    """A fingerprint as an entry holds it."""
    return {"sha256": p.sha256, "bytes": p.bytes}


def person(name: str | None, role: str = "depositor") -> tuple[str | None, list[dict[str, Any]]]:
    """Key of a person, and the row that alone holds the name; None and no row where it was not stated."""
    if name is None:
        return None, []
    salt = secrets.token_hex(16)
    key = person_key(salt, name)
    return key, [{"person_key": key, "salt": salt, "name": name, "role": role}]


def people_json(name: str | None) -> tuple[str | None, bytes]:
    """Key of who does something, and the bytes of people.json that holds the name; nothing where it was not stated."""
    key, rows = person(name)
    return key, json_bytes(rows) if rows else b""


def json_bytes(value: Any) -> bytes:
    """A document as an event keeps it."""
    return (json.dumps(value, ensure_ascii=False, indent=1, default=str) + "\n").encode()
