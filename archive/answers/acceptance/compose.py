"""The acceptance report as a document of plain blocks. Lists are cut so that it stays one page; the cut is stated."""

from __future__ import annotations

from archive.answers import count_text
from archive.answers.acceptance.acceptance_facts import AcceptanceFacts
from archive.answers.documents import Block, Document, DocumentSection, FactsBlock, Notice, Para, TableBlock
from archive.answers.finding_text import finding_text
from archive.answers.translated import translation_note
from archive.answers.wording import Wording
from archive.vocabulary.link_counts import PASSING

LABELS = 14
"""Labels of one kind that are listed."""
RULES = 12
"""Rules with findings that are listed."""


def compose(facts: AcceptanceFacts, w: Wording, rules: int = RULES) -> Document:
    """The page. rules: so many rules with findings are listed."""
    s = facts.summary
    names = ", ".join(s.jobs[:3]) or w("Job without a name")
    sections = [
        DocumentSection(
            "", [*translation_note(w), Para(_verdict(facts, w), "lead"), FactsBlock(_pairs(facts, w), columns=2)]
        ),
        DocumentSection(w("Links"), [*_numbers(facts, w), *_open(facts, w)]),
        DocumentSection(w("Findings"), [*_findings(facts, w, rules), *_blind(facts, w)]),
        DocumentSection(
            w("Handed over"),
            [FactsBlock([(w("By"), " "), (w("Received by"), " "), (w("Day"), " "), (w("Day"), " ")], 2)],
        ),
    ]
    return Document(
        title=f"{names}: {s.job['name']}" if s.job.get("name") else names,
        subtitle=w("Certification records of the job, as they stand on {day}", day=w.day(facts.made_on.isoformat())),
        kicker=w("Acceptance report"),
        date=facts.made_on.isoformat(),
        sections=sections,
        footer=w(
            "{program}, rules {rules}. This page says what the records show. It is no certificate.",
            program=facts.program,
            rules=facts.rules_version,
        ),
        language=w.language,
    )


def _verdict(facts: AcceptanceFacts, w: Wording) -> str:
    c = facts.summary.counts
    if c.has_schedule:
        start = w(
            "{there} of {scheduled} scheduled links have a result; passing: {passing}.",
            there=c["scheduled"] - c["missing"],
            scheduled=c["scheduled"],
            passing=sum(x.scheduled and x.outcome == PASSING for x in c.links),
        )
    else:
        start = w("Links with a result: {links}; passing: {passing}.", links=c["tested"], passing=c["passing"])
    if not facts.complete:
        return w("Not complete.") + " " + start
    done = start + " " + w("No finding of severity error.")
    if c.has_schedule:
        return w("Complete.") + " " + done
    # without a schedule nobody can say that all links are there
    return done + " " + w("No schedule was given: links that are missing do not show.")


def _pairs(facts: AcceptanceFacts, w: Wording) -> list[tuple[str, str]]:
    s = facts.summary
    first, last = map(w.day, s.days)
    days = first if first == last else w("{first} to {last}", first=first, last=last)
    limits = ", ".join(f"{name} ({n})" if len(s.limits) > 1 else name for name, n in s.limits[:3])
    words = {"client": w("Client"), "site": w("Site"), "contractor": w("Contractor"), "crew": w("Crew")}
    return [
        *((name, s.job[key]) for key, name in words.items() if key in s.job),
        (w("Tested"), days or w("no dates")),
        (w("Limit"), limits or w("none")),
        (w("Schedule"), facts.schedule or w("none given")),
        (w("Units"), w.some(s.units, 4)),
        (w("Records read"), str(s.records)),
        (w("Set aside"), str(s.set_aside)),
    ]


def _numbers(facts: AcceptanceFacts, w: Wording) -> list[Block]:
    counts = facts.summary.counts
    listed, others = count_text.apart(counts, w)
    table = TableBlock(
        [name for name, _ in listed],
        [[number for _, number in listed]],
        align="r" * len(listed),
        weights=(1,) * len(listed),
    )
    beside = " ".join(
        [
            others,
            w("Sums: {sums}.", sums="; ".join(count_text.sums(counts, w))),
            *(text for text in count_text.beside(counts, w) if text not in count_text.copies(counts, w)),
        ]
    )
    return [table, Para(beside, "small")]


def _open(facts: AcceptanceFacts, w: Wording) -> list[Block]:
    c = facts.summary.counts
    lists = [
        (w("Missing"), c.of("missing")),
        (w("Failing"), c.of("failing")),
        (w("Without a verdict"), c.of("not_graded")),
        (w("In conflict"), c.of("in_conflict")),
        (w("In doubt"), c.of("in_doubt")),
        (w("Not in the schedule"), c.of("unexpected")),
        (w("Late"), c.of("late")),
    ]
    items = [f"{name}: {w.some(labels, LABELS)}" for name, labels in lists if labels]
    items += count_text.copies(c, w)
    if facts.lapsed:
        some = {"count": len(facts.lapsed), "links": w.some(facts.lapsed, LABELS)}
        items.append(w("Tested with a unit whose calibration had run out ({count}): {links}.", **some))
    if facts.summary.set_aside:
        n = facts.summary.set_aside
        items.append(w("Parts of the input that could not be read and were set aside: {n}; see the findings", n=n))
    if facts.faults:
        items.append(
            w("Rules or stages that failed by a fault of the program, not of the records: {n}", n=facts.faults)
        )
    return [Notice(w("Open"), items)] if items else []


def _findings(facts: AcceptanceFacts, w: Wording, most: int) -> list[Block]:
    if not facts.found:
        return [Para(w("No rule found anything."))]
    rows = []
    for f in facts.found[:most]:
        said, link = finding_text(f.example, w), f.example.get("link_label")
        example = f"{link}: {said}" if link and link not in said else said
        rows.append([w.term(f.severity), w.term(f.rule), str(f.count), _short(example)])
    strong = frozenset(i for i, f in enumerate(facts.found[:most]) if f.severity == "error")
    head = [w("severity"), w("rule"), w("findings"), w("for example")]
    blocks: list[Block] = [TableBlock(head, rows, align="llrl", weights=(1.1, 2.3, 0.9, 5.0), strong=strong)]
    rest = facts.found[most:]
    if rest:
        names = w.some([w.term(f.rule) for f in rest], 8)
        text = w.counted(
            len(rest),
            "{count} more rule found something: {names}.",
            "{count} more rules found something: {names}.",
            names=names,
        )
        blocks.append(Para(text, "small"))
    return blocks


def _short(text: str, most: int = 130) -> str:
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0] + " ..."


def _blind(facts: AcceptanceFacts, w: Wording) -> list[Block]:
    """Rules that could not look, by the number of records: no passes."""
    by_rule: dict[str, int] = {}
    for rule, _, n in facts.blind:
        by_rule[rule] = by_rule.get(rule, 0) + n
    if not by_rule:
        return []
    ordered = sorted(by_rule.items(), key=lambda x: -x[1])
    names = [f"{w.term(rule)} ({n or w('the job')})" for rule, n in ordered]
    text = w("Could not look, which is no pass (records): {names}.", names=w.some(names, 6))
    return [Para(text, "small")]
