"""muniment dispose: jobs past their retention, and the disposal of their records by two people."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.common import (
    ARCHIVE,
    done,
    output_options,
    print_json,
    print_line,
    print_next,
    progress,
    say,
    signer_options,
)
from archive.errors import Trouble
from archive.vocabulary.counted import counted

if TYPE_CHECKING:
    from archive.answers.wording import Wording
    from archive.store import Archive

PATH = click.Path(path_type=Path)


@click.command("dispose")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--job", metavar="J", help="The job.")
@click.option("--propose", is_flag=True, help="Name its records for disposal; nothing goes yet.")
@click.option("--approve", is_flag=True, help="Approve what somebody else proposed; the records go.")
@click.option("--certificate", type=PATH, metavar="FILE", help="Write the certificate, as .pdf, .html or .txt.")
@click.option("--on", metavar="DAY", help="Without --job: what is past its retention on this day (default: today).")
@click.option("--locale", default="en", show_default=True, metavar="L", help="Language of the certificate.")
@signer_options
@output_options
def command(
    archive: Path,
    job: str | None,
    propose: bool,
    approve: bool,
    certificate: Path | None,
    on: str | None,
    locale: str,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Lists the jobs whose day of retention (`muniment job ARCHIVE J --set retain_until=DAY`) is over, with what
    forbids to dispose of their records: a hold, a warranty, an open case, other jobs that rest on them.

    A disposal takes two people: one proposes it, another one approves it. Then originals, records, documents and
    corrections of the job go for good. The ledger and the manifests keep the digest of every file, every other proof
    holds, and every later answer says what was disposed of. Nothing is ever disposed of by itself.

    \b
    Exit code 1: something may be disposed of, or waits for a second person.

    \b
    Example:
      muniment dispose certificates
      muniment dispose certificates --job HARBOUR-2009-04 --propose --by "A. Clerk" --reason "schedule 7"
      muniment dispose certificates --job HARBOUR-2009-04 --approve --by "B. Counsel" --certificate disposal.pdf
    """
    from archive import store
    from archive.answers.documents import saved
    from archive.answers.wording import Wording
    from archive.cli import signer
    from archive.store import disposal

    words = Wording(locale)
    if job is None and (propose or approve or certificate):
        raise Trouble("of which job?", code="option.needs-another", expected="--job J")
    if (propose and approve) or (on is not None and job is not None):
        raise Trouble(
            "too much at once", code="option.one-of", expected="--propose or --approve of a --job, or --on without one"
        )
    if certificate is not None:
        saved.check_form(certificate, "--certificate")
    opened = store.open(archive)
    if job is None:
        _list(opened, _day(on), as_json=as_json, quiet=quiet)
        return
    today = date.today()
    if propose:
        entry = disposal.propose(opened, job, today, by=signer.name(by), reason=reason, sign=signer.sign(opened))
        if as_json:
            print_json({"job": job, "ledger_entry": entry.number, "records": entry["count"]})
        elif not quiet:
            print_line(
                f"{job}: {counted(entry['count'], 'record')} proposed for disposal by ledger entry {entry.number}"
            )
            again = ("dispose", archive, "--job", job, "--approve", "--by", "NAME")
            print_next(*again, then="by somebody else approves it")
        done(False)
    if approve:
        disposal.approve(
            opened,
            job,
            today,
            by=signer.name(by),
            reason=reason,
            sign=signer.sign(opened),
            watch=lambda names: progress(names, "deposits", len(names), quiet=quiet),
        )
    if approve or certificate is not None:
        _certify(opened, job, certificate, words, as_json=as_json, quiet=quiet)
        return
    one = disposal.one_job(opened, job, today)
    if as_json:
        print_json(one.plain())
    elif not quiet:
        _print([one])
    done(one.free)


def _certify(opened: Archive, job: str, out: Path | None, words: Wording, *, as_json: bool, quiet: bool) -> None:
    """Says what was disposed of last of a job, and writes the certificate."""
    from archive.answers.disposal_certificate import certificate_facts, compose
    from archive.answers.documents import saved
    from archive.answers.documents.lines import lines
    from archive.cli.common import page_width
    from archive.store.disposal import disposals

    made = next((d for d in reversed(disposals(opened)) if d.job == job), None)
    if made is None:
        raise Trouble("nothing of this job was disposed of", code="disposal.none", where=str(opened.root), found=job)
    facts = certificate_facts(opened, made)
    if out is not None:
        saved.write(compose(facts, words), out)
        say(f"the certificate, with every file: {out}", quiet=quiet)
    if as_json:
        entry = made.entry
        told = {"job": job, "records": entry["count"], "files": len(facts.gone), "ledger_entry": entry.number}
        print_json({**told, "certificate": str(out) if out else None, "ledger_head": facts.head.root})
    elif not quiet:
        for line in lines(compose(facts, words, with_files=False), page_width()):
            print_line(line)
        print_next("fixity", opened.root)
    done(False)


def _list(opened: Archive, on: date, *, as_json: bool, quiet: bool) -> None:
    from archive.store.disposal import due

    jobs = due(opened, on)
    over = [j for j in jobs if j.over]
    if as_json:
        print_json({"on": on.isoformat(), "jobs": [j.plain() for j in jobs]})
    elif not quiet:
        print_line(f"past their day of retention on {on.isoformat()}: {len(over)} of {counted(len(jobs), 'job')}")
        _print(over)
        if unknown := sum(j.until is None for j in jobs):
            print_line(f"without a day of retention, and kept: {unknown} of {counted(len(jobs), 'job')}")
    done(any(j.free for j in over))


def _print(jobs: list[Any]) -> None:
    for one in jobs:
        until = one.until or "no stated day"
        what = f"{counted(one.records, 'record')} in {counted(len(one.deposits), 'deposit')}"
        print_line(f"{one.job}: kept until {until}, {what}")
        for hindrance in one.hindrances:
            print_line(f"  not to be disposed of: {hindrance.text}")
        if one.free and one.proposal is not None:
            print_line(f"  proposed by ledger entry {one.proposal}; somebody else may approve it")
        elif one.free:
            print_line("  may be disposed of: --propose")


def _day(given: str | None) -> date:
    try:
        return date.fromisoformat(given) if given else date.today()
    except ValueError:
        raise Trouble(
            "not a date", code="option.not-a-day", where="--on", found=str(given), expected="such as 2055-01-01"
        ) from None
