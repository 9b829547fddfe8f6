"""muniment setaside: what could not be read, why, and how to take it in again."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, signer_options

_SHOWN = 10
"""Things of one cause that are named, unless all are asked for."""


@click.command("setaside")
@click.argument("archive", type=ARCHIVE)
@click.option("--job", metavar="J", help="Of this job alone.")
@click.option("--keep", multiple=True, metavar="PATTERN", help="Settle these: no tests, kept as they are.")
@click.option("--all", "everything", is_flag=True, help="Name every thing, settled ones too.")
@signer_options
@output_options
def command(
    archive: Path,
    job: str | None,
    keep: tuple[str, ...],
    everything: bool,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Lists what was set aside and is not settled, by cause: each thing once, with what to do. The originals are in the
    archive all the same.

    A thing is settled where a later deposit read it, where `muniment attach` filed it, or where --keep says that it is
    no test: a path, or a pattern such as photos/*.jpg.

    \b
    Exit code 1: something is set aside and not settled.

    \b
    Example:
      muniment setaside certificates --job HARBOUR-2019-04
      muniment setaside certificates --job HARBOUR-2019-04 --keep "minutes/*" --reason "minutes of the weekly meeting"
    """
    from archive import store
    from archive.answers import setaside
    from archive.answers.known_names import check_job
    from archive.cli import signer

    opened = store.open(archive)
    if job is not None:
        check_job(opened, job)
    if keep:
        signed = signer.sign(opened)
        entry, meant = setaside.keep(opened, keep, job, by=signer.name(by), reason=reason, sign=signed)
        if not (as_json or quiet):
            print_line(f"{len(meant)} settled as no tests (ledger entry {entry.number})")
    rows = setaside.set_aside(opened, job)
    left = [r for r in rows if not r["settled"]]
    if as_json:
        print_json({"set_aside": rows})
    elif not quiet:
        for first, members in setaside.by_cause(rows if everything else left):
            print_line(f"{len(members)}: {first['reason']}")
            for label in ("found", "expected", "remedy"):
                if first[label]:
                    print_line(f"    {'what to do' if label == 'remedy' else label}: {first[label]}")
            for r in members if everything else members[:_SHOWN]:
                place = ", ".join(x for x in (r["path"], r["place"], r["link_label"]) if x)
                print_line(f"  - {place}  ({r['deposit']}{', ' + r['how'] if r['how'] else ''})")
            if not everything and len(members) > _SHOWN:
                print_line(f"  and {len(members) - _SHOWN} more; --all names them")
        settled = len(rows) - len(left)
        print_line(f"{len(left)} open, {settled} settled" if rows else "nothing is set aside")
        if left:
            print_next("reread", archive, "--deposit", left[0]["deposit"], "--mapping", "M")
            print_line(
                "  with a better mapping M; or hand in a file that was copied again, or settle what is no test with "
                "--keep"
            )
        elif keep:
            print_next("progress", archive, *(["--job", job] if job else ["--job", "JOB"]))
    done(bool(left))
