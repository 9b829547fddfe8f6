"""Fixity in three depths: count, digest, deep. Each says what it did, and against which head."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.spread import Lost, Workforce
from archive.store import catalogue, clock, layout, memory
from archive.store.archive import Archive
from archive.store.bags import Damage
from archive.store.catalogue.apply_event import DISPOSAL
from archive.store.cautions import cautions
from archive.store.committed import redacted
from archive.store.fixity import bags
from archive.store.fixity.chain import Chain, walk
from archive.store.fixity.entry_look import EntryLook, Reread, look, pieces
from archive.store.fixity.report import DEEP, DEPTHS, DIGEST, Report
from archive.store.head_digits import typed
from archive.store.kept_work import BagWork
from archive.store.keys import judge_signatures
from archive.store.promotion import promotion
from archive.vocabulary.counted import counted

_ENDED = "could not be looked at: every process that tried ended"


def fixity(
    archive: Archive,
    depth: str = DIGEST,
    *,
    expect: str | None = None,
    accept: bool = False,
    reread: Reread | None = None,
    force: Workforce | None = None,
) -> Report:
    """Looks whether everything is as it was. Damage is reported, never raised.

    depth: count, digest or deep. expect: a head that the ledger must hold, as a receipt gives it (hexadecimal digits,
    or SIZE:HEX). accept: take the ledger as it is now for the head to remember on this machine. reread: reads originals
    again (deep). force: who looks at the entries. Errors: ValueError for another depth.
    """
    if depth not in DEPTHS:
        raise ValueError(f"depth is one of {', '.join(DEPTHS)}, not {depth}")
    root = archive.root
    report = Report(depth)
    seen = memory.recall(archive.id, "head")  # before the ledger is read: others may move both on meanwhile
    chain = walk(root, archive.id)
    report.entries, report.head = chain.count, chain.roots[-1] if chain.roots else ""
    report.add(chain.damage)
    report.chain = chain.state
    _heads(archive, chain, report, expect, None if accept else seen)
    _signatures(chain, report)
    _stamps(chain, report)
    if chain.roots and not report.damaged:
        head = {"size": len(chain.roots), "root": chain.roots[-1], "path": str(root.absolute())}
        memory.remember(archive.id, "head", head)
    gone = redacted(chain.entries)
    _gone(chain, report)
    disposed = {name for e in chain.entries if e.get("event") == DISPOSAL for name in e["deposits"]}
    work = BagWork(
        archive.id,
        force or Workforce(),
        f"fixity {depth} {report.head} {reread is not None}",
        look,
        pieces(root, chain.entries, gone, depth, reread),
        lambda piece: layout.entry_path(Path(), piece.entry.number).as_posix(),
    )
    for piece, found in work.watched():
        entry = piece.entry
        if isinstance(found, Lost):
            found = EntryLook((Damage(str(entry.get("path", work.name(piece))), _ENDED),))
        if entry.kind == "deposit":
            report.deposits += 1
            report.records += 0 if entry["deposit"] in disposed else int(entry["records"])
            if found.damage:
                report.damaged_deposits.add(entry["deposit"])
        report.findings += found.findings
        report.files += found.files
        report.add(found.damage)
    report.earlier, report.earlier_from = work.before, clock.text(work.since) if work.since else ""
    report.files += chain.count
    for entry in chain.entries:
        if entry.get("event") == "merge":
            _other_chain(root, entry, report)
    report.add(bags.strays(root, chain.entries))
    report.add(bags.left_over(root, gone))
    report.uncommitted = bags.without_entry(root, chain.entries)
    if depth == DEEP and report.sound:
        report.add(_catalogue(archive))
    report.cautions = [c.text for c in cautions(archive, chain.entries)]
    report.copies = memory.recall(archive.id, "copies") or []
    return report


def _other_chain(root: Path, entry: Any, report: Report) -> None:
    """The ledger of an archive that was joined, as it was filed."""
    base = f"{layout.MERGED}/{entry['other']}"
    theirs = walk(root / base, entry["other"])
    report.add(theirs.damage, base)
    report.files += theirs.count
    if not theirs.damage and not theirs.holds(int(entry["other_size"]), entry["other_root"]):
        report.damaged.append(Damage(base, "does not hold the head that was joined"))


def _gone(chain: Chain, report: Report) -> None:
    """Files that were taken out on purpose: by redactions, and by disposals."""
    for e in chain.entries:
        if not e.get("gone"):
            continue
        told = {"entry": e.number, "at": e.get("at"), "files": [g["path"] for g in e["gone"]]}
        if e.get("event") == DISPOSAL:
            report.disposals.append({**told, "job": e["job"], "deposits": e["deposits"], "records": e["count"]})
        else:
            report.redactions.append(told)


def _heads(archive: Archive, chain: Chain, report: Report, expect: str | None, seen: dict[str, Any] | None) -> None:
    """Compares with the head asked for, and with the one that this machine saw last."""
    against = []
    if expect is not None:
        size, root = typed(expect)
        held = chain.holds(size, root) if size is not None else chain.size_of(root) is not None
        against.append(f"the head given, {root}")
        if not held:
            report.damaged.append(
                Damage(layout.LEDGER, f"never had the head {root}: it was cut, rolled back or rewritten")
            )
    if seen is not None:
        against.append(f"the head last seen on this machine, {seen['root']} over {counted(seen['size'], 'entry')}")
        if not chain.holds(int(seen["size"]), seen["root"]):
            made = promotion(archive.ledger, seen)
            why = str(made) if made is not None else "it was cut, rolled back or rewritten"
            what = f"does not hold the head last seen on this machine ({seen['size']} entries, {seen['root']}): {why}"
            report.damaged.append(Damage(layout.LEDGER, what))
    if against:
        report.checked_against = "; ".join(against)


def _stamps(chain: Chain, report: Report) -> None:
    """Heads that were stamped, and whether the ledger still holds them; `muniment verify` checks who signed."""
    for entry in chain.entries:
        if entry.get("event") == "stamp":
            held = chain.holds(int(entry["size"]), entry["root"])
            report.stamps.append({"entry": entry.number, "size": entry["size"], "root": entry["root"], "held": held})
            if not held:
                what = f"does not hold the head of {entry['size']} entries that was stamped"
                report.damaged.append(Damage(layout.LEDGER, what))


def _signatures(chain: Chain, report: Report) -> None:
    counts, damage = judge_signatures(chain.entries)
    report.signatures = counts
    for number, what in damage:
        name = layout.entry_path(Path(), number).as_posix()
        report.damaged.append(Damage(name, what))
        report.chain = f"{name}: {what}" if report.chain == "ok" else report.chain


def _catalogue(archive: Archive) -> list[Damage]:
    """The database as it was kept, against a rebuilt one."""
    try:
        archive.catch_up()
        fresh = catalogue.rebuilt(archive.root, archive.ledger)
    except Trouble as trouble:
        return [Damage(layout.CATALOGUE, trouble.message)]
    kept, new = catalogue.contents(archive.db), catalogue.contents(fresh)
    return [
        Damage("the index in this user's cache", f"table {name} is not what a rebuild gives; run `muniment reindex`")
        for name in new
        if kept.get(name) != new[name]
    ]
