"""muniment receipt: the receipt of a deposit again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line
from archive.vocabulary.counted import counted


@click.command("receipt")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.argument("deposit", metavar="[DEPOSIT]", required=False)
@click.option("--job", metavar="JOB", help="Without DEPOSIT: list the deposits of this job alone.")
@click.option(
    "--receipt", "out", type=click.Path(path_type=Path), metavar="FILE", help="Write it too, as .pdf, .html or .txt."
)
@output_options
def command(archive: Path, deposit: str | None, job: str | None, out: Path | None, as_json: bool, quiet: bool) -> None:
    """Prints the receipt of a deposit again, with the ledger head as it was right after it.

    The links of the job are counted as they stand now. Without DEPOSIT the deposits of the archive are listed.

    \b
    Example:
      muniment receipt certificates
      muniment receipt certificates 2026-11-25-3f9a1c0712 --receipt receipt.pdf
    """
    from archive import store
    from archive.answers.progress import progress
    from archive.answers.receipt import ReceiptFacts, check_form
    from archive.cli import receipts
    from archive.store.deposits import receipt

    opened = store.open(archive)
    if deposit is None:
        _listed(opened, job, as_json)
        return
    if out is not None:
        check_form(out)
    made = receipt(opened, deposit)
    of_job = made.plain().get("job")
    state = progress(opened, of_job) if of_job else None
    facts = ReceiptFacts(made, str(archive), of_job, state, archive_id=opened.id)
    receipts.show(facts, out, as_json=as_json, quiet=quiet, more={})


def _listed(opened: Any, job: str | None, as_json: bool) -> None:
    from archive.store import disposed

    opened.catch_up()
    rows = opened.db.execute(
        "SELECT d.deposit, d.job_id AS job, e.at, d.records, d.withdrawn FROM deposits d "
        "JOIN entries e ON e.number = d.number WHERE ?1 IS NULL OR d.job_id = ?1 ORDER BY d.number",
        (job,),
    ).fetchall()
    disposed_of = disposed.deposits(opened.db)
    if as_json:
        states = [{"withdrawn": bool(r["withdrawn"]), "disposed_of": r["deposit"] in disposed_of} for r in rows]
        print_json({"deposits": [{**dict(r), **state} for r, state in zip(rows, states, strict=True)]})
        return
    for r in rows:
        gone = "  disposed of" if r["deposit"] in disposed_of else "  withdrawn" if r["withdrawn"] else ""
        records = counted(r["records"], "record")
        print_line(f"{r['deposit']}  {(r['at'] or '')[:16]}  {records:>13}  {r['job'] or 'no job'}{gone}")
    if not rows:
        print_line("there is no deposit")
