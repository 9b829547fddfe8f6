"""The history of one link: every test, what each is to the others, and every event that touched one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive import vocabulary
from archive.answers.cases import one_case, step_text
from archive.answers.link import ArchivedLink, people
from archive.store import Archive
from archive.store.assessments import Assessed, of_records
from archive.store.cautions import Caution, cautions
from archive.store.roles import RecordState
from archive.vocabulary import cables
from archive.vocabulary.counted import counted
from archive.vocabulary.limit_words import limit_words

KINDS = {
    "renditions": "rendition",
    "reread": "re-reading",
    "conflicts": "conflict",
    "relabelled": "relabelled",
    "copied_curves": "copied curves",
}
"""What dedup decided, in the words people read."""
TRACE = "optical-trace"
"""Evidence of a curve of backscatter."""


def history(archive: Archive, link: ArchivedLink) -> list[dict[str, Any]]:
    """Entries, the last in the ledger first: kind, when (ISO 8601), entry, record, by, what, leading.

    leading: of a test the leading margin of its verdict in words; None where there is none, and of all else.

    Tests carry the time of the test and the ledger entry of their deposit; everything else the time of its own entry.
    The order is that of the ledger, and within a deposit that of the tests: a clock that was wrong changes none of it.
    """
    graded = of_records(archive, (r["address"] for r in link.rows))
    tests = [r for r in link.rows if r["evidence"] != TRACE]
    first = min(tests, key=lambda r: (r["tested_local"] or r["tested_at"] or "9", r["row"]), default=None)
    numbers = dict(archive.db.execute("SELECT deposit, number FROM deposits").fetchall())
    found = [{**_test(r, link, first=r is first), "entry": numbers[r["deposit"]]} for r in link.rows]
    touching = _touching(archive, link, graded)
    for number, entry in touching.items():
        found.extend(_events(archive, number, entry, link, graded))
    names = people(archive, {e["by"] for e in found}, touching.values())
    for e in found:
        e["by"] = names.get(e["by"] or "", None if not e["by"] else "name not there any more")
    return sorted(found, key=lambda e: (e["entry"], e["deposit"] is None, e["when"] or "", e["order"]), reverse=True)


def link_cautions(archive: Archive, link: ArchivedLink, known: Sequence[Caution] | None = None) -> list[str]:
    """What to know of the ledger entries that speak of a link: void and unread entries of the whole archive, and,
    of its own, clocks that were wrong, signatures that are missing, and second keys under the name of who made them.
    known: all of the archive, where they were worked out before."""
    known = cautions(archive) if known is None else known
    if not known:
        return []
    touching = _touching(archive, link, of_records(archive, (r["address"] for r in link.rows)))
    return [c.text for c in known if c.kind in ("void", "unread") or {c.entry, *c.bears_on} & touching.keys()]


def _test(r: dict[str, Any], link: ArchivedLink, *, first: bool) -> dict[str, Any]:
    state = link.states[r["row"]]
    verdict = r["verdict"] or "not graded"
    message = f"reported {r['reported_verdict'] or 'nothing'}, graded {verdict}"
    limit = limit_words(r["limit_id"] or r["limit_found"] or "no limit named")
    return {
        # A first test that arrived late is still the first test.
        "kind": _kind(r, first=first),
        "when": r["tested_local"] or r["tested_at"],
        "record": r["record_id"],
        "by": r["operator_key"],
        "what": f"{limit}: {message}; {_roles(state)}",
        "leading": _leading(r),
        "standing": r is link.standing,
        "order": r["row"],
        "deposit": r["deposit"],
    }


def _kind(r: dict[str, Any], *, first: bool) -> str:
    """What a record is to the others. A trace stands beside the tests of a link: it is no test again."""
    if r["kind"] not in ("new", "retests"):
        return KINDS[r["kind"]]
    return "trace" if r["evidence"] == TRACE else "test" if first else "retest"


def _leading(r: dict[str, Any]) -> str | None:
    """The leading margin of a row of the catalogue, and where it is."""
    if r["leading_margin"] is None:
        return None
    p = vocabulary.parameter(r["leading_parameter"])
    at = f"{r['leading_frequency_mhz']:g} MHz" if r["leading_frequency_mhz"] is not None else None
    place = [x for x in (r["leading_pairing"], r["leading_end"], at) if x]
    return ", ".join([f"leading margin {r['leading_margin']:.2f} {p.unit}", p.name, *place])


def _roles(state: RecordState) -> str:
    """The roles of a record and why, or why it has none."""
    found = [f"current: {state.why}"] if state.current else []
    found += [f"accepted: {state.why_accepted}"] if state.accepted else []
    lesser = f"{state.lesser_fails} later failing test{'s' * (state.lesser_fails != 1)} of less evidence"
    found += [lesser] if state.lesser_fails else []
    return "; ".join(found) or state.why


def _touching(archive: Archive, link: ArchivedLink, graded: list[Assessed]) -> dict[int, Any]:
    """Ledger entries that speak of the link: its deposits, grading runs over one of its records, and events that name
    one of them or its job."""
    db = archive.db
    deposits = sorted({r["deposit"] for r in link.rows})
    marks = ", ".join("?" * len(deposits))
    numbers = {r[0] for r in db.execute(f"SELECT number FROM deposits WHERE deposit IN ({marks})", deposits)}
    rows = [r["row"] for r in link.rows]
    marks = ", ".join("?" * len(rows))
    numbers |= {r[0] for r in db.execute(f"SELECT DISTINCT number FROM amendments WHERE row IN ({marks})", rows)}
    words = {cables.folded(r["cable_found"]) for r in link.rows if r["cable_found"]}
    marks = ", ".join("?" * len(words))
    numbers |= {r[0] for r in db.execute(f"SELECT number FROM cables WHERE words IN ({marks})", sorted(words))}
    addresses = {r["address"] for r in link.rows}
    jobs = {r["job_id"] for r in link.rows}
    found = {n: archive.ledger.read(n) for n in numbers} | {a.entry.number: a.entry for a in graded}
    for (n,) in db.execute("SELECT number FROM entries WHERE kind = 'event' ORDER BY number"):
        entry = archive.ledger.read(n)
        if entry is None:
            continue
        pairs = [a for pair in entry.get("pairs", []) or [] for a in pair]
        named = addresses & {str(a) for a in [*(entry.get("records", []) or []), *pairs]}
        if named or set(entry.get("deposits", []) or []) & set(deposits) or entry.get("job") in jobs:
            found[n] = entry
    return {n: e for n, e in sorted(found.items()) if e is not None}


def _events(
    archive: Archive, number: int, entry: Any, link: ArchivedLink, graded: list[Assessed]
) -> list[dict[str, Any]]:
    base = {"when": entry.get("at"), "by": entry.get("by"), "order": number, "standing": False, "deposit": None}
    base["leading"] = None
    base["entry"] = number
    if entry.kind == "deposit":
        here = [r for r in link.rows if r["deposit"] == entry["deposit"]]
        of = counted(int(entry["records"]), "record")
        message = (
            f"deposit {entry['deposit']}: {len(here)} of its {of} {'is' if len(here) == 1 else 'are'} of this link"
        )
        reason = f" ({entry['reason']})" if entry.get("reason") else ""
        return [{**base, "kind": "deposit", "record": None, "what": message + reason}]
    if entry.kind == "assessment":
        mine = [a for a in graded if a.entry.number == number]
        ids = {r["address"]: r["record_id"] for r in link.rows}
        return [{**base, "kind": "assessment", "record": ids[a.address], "what": _assessed(a)} for a in mine]
    if entry["event"] == "amend":
        rows = {r["row"]: r["record_id"] for r in link.rows}
        changes = archive.db.execute("SELECT row, field, old, new FROM amendments WHERE number = ?", (number,))
        return [
            {
                **base,
                "kind": "amendment",
                "record": rows[c["row"]],
                "what": f"{c['field']}: {c['old'] or 'nothing'} became {c['new'] or 'nothing'}",
            }
            for c in changes
            if c["row"] in rows
        ]
    if entry["event"] == "case":
        case = one_case(archive, str(entry.get("case") or entry["id"]))
        what = step_text(entry["action"], case, number)
        return [{**base, "kind": "case", "record": None, "what": what}]
    if entry["event"] == "cables":
        words = {cables.folded(r["cable_found"]) for r in link.rows if r["cable_found"]}
        settled = archive.db.execute("SELECT words, found, type, holds FROM cables WHERE number = ?", (number,))
        return [
            {**base, "kind": "cable settled", "record": None, "what": _settled(*s)} for w, *s in settled if w in words
        ]
    return [{**base, "kind": str(entry["event"]), "record": None, "what": _describe(entry)}]


def _assessed(run: Assessed) -> str:
    """What a later grading run said of a record: "graded again: fail against tia-568-c.2/cat6/channel"."""
    message = [
        f"{v['verdict']} against {limit_words(v['limit_id'] or v['limit_found'] or 'no limit')}" for v in run.verdicts
    ]
    return f"graded again: {', '.join(message)}"


def _settled(found: str, cable_type: str | None, holds: bool) -> str:
    """What was said of words about a cable."""
    if cable_type is None:
        return f"cable {found!r}: the settled type was taken back"
    other = "" if holds else " in the archive that was merged; what was settled here holds"
    return f"cable {found!r} settled as {cable_type}{other}"


def _describe(entry: Any) -> str:
    names = {
        "withdraw": "withdrawn: out of every statistic, in no role; the bytes stay",
        "hold": f"legal hold on job {entry.get('job')}",
        "release": f"legal hold on job {entry.get('job')} released",
        "job": f"facts of job {entry.get('job')} stated",
        "attach": f"document filed for job {entry.get('job')}",
        "claim issued": "claim file issued",
        "book issued": "hand-over book issued",
        "redact": "something was redacted; a tombstone is in its place",
        "calibrations": "calibrations of units kept",
        "disposal proposed": f"records of job {entry.get('job')} proposed for disposal",
        "disposal": f"records of job {entry.get('job')} disposed of",
        "accept": f"accepted as of {entry.get('on')}" if entry.get("job") else "named as the accepted record",
        "identity": f"decided to be {'the same link' if entry.get('same') else 'different links'}",
    }
    return names.get(str(entry["event"]), str(entry["event"]))
