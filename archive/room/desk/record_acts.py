"""Acts on records: corrections of metadata, withdrawals, and the records on which a job was handed over."""

from __future__ import annotations

from typing import Any

from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.desk.acts import MOST, Act, ActChoice, ActField, ActRow, Meant, back, command_for
from archive.store.catalogue.filters import Filters, addresses
from archive.store.catalogue.search import find
from archive.store.events import Correction, amend
from archive.store.events.accept import accept_records
from archive.store.events.amend import FIELDS
from archive.store.events.withdraw import withdraw

_FILTERS = ("link", "job", "site", "since", "until", "serial", "deposit")


def _chosen(asked: PageRequest) -> Filters:
    return Filters(**{name: asked.text(name) for name in _FILTERS})


def _filters(asked: PageRequest) -> list[ActField]:
    words = asked.words
    labels = {
        "link": words("Link"),
        "job": words("Job"),
        "site": words("Site"),
        "since": words("Tested from"),
        "until": words("to"),
        "serial": words("Serial number"),
        "deposit": words("Deposit"),
    }
    return [ActField(name, label, value=asked.text(name) or "", size=16) for name, label in labels.items()]


def _rows(asked: PageRequest) -> tuple[list[ActRow], int]:
    """Records that the filters choose, and how many there are; none where nothing is asked for."""
    chosen = _chosen(asked)
    if not chosen:
        return [], 0
    db = asked.look.archive.db
    words = asked.words
    rows = []
    for r in find(db, chosen, most=MOST):
        state = ", ".join(
            text
            for flag, text in (
                (r["accepted"], words("accepted")),
                (r["current"], words("current")),
                (r["withdrawn"], words("withdrawn")),
                (r["conflict"], words("in conflict")),
            )
            if flag
        )
        place = " / ".join(str(r[name]) for name in ("site", "building", "floor", "space") if r[name])
        cells = [r["link_label"] or "", r["job_id"] or "", place, (r["tested_local"] or r["tested_at"] or "")[:16]]
        cells += [words.term(r["verdict"] or "not graded"), state, r["record_id"]]
        link = asked.address("/link", label=r["link_label"], record=r["record_id"]) if r["link_label"] else ""
        rows.append(ActRow(r["address"], cells, link))
    return rows, len(addresses(db, chosen))


def _heads(asked: PageRequest) -> list[str]:
    words = asked.words
    first = [words("Link"), words("Job"), words("Place"), words("Tested"), words("Verdict")]
    return [*first, words("Counts as"), words("Record")]


def _listed(asked: PageRequest) -> list[dict[str, Any]]:
    """Records that were ticked, or all that the filters choose. Errors: Trouble where there is none."""
    archive = asked.look.archive
    wanted = asked.all("record")
    if asked.text("all") is not None:
        wanted = list(addresses(archive.db, _chosen(asked)))
    if not wanted:
        raise Trouble("no record was chosen", code="desk.nothing-chosen", remedy="tick the records that are meant")
    return [_record(asked, archive.address(address)) for address in dict.fromkeys(wanted)]


def _record(asked: PageRequest, address: str) -> dict[str, Any]:
    deposit, _, position = address.rpartition("/")
    row = asked.look.archive.db.execute(
        "SELECT * FROM records WHERE deposit = ? AND position = ?", (deposit, int(position))
    ).fetchone()
    return {**dict(row), "address": address}


def _line(r: dict[str, Any]) -> str:
    day = (r["tested_local"] or r["tested_at"] or "")[:16]
    return " ".join(str(x) for x in (r["link_label"], r["job_id"], day, r["record_id"]) if x)


def _choice(asked: PageRequest, lead: list[str], fields: list[ActField]) -> ActChoice:
    rows, count = _rows(asked)
    return ActChoice(lead, _filters(asked), _heads(asked), "record", rows, count, fields, ready=bool(rows))


def _amend_choice(asked: PageRequest) -> ActChoice:
    words = asked.words
    lead = [
        words("Metadata are corrected by an entry that keeps the former value; nothing archived is rewritten."),
        words("What was measured is never corrected: it is withdrawn, and tested again."),
    ]
    names = {
        "link_label": words("label of the link"),
        "job_id": words("job"),
        "site": words("site"),
        "building": words("building"),
        "floor": words("floor"),
        "space": words("space"),
        "panel": words("panel"),
        "port": words("port"),
        "cable_type": words("cable type"),
        "configuration": words("configuration"),
        "limit_found": words("words of the limit"),
        "tested_local": words("day and time of the test, local"),
        "local_serial": words("serial number of the local unit"),
        "remote_serial": words("serial number of the remote unit"),
        "maker": words("maker of the local unit"),
        "operator": words("who tested"),
        "organisation": words("whom the tester worked for"),
    }
    options = [("", words("leave everything as it is")), *((n, text) for n, text in names.items() if n in FIELDS)]
    fields = [
        ActField("field", words("What is corrected"), "select", options),
        ActField("value", words("It is"), size=30),
        ActField("nothing", words("It is not known: the former value is taken out"), "check"),
    ]
    return _choice(asked, lead, fields)


