"""muniment verify: a claim file, a book or a proof, without the archive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.common import done, output_options, print_json, print_line

if TYPE_CHECKING:
    from archive.answers.verifying.verify_folder import FolderReport

FILE = click.Path(path_type=Path, exists=True, dir_okay=False)


@click.command("verify")
@click.argument("path", type=click.Path(path_type=Path, exists=True), metavar="FOLDER|FILE")
@click.option("--expect", metavar="HEAD", help="A ledger head that you hold from elsewhere, such as from a receipt.")
@click.option("--key", metavar="KEY", help="Id of the key that you know for the issuer's (a folder).")
@click.option(
    "--root",
    "roots",
    multiple=True,
    type=FILE,
    metavar="CERTIFICATE",
    help="Certificate of a time-stamping authority that you trust; may be given more than once.",
)
@output_options
def command(
    path: Path, expect: str | None, key: str | None, roots: tuple[Path, ...], as_json: bool, quiet: bool
) -> None:
    """Verifies a whole claim file or book (its folder), or one proof (a file), with nothing but itself.

    Of a folder every file is compared with the seal, the seal with its signature and its ledger entry, and the parts
    with each other: record and proof, original and record, documents and their entries, PDF and record.xml. Where the
    same version made them, the pages are made again from the data and compared.

    All of it leads to a ledger head. Compare that head with one that you hold from elsewhere (--expect): without it,
    a folder or a proof shows only that it fits together.

    \b
    Exit code 1: something is not as it was issued, or the folder is not sealed.

    \b
    Example:
      muniment verify claim-A117 --expect 4be1...
      muniment verify claim-A117/data/proof.json
    """
    certificates = [r.read_bytes() for r in roots]
    if path.is_dir():
        from archive.answers.verifying.verify_folder import verify_folder

        report = verify_folder(path, expect, key, certificates)
        if as_json:
            print_json(report.plain())
        elif not quiet:
            _print(path, report)
        done(not report.sound)
    else:
        _proof(path, expect, certificates, as_json, quiet)


def _print(path: Path, report: FolderReport) -> None:
    said = report.said
    if report.sealed:
        issued = f"by {said['by']}, {said['made']}" if said.get("by") else f"{said.get('made')}, by whom is not stated"
        print_line(f"{path}: {said.get('what')}, issued {issued}")
        entry = f"ledger entry {report.entry}" if report.entry is not None else "no ledger entry"
        print_line(f"  sealed by {entry}" + (f" and key {report.signed_by}" if report.signed_by else ", not signed"))
    for damage in report.broken:
        print_line(f"  NOT AS ISSUED {damage.path}: {damage.what}")
    for note in report.notes:
        print_line(f"  {note}")
    if report.head:
        print_line(f"  leads to the ledger head {report.head}")
    print_line(f"{'Sound' if report.sound else 'NOT SOUND'}; checked against {report.checked_against}")


def _proof(file: Path, expect: str | None, roots: list[bytes], as_json: bool, quiet: bool) -> None:
    from archive.store.proofs import holds, load, verify

    proof = load(file)
    steps = verify(proof, expect, roots)
    good = holds(steps)
    head = proof["in_ledger"]
    if as_json:
        listed = [{"step": s.what, "holds": s.holds, "said": s.said} for s in steps]
        print_json(
            {
                "verified": good,
                "record": proof["record"],
                "digest": proof["digest"],
                "ledger_head": head["root"],
                "ledger_size": head["size"],
                "head_compared": expect is not None,
                "steps": listed,
            }
        )
    elif not quiet:
        words = {True: "holds", False: "DOES NOT HOLD", None: "open"}
        for step in steps:
            print_line(f"  {words[step.holds]:<14}{step.what}{f': {step.said}' if step.said else ''}")
        print_line(f"{'Verified' if good else 'NOT VERIFIED'}: record {proof['record']} under head {head['root']}")
        if expect is None:
            print_line("  the head was compared with none held elsewhere; give one with --expect")
    done(not good)
