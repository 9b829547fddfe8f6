"""What is looked at for the health of an archive: each a sentence, and whether it needs attention."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from archive import schemas
from archive.answers.health.calibrations import units
from archive.answers.progress import progress
from archive.answers.setaside import set_aside
from archive.answers.wording import ENGLISH, Wording
from archive.errors import Trouble
from archive.objects import place
from archive.store import Archive, disposed, memory
from archive.store.cautions import cautions
from archive.store.disposal import due
from archive.store.events import holds
from archive.store.events.cases import cases
from archive.store.events.stamps import due as stamps_due
from archive.store.fixity import DEPTHS
from archive.store.fixity.log import FixityRun, runs
from archive.store.keys import judge_signatures

_LISTED = 100
"""Open jobs that are looked into."""


@dataclass(frozen=True)
class HealthCheck:
    """One thing. topic: fixity, copies, signatures, stamps, calibrations, warranties, jobs, cases, set aside,
    retention, events; look: it needs attention; text: a sentence; items: what it speaks of, by name."""

    topic: str
    look: bool
    text: str
    items: tuple[str, ...] = ()

    def plain(self) -> dict[str, Any]:
        """As JSON."""
        return {"topic": self.topic, "attention": self.look, "text": self.text, "items": list(self.items)}


@dataclass(frozen=True)
class _HealthQuestion:
    archive: Archive
    on: datetime
    words: Wording
    days: dict[str, int]

    @property
    def today(self) -> date:
        return self.on.date()


def checks(archive: Archive, on: datetime, words: Wording = ENGLISH) -> list[HealthCheck]:
    """Everything that is looked at. on: now, UTC. What cannot be looked at says so, and needs attention.

    Errors: Trouble where the archive cannot be answered from at all.
    """
    archive.catch_up()
    asked = _HealthQuestion(archive, on.astimezone(UTC), words, schemas.load("health.toml")["days"])
    made: list[HealthCheck] = []
    for topic, look in _TOPICS.items():
        try:
            made += [HealthCheck(topic, *found) for found in look(asked)]
        except Trouble as trouble:
            made.append(HealthCheck(topic, True, words("It could not be looked at: {why}", why=str(trouble))))
    return made


Found = tuple[bool, str, tuple[str, ...]]


def _fixity(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    logged = runs(a.archive)
    now = a.archive.head().size
    for depth in DEPTHS:
        # a deeper run has looked at all that a lesser one looks at
        deep_enough = [r for r in logged if DEPTHS.index(r.depth) >= DEPTHS.index(depth)]
        if not deep_enough:
            text = w("{depth}: no run is logged.", depth=_depth(depth, w))
            yield True, text, ()
            continue
        yield (*_last_run(a, depth, deep_enough[-1], now), ())


def _last_run(a: _HealthQuestion, depth: str, last: FixityRun, now: int) -> tuple[bool, str]:
    w = a.words
    days = (a.on - last.at).days
    known = a.archive.size_of(last.head) == last.entries
    filled = {"depth": _depth(depth, w), "day": w.day(last.at.date().isoformat()), "n": max(0, now - last.entries)}
    if not known:
        text = w("{depth}: last on {day}, over a ledger that this one does not continue.", **filled)
    elif not last.sound:
        text = w("{depth}: last on {day}, NOT SOUND: {damaged} damaged.", damaged=last.damaged, **filled)
    else:
        text = w("{depth}: last on {day}, sound; ledger entries since then: {n}.", **filled)
    return not known or not last.sound or days > a.days[depth], text


def _depth(depth: str, w: Wording) -> str:
    return {"count": w("Names and sizes"), "digest": w("Every byte"), "deep": w("Every record")}[depth]


def _copies(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    held: list[dict[str, Any]] = memory.recall(a.archive.id, "copies") or []
    if not held:
        yield True, w("No second copy was ever made from this machine."), ()
    now = a.archive.head().size
    for copy in held:
        at = datetime.fromisoformat(copy["at"])
        lacks = max(0, now - int(copy["size"]))
        text = w(
            "{path}: brought up to date on {day}; ledger entries that it lacks: {n}.",
            path=copy["path"],
            day=w.day(copy["at"][:10]),
            n=lacks,
        )
        looked = runs(a.archive, place(copy["path"]))
        if looked:
            day = w.day(looked[-1].at.date().isoformat())
            state = w("sound") if looked[-1].sound else w("NOT SOUND")
            text += " " + w("Its fixity was last looked at on {day}: {state}.", day=day, state=state)
        else:
            text += " " + w("Its fixity was never looked at from this machine.")
        old = (a.on - at).days > a.days["copy"]
        yield old or not looked or not looked[-1].sound, text, ()


def _signatures(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    entries = list(a.archive.entries())
    _, damage = judge_signatures(entries)
    told = [c.text for c in cautions(a.archive, entries) if c.kind == "signature"]
    told += [f"ledger entry {number}: {what}" for number, what in damage]
    signed = sum(e.signed is not None for e in entries)
    text = w("Ledger entries signed: {signed}, unsigned: {unsigned}.", signed=signed, unsigned=len(entries) - signed)
    if told:
        text += " " + w("Of people who hold a key, some are unsigned, or a signature is not right.")
    yield bool(told), text, tuple(told)


def _stamps(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    stamps = [e for e in a.archive.entries() if e.get("event") == "stamp"]
    if not stamps:
        yield False, w("The head was never stamped."), ()
        return
    ending = stamps_due(a.archive, a.days["stamp"], a.on)
    last = w.day(str(stamps[-1]["at"])[:10])
    text = w("Stamps: {n}, the last of {day}.", n=len(stamps), day=last)
    if ending:
        text += " " + w("Certificates that end within {days} days: renew them.", days=a.days["stamp"])
    yield bool(ending), text, tuple(f"ledger entry {e.number}: {e['ends']}" for e in ending)


def _calibrations(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    known = units(a.archive, a.today, a.days["calibration"])
    look = [u for u in known if u.look]
    text = w(
        "Units with a calibration kept here: {n}; ended, or ending within {days} days: {look}.",
        n=len(known),
        days=a.days["calibration"],
        look=len(look),
    )
    items = (f"{u.serial}: {u.words}" + (f", last used {u.used}" if u.used else "") for u in look)
    yield bool(look), text, tuple(items)


def _warranties(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    rows = a.archive.db.execute("SELECT job_id, value FROM jobs WHERE field = 'warranty_end' ORDER BY value, job_id")
    last = (a.today + timedelta(days=a.days["warranty"])).isoformat()
    ending = [f"{job}: {day}" for job, day in rows if a.today.isoformat() <= str(day) <= last]
    text = w("Warranties that end within {days} days: {n}.", days=a.days["warranty"], n=len(ending))
    yield bool(ending), text, tuple(ending)


def _jobs(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    gone = disposed.deposits(a.archive.db)
    rows = a.archive.db.execute(
        "SELECT job_id, deposit FROM deposits WHERE job_id IS NOT NULL ORDER BY number"
    ).fetchall()
    accepted = {r[0] for r in a.archive.db.execute("SELECT job_id FROM acceptances")}
    still = sorted({str(job) for job, deposit in rows if deposit not in gone} - accepted)
    items = []
    for job in still[:_LISTED]:
        counts = progress(a.archive, job, today=a.today).counts
        listed = ("missing", "failing", "not_graded", "in_conflict", "in_doubt", "late")
        told = ", ".join(f"{name.replace('_', ' ')} {counts[name]}" for name in listed if counts[name])
        items.append(f"{job}: {told or 'complete, not accepted yet'}")
    text = w("Jobs that are not accepted: {n}.", n=len(still))
    if len(still) > _LISTED:
        text += " " + w("Looked into: {n}.", n=_LISTED)
    yield False, text, tuple(items)


def _cases(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    still = [c for c in cases(a.archive) if c.state != "closed"]
    items = tuple(f"{c.name}: {c.last('link_label') or 'no link'}, {c.state}" for c in still)
    yield False, w("Cases that are not closed: {n}.", n=len(still)), items


def _set_aside(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    still = Counter(str(r["job"] or "no job") for r in set_aside(a.archive) if not r["settled"])
    text = w("Set aside and not settled: {n}.", n=sum(still.values()))
    yield bool(still), text, tuple(f"{job}: {n}" for job, n in sorted(still.items()))


def _retention(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    over = [j for j in due(a.archive, a.today) if j.over]
    free = [j for j in over if j.free]
    text = w("Jobs past their day of retention: {n}; that may be disposed of: {free}.", n=len(over), free=len(free))
    items = [f"{j.job}: {'proposed, waits for a second person' if j.proposal else 'may be disposed of'}" for j in free]
    items += [f"{j.job}: {'; '.join(h.text for h in j.hindrances)}" for j in over if not j.free]
    yield bool(free), text, tuple(items)
    held = tuple(h["job"] for h in holds(a.archive))
    yield False, w("Jobs under a legal hold: {n}.", n=len(held)), held
    if gone := disposed.sentence(a.archive.db):
        yield False, gone[0].upper() + gone[1:] + ".", ()


def _events(a: _HealthQuestion) -> Iterator[Found]:
    w = a.words
    unread = tuple(str(event) for event in a.archive.unread())
    yield bool(unread), w("Events that cannot be read: {n}.", n=len(unread)), unread


_TOPICS: dict[str, Callable[[_HealthQuestion], Iterator[Found]]] = {
    "fixity": _fixity,
    "copies": _copies,
    "signatures": _signatures,
    "stamps": _stamps,
    "calibrations": _calibrations,
    "warranties": _warranties,
    "jobs": _jobs,
    "cases": _cases,
    "set aside": _set_aside,
    "retention": _retention,
    "events": _events,
}
