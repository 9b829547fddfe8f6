"""History, fresh test, neighbours, warranty, custody, proof, method and cautions."""

from __future__ import annotations

import json
from collections.abc import Sequence

from archive import schemas
from archive.answers.claim.curves import curves_of
from archive.answers.claim.facts import ClaimFacts, Tested
from archive.answers.claim.front import verdict_table, worst_text
from archive.answers.documents import Block, Code, Facts, Figure, Listing, Para, Section, Table
from archive.answers.plots import Curve, Panel, plot
from archive.answers.wording import Wording, plain


def history(facts: ClaimFacts, words: Wording) -> Section:
    """Every test of the link, which one stands, and every event."""
    rows: list[list[str]] = []
    strong: set[int] = set()
    for t in facts.tests:
        r, v = t.record, t.verdict()
        if t.standing:
            strong.add(len(rows))
        rows.append(
            [
                words.day(r["tested_local"], empty=words("not stated")),
                t.relation + (f", {words('stands')}" if t.standing else ""),
                plain(r["limit_found"]),
                words.verdict(r["reported_verdict"]) if r["reported_verdict"] else words("none"),
                words.verdict(v["verdict"]) if v else "",
                plain(r["evidence"]).replace("-", " "),
                r["record_id"],
            ]
        )
    blocks: list[Block] = [
        Para(facts.why),
        Table(
            [
                words("tested"),
                words("kind"),
                words("limit, as found"),
                words("reported"),
                words("graded again"),
                words("evidence"),
                words("record"),
            ],
            rows,
            weights=(1.3, 1.1, 1.8, 0.9, 1, 1, 2),
            strong=frozenset(strong),
            code=frozenset({6}),
        ),
    ]
    if facts.history:
        events = [[words.day(e["when"]), e["kind"], plain(e["what"]), plain(e["by"])] for e in facts.history]
        blocks.append(
            Table(
                [words("when"), words("event"), words("what"), words("by")],
                events,
                caption=words("Events of this link in the archive"),
                weights=(1.2, 1, 3.4, 1.1),
            )
        )
    return Section(words("Every test of this link"), blocks)


def fresh_test(facts: ClaimFacts, words: Wording) -> list[Section]:
    """The fresh test beside the certified one: both verdicts, and how far each curve moved."""
    fresh, old = facts.retest, facts.standing
    if fresh is None:
        return []
    blocks: list[Block] = [
        Para(
            words(
                "A fresh test came with the complaint. It is shown beside the certified one and has not become part of "
                "the archive."
            )
        ),
        Table(
            [words("test"), words("tested"), words("limit"), words("verdict"), words("smallest margin")],
            [
                [
                    name,
                    words.day(t.record["tested_local"], empty=words("not stated")),
                    plain((t.verdict() or {}).get("limit_id")) or plain(t.record["limit_found"]),
                    words.verdict((t.verdict() or {}).get("verdict")),
                    worst_text(v, words) if (v := t.verdict()) else "",
                ]
                for name, t in ((words("certified"), old), (words("fresh"), fresh))
                if t is not None
            ],
            weights=(0.9, 1.3, 2.2, 0.9, 2.2),
        ),
    ]
    sections = [Section(words("Fresh test beside the certified one"), blocks, new_page=True)]
    if old is None:
        return sections
    changes, pictures = _differences(old, fresh, words)
    if changes:
        blocks.append(
            Table(
                [words("parameter"), words("end"), words("pairing"), words("largest change, dB"), words("at MHz")],
                changes,
                align="lllrr",
                caption=words("Fresh minus certified, where both were swept; the largest change of each parameter"),
            )
        )
        sections.append(Section(words("How the curves moved"), pictures, level=2))
    else:
        blocks.append(Para(words("The two tests share no curve that could be compared.")))
    sections.append(Section(words("All verdicts on the fresh test"), [verdict_table(fresh, words)], level=2))
    return sections


def _differences(old: Tested, fresh: Tested, words: Wording) -> tuple[list[list[str]], list[Block]]:
    import numpy as np

    from archive import vocabulary

    before, after = curves_of(old.batch), curves_of(fresh.batch)
    rows: list[list[str]] = []
    pictures: list[Block] = []
    for parameter in before:
        p = vocabulary.parameter(parameter)
        panels = []
        largest: tuple[float, float, str, str] | None = None
        for end in before[parameter]:
            moved = []
            there = {c.label: c for c in after.get(parameter, {}).get(end, [])}
            for c in before[parameter][end]:
                new = there.get(c.label)
                if new is None:
                    continue
                # Only frequencies that both tests measured are compared: nothing is interpolated.
                common, i, j = np.intersect1d(c.x, new.x, return_indices=True)
                if not len(common):
                    continue
                change = new.y[j] - c.y[i]
                moved.append(Curve(c.label, common, change))
                size = np.where(np.isnan(change), -1.0, np.abs(change))
                k = int(size.argmax())
                if size[k] >= 0 and (largest is None or size[k] > abs(largest[0])):
                    largest = (float(change[k]), float(common[k]), c.label, end or "")
            if moved:
                panels.append(Panel(end or p.name, tuple(moved), None, p.sense))
        if largest is not None:
            rows.append([p.name, largest[3], largest[2], words.number(largest[0], 1), words.free(largest[1])])
        if panels:
            caption = words("{name}: fresh minus certified.", name=p.name[:1].upper() + p.name[1:])
            svg = plot(panels, title=caption, x_label=words("frequency, MHz"), y_label=words("change, dB"), height=200)
            pictures.append(Figure(svg, caption, caption))
    return rows, pictures


