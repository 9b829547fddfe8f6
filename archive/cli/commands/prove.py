"""muniment prove: a record's proof, for whoever has no archive."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_next, say


@click.command("prove")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.argument("record", metavar="RECORD")
@click.option("--since", metavar="HEAD", help="Also show that today's ledger continues this earlier head.")
@click.option("-o", "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write the proof to a file.")
@output_options
def command(archive: Path, record: str, since: str | None, out: Path | None, as_json: bool, quiet: bool) -> None:
    """Writes the proof that a record stands in an archive: one JSON document that `muniment verify` reads alone.

    \b
    Example:
      muniment prove certificates re-6b86b273ff34fce19d6b804eff5a3f57 -o proof.json
    """
    import json

    from archive import store
    from archive.atomic import write_bytes
    from archive.store.proofs import prove

    proof = prove(store.open(archive), record, since)
    if out is not None:
        write_bytes(out, (json.dumps(proof, ensure_ascii=False, indent=1) + "\n").encode())
        if not (as_json or quiet):
            print_next("verify", out)
        say(f"{out}: proof of record {proof['record']} under head {proof['in_ledger']['root']}", quiet=quiet)
    if out is None or as_json:
        print_json(proof)
