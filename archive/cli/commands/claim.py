"""muniment claim: the claim file of one link."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Literal

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, say, signer_options
from archive.cli.filters import as_of_options, opened
from archive.errors import Trouble

PATH = click.Path(path_type=Path)


@click.command("claim")
@click.argument("archive", type=ARCHIVE)
@click.argument("link")
@click.option("--job", metavar="J", help="Job.")
@click.option("--site", metavar="S", help="Site.")
@click.option("--out", required=True, type=PATH, metavar="DIR", help="A folder that is not there yet.")
@click.option("--retest", type=PATH, metavar="FILE", help="A fresh test that came with the complaint.")
@click.option("--deposit-retest", is_flag=True, help="Also deposit the fresh test into the job of the link.")
@click.option("--facts", "statement", type=PATH, metavar="CLAIM.toml", help="What the claim states.")
@click.option(
    "--originals",
    "mode",
    type=click.Choice(["auto", "whole", "none"]),
    default="auto",
    show_default=True,
    help="auto: the whole file where it holds this link alone, else the bytes that do.",
)
@click.option("--no-record", is_flag=True, help="Make no entry in the ledger; without a key the file is not sealed.")
@click.option("--case", "case_name", metavar="CASE", help="The case of `muniment case` that it is made for.")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="D", help="The day it looks at (default: today).")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper size.")
@click.option("--locale", default="en", show_default=True, help="Language: en, en_US, de, fr, es.")
@click.option("--lengths", type=click.Choice(["m", "ft"]), default="m", show_default=True, help="Unit of lengths.")
@click.option("--words", "catalogue", type=PATH, metavar="FILE.po", help="A translation of the texts (gettext).")
@as_of_options
@signer_options
@output_options
def command(
    archive: Path,
    link: str,
    job: str | None,
    site: str | None,
    out: Path,
    retest: Path | None,
    deposit_retest: bool,
    statement: Path | None,
    mode: Literal["auto", "whole", "none"],
    no_record: bool,
    case_name: str | None,
    on: datetime | None,
    as_of: datetime | None,
    known: bool,
    reason: str | None,
    by: str | None,
    paper: str,
    locale: str,
    lengths: str,
    catalogue: Path | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Writes everything the archive knows of one link into a folder that proves itself: PDF and HTML, the record in
    the open forms, the originals byte for byte, the proof.

    --facts names a small TOML file with what the claim states: number, claimant, symptom, application, days of failure
    and notice, terms of the warranty, components (schemas/editors/claim-facts.json lists the keys). It is printed, and
    what is not in it is listed as not stated. --on sets the day that spans are counted from; the day of making is
    always that of this machine's clock. --reason is printed on the file. Whoever may deposit leaves an entry in the
    ledger that names the file's seal, which `muniment verify DIR` looks for; --no-record forbids it.

    \b
    Example:
      muniment claim certificates 2-TR2-A117 --out claim-2-TR2-A117
      muniment claim certificates A117 --out claim --retest fresh.xml --reason "Letter of 3 May"
    """
    from archive.answers.claim import claim_statement
    from archive.answers.claim.claim_case import of_case
    from archive.answers.claim.claim_folder import write
    from archive.answers.claim.enclosed import enclosed
    from archive.answers.claim.fresh import deposit, files
    from archive.answers.claim.gather import link_facts
    from archive.answers.sealing.issue import issuer
    from archive.answers.wording import Wording
    from archive.atomic import require_empty
    from archive.cli import signer

    if deposit_retest and retest is None:
        raise Trouble("which fresh test is to be deposited?", code="option.needs-another", expected="--retest FILE")
    words = Wording(locale, lengths, catalogue)
    if not words.translated:
        say(f"there is no translation for {locale}: the file is in English, with its dates", quiet=quiet)
    require_empty(out)
    held = opened(archive, as_of, known)
    stated = claim_statement.load(statement) if statement is not None else None
    facts = link_facts(
        held,
        link,
        job=job,
        site=site,
        retest=retest,
        reason=reason or "",
        on=on.date() if on else None,
    )
    facts = replace(facts, stated=stated) if stated is not None else facts
    facts = of_case(held, facts, case_name) if case_name is not None else facts
    facts, originals = enclosed(held, facts, mode)
    handed_in = files(retest) if retest is not None else {}
    receipt = None
    if deposit_retest and retest is not None:
        receipt = deposit(held, retest, facts.job, by=signer.name(by), reason=reason, sign=signer.sign(held))
    seals = issuer(archive, by=signer.name(by), reason=reason, sign=signer.sign, enter=not no_record)
    facts = replace(facts, issued_by=seals.by or "")
    written = write(facts, originals, out, words, paper=paper, fresh=handed_in, issuer=seals)
    s = facts.standing
    if as_json:
        print_json(
            {
                "link": facts.link,
                "standing": None if s is None else s.record["record_id"],
                "why": facts.why,
                "outcome": None if facts.counted is None else facts.counted.outcome,
                "by_instrument": facts.counted is not None and facts.counted.by_instrument,
                "on": facts.on,
                "made": facts.made,
                "number": facts.number,
                "out": str(out),
                "files": written,
                "ledger_head": facts.head,
                "deposited": receipt,
                "originals": [
                    {"name": t.original.name, "path": t.original.path or None, "why_not": t.original.why or None}
                    for t in facts.tests
                ],
                "sealed": seals.note.sealed,
                "signed_by": seals.note.key or None,
                "ledger_entry": None if seals.entry is None else seals.entry.number,
                "why_no_entry": seals.note.why_not or None,
            }
        )
    elif not quiet:
        print_line(f"{facts.link}: {facts.why}")
        for t in facts.tests:
            if t.original.why == "damaged":
                print_line(f"the original of {t.record['record_id']} is not enclosed: {t.original.said}")
        if receipt:
            print_line(f"the fresh test was deposited as {receipt}; this file shows the state before")
        print_line(seals.told())
        print_line(f"open {out / 'data' / 'claim.html'} or {out / 'data' / 'claim.pdf'}")
        print_next("verify", out)
    done(any(t.original.why == "damaged" for t in facts.tests))