def neighbours(facts: ClaimFacts, words: Wording) -> Section | None:
    """Links of the same bundle, panel or job, for comparison."""
    if not facts.neighbours:
        return None
    rows = [
        [
            plain(n.get("link")),
            words.day(n.get("tested_local")),
            plain(n.get("limit")),
            words.verdict(n.get("verdict")),
            words.length(n.get("length_m")),
            words.number(n.get("margin_db"), 1),
            plain(n.get("parameter")).replace("_", " "),
        ]
        for n in facts.neighbours
    ]
    head = [
        words("link"),
        words("tested"),
        words("limit"),
        words("verdict"),
        words("length"),
        words("margin"),
        words("of"),
    ]
    return Section(
        words("Neighbours"),
        [
            Para(words("Links of the same panel, in the order of their labels, from the records that stand.")),
            Table(head, rows, align="llllrrl", weights=(1.5, 1.4, 2, 0.9, 0.9, 0.8, 1.3)),
        ],
    )


def warranty(facts: ClaimFacts, words: Wording) -> Section:
    """Dates of the job, and what is filed for it."""
    j = facts.job
    rows = [
        (words("warranty from"), words.day(plain(j.get("warranty_start")), empty=words("not stated"))),
        (words("warranty until"), words.day(plain(j.get("warranty_end")), empty=words("not stated"))),
        (words("records kept until"), words.day(plain(j.get("retain_until")), empty=words("not stated"))),
        (words("required limit"), plain(j.get("required_limit")) or words("not stated")),
    ]
    blocks: list[Block] = [Facts(rows)]
    if facts.documents:
        blocks.append(
            Table(
                [words("document"), words("kind"), words("speaks for"), words("SHA-256")],
                [
                    [
                        plain(d.get("title") or d.get("file_name")),
                        plain(d.get("kind")),
                        plain(d.get("serial") or d.get("link_label") or d.get("job_id")),
                        plain(d.get("document_id")),
                    ]
                    for d in facts.documents
                ],
                weights=(1.8, 1, 1.2, 2.6),
                code=frozenset({3}),
            )
        )
    return Section(words("Warranty and documents"), blocks)


def custody(facts: ClaimFacts, words: Wording) -> Section:
    """From the instrument's export to the ledger, and how to check it without this program."""
    blocks: list[Block] = []
    s = facts.standing
    if s is not None:
        source = next(iter(s.rows("sources")), {})
        r = s.record
        steps = [
            words(
                "Tested {when}{who}.",
                when=words.day(r["tested_local"]) or words("at an unknown time"),
                who=words(" by {name}", name=facts.people[r["operator_key"]])
                if r["operator_key"] in facts.people
                else "",
            ),
            words(
                "Exported as {path} ({bytes} bytes, SHA-256 {digest}); read at {place} by {reader}.",
                path=plain(source.get("path")),
                bytes=plain(source.get("bytes")),
                digest=plain(source.get("source_id")),
                place=plain(r["source_place"]) or words("the whole file"),
                reader=plain(source.get("reader")) or words("an unnamed reader"),
            ),
            words(
                "Deposited {when}{who} as deposit {deposit}; the original lies in this bag as {original}.",
                when=words.day(s.deposited_at),
                who=words(" by {name}", name=s.deposited_by) if s.deposited_by else "",
                deposit=s.deposit,
                original=s.original,
            ),
            words("Record {record} has the digest {digest}.", record=r["record_id"], digest=s.digest),
            words(
                "The ledger held {count} entries when this file was made; its head was {head}.",
                count=facts.entries,
                head=facts.head,
            ),
        ]
        blocks.append(Listing(steps, numbered=True))
    if facts.signatures:
        blocks.append(Listing(list(facts.signatures)))
    else:
        blocks.append(Para(words("The ledger entries concerned carry no signature and no time stamp."), role="small"))
    blocks.append(
        Para(
            words(
                "The proof in proof.json needs neither the archive nor this program. Its steps: the SHA-256 of "
                "record.xml's record element in W3C canonical form is the record's digest; hashed with the siblings "
                "listed for the deposit it gives the deposit's root (RFC 9162, section 2.1.3); the ledger entry that "
                "carries this root, hashed with the siblings listed for the ledger, gives the head above. A head that "
                "was kept elsewhere, on a receipt or in a letter, shows that nothing was altered since."
            )
        )
    )
    blocks.append(Code("sha256sum -c manifest-sha256.txt\nmuniment verify data/proof.json"))
    proof = {k: v for k, v in facts.proof.items() if isinstance(v, str | int) and len(str(v)) < 200}
    if proof:
        blocks.append(Code(json.dumps(proof, indent=1, ensure_ascii=False, sort_keys=True)))
    return Section(words("Custody and proof"), blocks)


def method(facts: ClaimFacts, words: Wording) -> Section:
    """How the numbers came about, what they cannot show, cautions."""
    texts: Sequence[str] = [
        words(
            "Margins are recomputed from the curves of the record at the frequencies that were measured, against the "
            "limit lines of the named edition, with the standard's fixed length. No value is interpolated at the edges "
            "of a range. Power sums and ratios are recomputed from their parts where the parts are there."
        ),
        words(
            "A verdict rests on what the record holds. It cannot show whether the link measured was the link named, "
            "whether the instrument was connected as the standard asks, or how the link is today."
        ),
        words(
            "Where a limit is marked provisional, its line is known to this program only from memory. Compare it with "
            "the standard before relying on the verdict."
        ),
        words(
            "The proof shows that the record has not been altered since it was deposited. It says nothing of what "
            "happened before, beyond what the export itself carries."
        ),
    ]
    cautions = [words(t) for t in schemas.load("cautions.toml")["cautions"]["texts"]]
    return Section(
        words("Method, limits of evidence, cautions"),
        [Listing(texts), Para(words("Before anybody works on the link:")), Listing(cautions)],
    )
