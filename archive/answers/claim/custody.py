"""From the instrument's export to the ledger; the proof, and how to check it; method, limits of evidence, cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from archive.answers.cautions import cautions
from archive.answers.claim.claim_facts import ClaimFacts, Row, TestedRecord, letters
from archive.answers.claim.original_words import original_words
from archive.answers.documents import Block, Code, DocumentSection, FactsBlock, Listing, Para, TableBlock
from archive.answers.documents.qr import head_to_scan
from archive.answers.wording import Wording, plain
from archive.store.head_digits import grouped


def custody(facts: ClaimFacts, words: Wording) -> DocumentSection:
    """From the instrument's export to the ledger, and how to check it without this program."""
    blocks: list[Block] = []
    if facts.standing is not None:
        blocks.append(Listing(list(_steps(facts.standing, words)), numbered=True))
    blocks += [Listing([words.told(s) for s in facts.signatures])] if facts.signatures else []
    if not facts.signatures:
        blocks.append(Para(words("The ledger entries concerned carry no signature and no time stamp."), role="small"))
    text = words(
        "The ledger held {count} entries when this file was made, the newest of {when}.",
        count=facts.entries,
        when=words.day(facts.state),
    )
    blocks.append(Para(text))
    if facts.proof:
        blocks.append(Para(words("The proof was checked while this file was made, step by step:")))
        blocks += _proof(facts, facts.proof, facts.steps, words)
    for (name, t), proven in zip(letters(facts), facts.disputed, strict=False):
        blocks.append(Para(words("Record {name}, one of those in conflict, and its proof:", name=name)))
        blocks.append(Listing(list(_steps(t, words)), numbered=True))
        blocks += _proof(facts, proven.proof, proven.steps, words)
    if facts.disputed:
        text = words("Each proof shows that its record lies unaltered in the archive, and none that it is right.")
        blocks.append(Para(text))
    if facts.proof or facts.disputed:
        blocks.append(head_to_scan(facts.archive_id, facts.entries, facts.head, words))
        blocks += _to_check(facts, words)
    return DocumentSection(words("Custody and proof"), blocks)


def _proof(facts: ClaimFacts, proof: Row, steps: Sequence[tuple[str, bool | None, str]], words: Wording) -> list[Block]:
    """The steps of a proof, and what is to be compared."""
    results = {True: words("holds"), False: words("does not hold"), None: words("open")}
    rows = [[words.told(what), results[holds], words.told(stated)] for what, holds, stated in steps]
    head = [words("step"), words("result"), words("note")]
    return [TableBlock(head, rows, weights=(3.4, 0, 1.6)), _to_compare(facts, proof, words)]


def _to_check(facts: ClaimFacts, words: Wording) -> list[Block]:
    """How to check the proofs without this program."""
    names = [f"data/{name}" for name in proof_files(facts)]
    text = words(
        "To check it without the archive and without this program: each proof ({names}) holds its record in "
        "W3C canonical form. Its SHA-256 is the record's digest; hashed with the siblings listed for the "
        "deposit it gives the deposit's root (RFC 9162, section 2.1.3); the ledger entry that carries this "
        "root, hashed with the siblings listed for the ledger, gives the head above. Compare the head with "
        "one that was kept elsewhere, on a receipt or in a letter: then nothing was altered since. In the "
        "folder of this file, these commands check every file, and the proof:",
        names=words.listed([name.removeprefix("data/") for name in names]),
    )
    commands = ["sha256sum -c manifest-sha256.txt", *(f"muniment verify {name}" for name in names)]
    return [Para(text), Code("\n".join(commands))]


def proof_files(facts: ClaimFacts) -> dict[str, Row]:
    """The proofs by the name of their file in data/: of the record that stands, or of those in conflict."""
    if facts.proof:
        return {"proof.json": facts.proof}
    named = zip(letters(facts), facts.disputed, strict=False)
    return {f"proof-{name}.json": proven.proof for (name, _), proven in named}


