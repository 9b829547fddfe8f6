"""The first page: what was certified, what this program says of it, and everything that weakens it."""

from __future__ import annotations

from archive.answers import count_text
from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord
from archive.answers.claim.gaps import gaps
from archive.answers.claim.verdicts import opinions
from archive.answers.claim.warranty import warranty_line
from archive.answers.documents import Block, DocumentSection, FactsBlock, Notice, Para
from archive.answers.wording import Wording, plain


def front(facts: ClaimFacts, words: Wording) -> DocumentSection:
    """The first section, without a heading of its own."""
    blocks: list[Block] = [Para(_lead(facts, words), role="lead")]
    side_by_side = opinions(facts, words)
    if side_by_side is not None:
        blocks.append(side_by_side)
    known = gaps(facts, words)
    if known:
        blocks.append(Notice(words("Before you rely on this record"), known))
    else:
        found = words("No rule that could look found a fault in this record.")
        blocks.append(Notice(words("No gap was found"), [found], "note"))
    blocks.append(FactsBlock(identity(facts, words), columns=2))
    blocks.append(
        Para(
            words(
                "This file states facts and the limits of the evidence for them. It is no legal opinion and gives no "
                "verdict on who is liable."
            ),
            role="small",
        )
    )
    return DocumentSection("", blocks)


def _lead(facts: ClaimFacts, words: Wording) -> str:
    s = facts.standing
    if s is None:
        return words("No record stands for this link.")
    when = words.day(s.record["tested_local"]) or words("an unknown day")
    text = (
        words("The accepted record was tested on {when}: {why}.", when=when, why=s.state)
        if facts.role == "accepted"
        else words("The current record was tested on {when}: {why}. None is accepted.", when=when, why=s.state)
    )
    if facts.retest is not None:
        fresh = words.day(facts.retest.record["tested_local"]) or words("an unknown day")
        text += " " + words("A fresh test of {when} is laid beside it.", when=fresh)
    return text


def identity(facts: ClaimFacts, words: Wording) -> list[tuple[str, str]]:
    """Names and values that say which link this is."""
    s = facts.standing
    r = s.record if s else {}
    names = [words(k) for k in ("building", "floor", "space", "panel", "port")]
    columns = ("building", "floor", "space", "panel", "port")
    place = ", ".join(f"{n} {facts.place[c]}" for n, c in zip(names, columns, strict=True) if facts.place.get(c))
    operator = s.operator if s else None
    tester = words("name taken out of the archive") if operator == "" else operator or words("not stated")
    rows = [
        (words("link"), facts.link),
        (words("former labels"), ", ".join(facts.former_labels)),
        (words("job"), plain(facts.job.get("job_id"))),
        (words("counts in its job as"), count_text.result(facts.counted, words) if facts.counted else ""),
        (words("site"), plain(facts.job.get("site") or facts.place.get("site"))),
        (words("place"), place),
        (words("cable, as found"), plain(r.get("cable_found"))),
        (words("cable type"), _cable(s, words)),
        (words("longest pair"), _length(facts, words)),
        (words("evidence"), words.term(r.get("evidence"))),
        (words("tested by"), tester if s else ""),
        (words("contractor"), plain(facts.job.get("contractor"))),
        (words("client"), plain(facts.job.get("client"))),
        (words("warranty"), warranty_line(facts, words)),
        (words("made on"), words.day(facts.on)),
        (words("made for"), facts.reason),
    ]
    return [(name, value) for name, value in rows if value]


def _cable(tested: TestedRecord | None, words: Wording) -> str:
    """The type that counts, and what it rests on where that is not the record itself."""
    cable_type, basis = tested.cable if tested else (None, None)
    if cable_type is None:
        return ""
    said = {
        "settled": words("settled for these words in this archive"),
        "job": words("stated for the job"),
        "amended": words("corrected for this record"),
    }.get(basis or "")
    return f"{cable_type} ({said})" if said else cable_type


def _length(facts: ClaimFacts, words: Wording) -> str:
    rows = facts.standing.rows("readings") if facts.standing else []
    lengths = [x["value"] for x in rows if x["quantity"] == "length" and x["value"] is not None]
    return words.length(max(lengths, default=None))
