"""muniment amend: a correction of metadata."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, signer_options
from archive.cli.filters import chosen, filter_options
from archive.errors import Trouble


@click.command("amend")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--record", "records", multiple=True, metavar="R", help="A record; may be given more than once.")
@filter_options
@click.option("--set", "sets", multiple=True, metavar="FIELD=VALUE", help="The new value of a field.")
@click.option(
    "--from",
    "table",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="TABLE",
    help="A table: record (or link, with job), field, value; or old, new to rename labels, rooms and the like.",
)
@click.option("--shift", metavar="+1y", help="Move the times of the records by this (y, mo, d, h, min).")
@signer_options
@output_options
def command(
    archive: Path,
    records: tuple[str, ...],
    sets: tuple[str, ...],
    table: Path | None,
    shift: str | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
    **filters: Any,
) -> None:
    """Corrects metadata of records: a new event that keeps the old values. Nothing archived is rewritten.

    Fields: link_label, job_id, site, building, floor, space, panel, port, cable_type, configuration, limit_found,
    tested_local, local_serial, remote_serial, maker, operator, organisation.

    \b
    Example:
      muniment amend certificates --job HARBOUR-2019-04 --site "Lantern Quay 4" --set site="Lantern Quay West" \\
        --reason "the site was renamed"
      muniment amend certificates --from renamed-rooms.csv --job HARBOUR-2019-04 --reason "letter of 3 May"
      muniment amend certificates --serial 40-00317 --since 2018-01-01 --until 2018-03-31 --shift +1y
    """
    from archive import store
    from archive.answers.corrections import from_table, shifted
    from archive.answers.known_names import hints, links_named
    from archive.cli import signer
    from archive.store.catalogue.filters import addresses
    from archive.store.events import Correction, amend

    opened = store.open(archive)
    opened.catch_up()
    wanted = chosen(filters)
    changes = from_table(opened, table, job=filters["job"], site=filters["site"]) if table else []
    if sets or shift:
        if not records and not wanted:
            raise Trouble(
                "which records?", code="option.one-of", expected="--record R or a filter such as --link L --job J"
            )
        listed = [*records, *(addresses(opened.db, wanted) if wanted else [])]
        if not listed:
            raise Trouble(
                "no record of the archive fits",
                code="amend.no-record-fits",
                where=str(archive),
                found=", ".join(f"{k} {v}" for k, v in filters.items() if v is not None),
                expected="; ".join(hints(opened, wanted)),
                remedy="see `muniment find` with the same filters",
            )
        changes += [Correction(r, field, value) for r in listed for field, value in map(_pair, sets)]
        if shift:
            changes += shifted(opened, [opened.address(r) for r in listed], shift)
    if not changes:
        raise Trouble(
            "nothing to correct",
            code="option.nothing-given",
            expected="--set FIELD=VALUE, --shift or --from TABLE, and records that it is for",
        )
    entry, made = amend(opened, changes, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    changed = [{"record": c.record, "field": c.field, "old": c.old, "new": c.new} for c in made]
    if as_json:
        print_json({"changed": len(made), "changes": changed, "ledger_entry": entry.number if entry else None})
    elif not quiet:
        for c in made:
            print_line(f"  {c.record}  {c.field}: {c.old!r} -> {c.new!r}")
        corrected = "1 value" if len(made) == 1 else f"{len(made)} values"
        print_line(f"{corrected} corrected" + (f" by ledger entry {entry.number}" if entry else ""))
        links = links_named(opened, [c.record for c in made])
        if len(links) == 1 and links[0][0]:
            print_next("history", archive, links[0][0])
        elif len({job for _, job in links}) == 1 and links[0][1]:
            print_next("progress", archive, "--job", links[0][1])
        else:
            print_next("find", archive)
    done(False)


def _pair(text: str) -> tuple[str, str | None]:
    field, equals, value = text.partition("=")
    if not equals:
        raise Trouble("no FIELD=VALUE", code="option.not-field-value", where="--set", found=text)
    return field.strip(), value or None
