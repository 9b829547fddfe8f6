"""muniment verify: a proof, without the archive."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import done, output_options, print_json, print_line


@click.command("verify")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="FILE")
@click.option("--expect", metavar="HEAD", help="A ledger head that you hold from elsewhere, such as from a receipt.")
@click.option(
    "--root",
    "roots",
    multiple=True,
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="CERTIFICATE",
    help="Certificate of a time-stamping authority that you trust; may be given more than once.",
)
@output_options
def command(file: Path, expect: str | None, roots: tuple[Path, ...], as_json: bool, quiet: bool) -> None:
    """Verifies a record's proof with nothing but the proof.

    The proof leads to a ledger head. Compare that head with one that you hold from elsewhere (--expect): without it,
    the proof shows only that it fits together.

    \b
    Exit code 1: a step of the proof does not hold.

    \b
    Example:
      muniment verify proof.json --expect 4be1...
    """
    from archive.store.proofs import holds, load, verify

    proof = load(file)
    steps = verify(proof, expect, [r.read_bytes() for r in roots])
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
