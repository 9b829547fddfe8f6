"""muniment amend: a correction of metadata."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import done, output_options, print_json, signer_options
from archive.cli.filters import chosen, filter_options
from archive.errors import Trouble


@click.command("amend")
@click.argument("archive", type=click.Path(path_type=Path), metavar="ARCHIVE")
@click.option("--record", "records", multiple=True, metavar="R", help="A record; may be given more than once.")
@filter_options
@click.option("--set", "sets", multiple=True, metavar="FIELD=VALUE", help="The new value of a field.")
@click.option(
    "--from",
    "table",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="CSV",
    help="A table with the columns record, field, value.",
)
@signer_options
@output_options
def command(
    archive: Path,
    records: tuple[str, ...],
    sets: tuple[str, ...],
    table: Path | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
    **filters: Any,
) -> None:
    """Corrects metadata of records: a new event that keeps the old values. Nothing archived is rewritten.

    Fields: link_label, job_id, site, cable_type, configuration, tested_local, local_serial, remote_serial.

    \b
    Example:
      muniment amend certificates --job HARBOUR-2019-04 --site "Lantern Quay 4" --set site="Lantern Quay West" \\
        --reason "the site was renamed"
    """
    from archive import store
    from archive.cli import signer
    from archive.store.catalogue.filters import addresses
    from archive.store.events import Correction, amend

    opened = store.open(archive)
    opened.catch_up()
    changes = _from_table(table) if table else []
    if sets:
        wanted = chosen(filters)
        if not records and not wanted:
            raise Trouble(
                "which records?", code="option.one-of", expected="--record R or a filter such as --link L --job J"
            )
        listed = [*records, *(addresses(opened.db, wanted) if wanted else [])]
        changes += [Correction(r, field, value) for r in listed for field, value in map(_pair, sets)]
    if not changes:
        raise Trouble(
            "nothing to correct",
            code="option.nothing-given",
            expected="--set FIELD=VALUE or --from CSV, and records that it is for",
        )
    entry, made = amend(opened, changes, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    changed = [{"record": c.record, "field": c.field, "old": c.old, "new": c.new} for c in made]
    if as_json:
        print_json({"changed": len(made), "changes": changed, "ledger_entry": entry.number if entry else None})
    elif not quiet:
        for c in made:
            click.echo(f"  {c.record}  {c.field}: {c.old!r} -> {c.new!r}")
        click.echo(f"{len(made)} values corrected" + (f" by ledger entry {entry.number}" if entry else ""))
    done(False)


def _pair(text: str) -> tuple[str, str | None]:
    field, equals, value = text.partition("=")
    if not equals:
        raise Trouble("no FIELD=VALUE", code="option.not-field-value", where="--set", found=text)
    return field.strip(), value or None


def _from_table(path: Path) -> list[Any]:
    import csv

    from archive.store.events import Correction

    with path.open(newline="", encoding="utf-8-sig") as file:
        rows = csv.DictReader(file)
        missing = {"record", "field", "value"} - set(rows.fieldnames or [])
        if missing:
            raise Trouble(
                "the table lacks columns",
                code="amend.table-columns",
                where=f"{path}: line 1",
                found=", ".join(rows.fieldnames or []) or "nothing",
                expected="record, field, value",
            )
        return [Correction(r["record"], r["field"], r["value"] or None) for r in rows]