def _amend_meant(asked: PageRequest) -> Meant:
    archive, words = asked.look.archive, asked.words
    field, value = asked.text("field"), asked.text("value")
    if field is None:
        raise Trouble("everything is left as it is", code="desk.nothing-chosen", remedy="choose what is corrected")
    if (value is None) is (asked.text("nothing") is None):
        raise Trouble(
            "what is it then?", code="desk.nothing-chosen", expected="either a value, or that it is not known"
        )
    listed = _listed(asked)
    changes = [Correction(r["address"], field, value) for r in listed]
    shown = value if value is not None else words("not known")
    lines = [f"{_line(r)}: {r.get(field) or words('nothing')} \u2192 {shown}" for r in listed]

    def do() -> int | None:
        entry, _ = amend(
            archive, changes, by=asked.made_by or None, reason=asked.text("reason"), sign=asked.sign(archive)
        )
        return None if entry is None else entry.number

    former = {r.get(field) for r in listed}
    again = former.pop() if len(former) == 1 else None
    return Meant(
        words.counted(len(listed), "{count} record is corrected.", "{count} records are corrected."),
        lines,
        words("The entry stays in the ledger, with the former values; answers show the corrected ones from then on."),
        do,
        words(
            "A further correction to the former value ({value}) counters it.", value=again or words("of each record")
        ),
        back(asked, "/look-after/amend", *_FILTERS),
    )


def _withdraw_choice(asked: PageRequest) -> ActChoice:
    words = asked.words
    lead = [
        words("Withdrawn records are out of every statistic and count for no link; their bytes and proofs stay."),
        words("Of two records in conflict, withdrawing the wrong one lets the other count."),
        words("No entry takes a withdrawal back."),
    ]
    whole = words("The whole deposit that is named above is withdrawn")
    return _choice(asked, lead, [ActField("whole", whole, "check")])


def _withdraw_meant(asked: PageRequest) -> Meant:
    archive, words = asked.look.archive, asked.words
    whole = asked.text("deposit") if asked.text("whole") is not None else None
    if asked.text("whole") is not None and whole is None:
        raise Trouble("which deposit?", code="desk.nothing-chosen", remedy="choose by a deposit first")
    if whole is not None:
        archive.deposit_entry(whole)
        found = archive.db.execute("SELECT * FROM records WHERE deposit = ? ORDER BY position", (whole,)).fetchall()
        listed = [{**dict(r), "address": f"{r['deposit']}/{r['position']}"} for r in found]
    else:
        listed = _listed(asked)
    addresses_of = [] if whole is not None else [r["address"] for r in listed]

    def do() -> int | None:
        entry = withdraw(
            archive,
            records=addresses_of,
            deposits=[whole] if whole is not None else [],
            by=asked.made_by or None,
            reason=asked.text("reason") or "",
            sign=asked.sign(archive),
        )
        return None if entry is None else entry.number

    count = words.counted(len(listed), "{count} record is withdrawn.", "{count} records are withdrawn.")
    sentence = count if whole is None else words("Deposit {deposit}: {what}", deposit=whole, what=count)
    return Meant(
        sentence,
        [_line(r) for r in listed],
        words("From then on another record of the same link counts, or none; progress and rates change with it."),
        do,
        words("No entry takes a withdrawal back; a new test of the link is handed in instead."),
        "/hand-in",
    )


def _accept_choice(asked: PageRequest) -> ActChoice:
    words = asked.words
    lead = [words("The record on which a link was handed over; later tests change nothing of it.")]
    return _choice(asked, lead, [])


def _accept_meant(asked: PageRequest) -> Meant:
    archive, words = asked.look.archive, asked.words
    listed = _listed(asked)

    def do() -> int | None:
        named = [r["address"] for r in listed]
        sign = asked.sign(archive)
        return accept_records(archive, named, by=asked.made_by or None, reason=asked.text("reason"), sign=sign).number

    return Meant(
        words.counted(len(listed), "{count} record is accepted.", "{count} records are accepted."),
        [_line(r) for r in listed],
        words("It decides for its link in its job, until another one is named."),
        do,
        words("Naming another record of the link counters it."),
        "/look-after/accept-records",
    )


def record_acts() -> list[Act]:
    """The acts of this module."""
    return [
        Act(
            "amend",
            lambda w: w("Correct metadata, rename links"),
            "manage",
            _amend_choice,
            _amend_meant,
            lambda a: command_for(
                "amend", a.root, "--job", a.text("job") or "J", "--set", "FIELD=VALUE", "--reason", "TEXT"
            ),
        ),
        Act(
            "withdraw",
            lambda w: w("Withdraw records"),
            "manage",
            _withdraw_choice,
            _withdraw_meant,
            lambda a: command_for("withdraw", a.root, "--record", "R", "--reason", "TEXT"),
        ),
        Act(
            "accept-records",
            lambda w: w("Name accepted records"),
            "manage",
            _accept_choice,
            _accept_meant,
            lambda a: command_for("accept", a.root, "--record", "R", "--reason", "TEXT"),
        ),
    ]