def _steps(s: TestedRecord, words: Wording) -> Iterator[str]:
    r = s.record
    source = next(iter(s.rows("sources")), None)
    when = words.day(r["tested_local"]) or words("at an unknown time")
    yield (
        words("Tested {when}, by {name}.", when=when, name=s.operator)
        if s.operator
        else words("Tested {when}.", when=when)
    )
    if source is not None:
        place = plain(r["source_place"])
        text = words("Read from {path}", path=plain(source["path"])) + (f", {place}" if place else "")
        reader = words(", by {reader}", reader=source["reader"]) if source["reader"] else ""
        yield text + reader + words("; SHA-256 of that source {digest}.", digest=source["source_id"])
    yield original_words(s.original, words)
    by = words(", by {name}", name=s.deposited_by) if s.deposited_by else ""
    yield words("Deposited {when}", when=words.day(s.deposited_at)) + by + words(" as {deposit}.", deposit=s.deposit)


def _to_compare(facts: ClaimFacts, p: Row, words: Wording) -> FactsBlock:
    """Digests and numbers to be compared letter by letter."""
    entry = p["entry"]["number"]
    return FactsBlock(
        [
            (words("archive"), facts.archive_id),
            (words("record"), plain(p["record"])),
            (words("its digest"), plain(p["digest"])),
            (words("root of its deposit"), plain(p["in_deposit"]["root"])),
            (words("ledger entry"), words("number {number} of {count}", number=entry, count=facts.entries)),
            (words("head of the ledger"), facts.head),
            (words("the head, to type"), grouped(facts.head)),
        ]
    )


def _compared(facts: ClaimFacts, words: Wording) -> Iterator[str]:
    """Whose curves were compared with which, as far as they were."""
    if facts.compared.standing:
        yield words(
            "The curves of the record shown, all together, were compared number for number with those of the records "
            "that counted in the archive when it was deposited. Copies that were changed, in one curve or a little in "
            "all, are looked for by another command, over the whole archive."
        )
    elif facts.standing is not None:
        yield words(
            "The curves of the record shown were not compared with those of other records: it has none, or too few to "
            "tell tests apart, or something else decided what it is."
        )
    if facts.compared.fresh:
        yield words(
            "The curves of the fresh test, all together, were compared number for number with those of every record "
            "of the archive, and curve by curve with those of the record shown."
        )
    elif facts.retest is not None:
        yield words("The fresh test has no curves, or too few to tell tests apart; no copy of them was looked for.")


def method(facts: ClaimFacts, words: Wording) -> list[DocumentSection]:
    """How the numbers came about, what they cannot show; and, kept on one page, cautions."""
    texts = [
        words(
            "Margins are recomputed from the curves of the record at the frequencies that were measured, against the "
            "limit lines of the named edition, with the standard's fixed length. No value is interpolated at the edges "
            "of a range. A point that lies on its limit passes. Power sums and ratios are recomputed from their parts "
            "where the parts are there."
        ),
        words(
            "Marginal means: as the instrument marked it, or nearer to the limit than an accuracy that is known. Where "
            "neither is there, nothing is called marginal."
        ),
        words(
            "Provisional means: a limit line on which the verdict rests is known to this program only from memory, or "
            "the sweep is coarser than field tests are. Compare it with the standard before relying on the verdict."
        ),
        words(
            "A verdict rests on what the record holds. It cannot show whether the link measured was the link named, "
            "whether the instrument was connected as the standard asks, or how the link is today."
        ),
        *_compared(facts, words),
        words(
            "The proof shows that the record has not been altered since it was deposited. It says nothing of what "
            "happened before, beyond what the export itself carries."
        ),
        words(
            "The PDF is made as PDF/A-3 and carries the record in the open form inside; no validator has judged it. "
            "The HTML says the same."
        ),
        words(
            "A character that cannot be seen, or that the fonts of the PDF lack, is written as its code, such as "
            "⟨U+202E⟩."
        ),
    ]
    media = {t.record["medium"] for t in (*facts.tests, facts.retest) if t is not None}
    careful = [words(t) for t in cautions(media)]
    return [
        DocumentSection(words("Method, limits of evidence, cautions"), [Listing(texts)]),
        DocumentSection(words("Before anybody works on the link"), [Listing(careful)], level=2, keep=True),
    ]
