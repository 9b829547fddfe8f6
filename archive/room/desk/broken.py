"""What stands after work that failed or broke off: an archive is before or after a deposit, never between."""

from __future__ import annotations

from archive.answers.wording import Wording
from archive.room.desk.desk import Desk
from archive.room.desk.work import Work, work
from archive.store import Archive


def what_stands(archive: Archive, desk: Desk, found: Work, words: Wording) -> list[str]:
    """Sentences that say which, and what to do."""
    if found.word == "failed":
        made = committed(archive, desk, found) if found.request.kind == "deposit" else None
        if made is not None:
            return [words("The archive is as after it: it is in the ledger, as deposit {deposit}.", deposit=made)]
        return [words("Nothing of it was archived; the tray is as it was.")]
    gone = words("Its process is gone: it was ended, or the machine was.")
    if found.request.kind != "deposit":
        return [gone, words("Nothing was archived by it. Run it again.")]
    made = committed(archive, desk, found)
    if made is None:
        return [
            gone,
            words("The archive is as before: no deposit of it is in the ledger. Run it again."),
        ]
    return [gone, words("The archive is as after it: it is in the ledger, as deposit {deposit}.", deposit=made)]


def committed(archive: Archive, desk: Desk, found: Work) -> str | None:
    """The deposit that came of it, by what its plan was confirmed to hold; None where none is in the ledger."""
    plan = work(desk.works, found.request.what["plan"]).result()
    wanted = plan["decided"]
    for number in range(plan["head"]["size"], archive.catch_up()):
        entry = archive.ledger.read(number)
        if entry is not None and entry["kind"] == "deposit" and entry.get("confirmed") == wanted:
            return str(entry["deposit"])
    return None
