"""muniment mapping: drafts, tries and lists the mappings by which exports are read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, say, signer_options
from archive.cli.plain import exact_output
from archive.errors import Trouble
from archive.vocabulary.counted import counted

_FEW = 5
"""Lines without a name that are listed one by one."""


@click.group("mapping")
def command() -> None:
    """Mappings say how the layout of an export becomes the tables. schemas/mapping.md explains their files.

    \b
    Example:
      muniment mapping draft exports/links.csv -o links.toml
      muniment mapping try links.toml exports/links.csv
      muniment convert exports --mapping links.toml --to links.xml
    """


@command.command("draft")
@click.argument("export", type=click.Path(path_type=Path), metavar="EXPORT")
@click.option("-o", "--out", type=click.Path(path_type=Path), metavar="MAPPING.toml", help="Write the mapping here.")
@click.option("--answer", multiple=True, metavar="NAME=VALUE", help="Answer to what a draft asks; may be given often.")
@click.option("--replace", is_flag=True, help="Replace what is there.")
@output_options
def draft(export: Path, out: Path | None, answer: tuple[str, ...], replace: bool, as_json: bool, quiet: bool) -> None:
    """Drafts a mapping for a layout never seen, from its headings, units, shapes and values.

    Every field has a confidence and a reason; what could not be placed is listed. EXPORT is a file, also one in a zip
    (week2.zip/links.csv), or a folder or zip whose files belong together. Look at every field below 0.9; what the
    draft asks, three things at the most, is answered with --answer; a heading or a word for an end that was answered
    is known to your later drafts of any layout (answered.toml in the folder that `muniment mapping list` names).

    \b
    Example:
      muniment mapping draft exports/links.csv -o links.toml
      muniment mapping draft exports/links.csv --answer pairs=t568b --answer date=day -o links.toml
    """
    from archive.formats.draft.answers import checked
    from archive.formats.draft.command import draft_of
    from archive.formats.draft.remembered import remember

    if out is not None and out.exists() and not replace:
        raise Trouble(
            "exists already; nothing was written",
            code="option.file-exists",
            where=str(out),
            remedy="name another file, or say --replace",
        )
    answers = checked(answer)
    made = draft_of(export, answers)
    known = remember(answers, made) if answers else []
    if out is not None:
        from archive.atomic import atomic_write

        with atomic_write(out) as temporary:
            temporary.write_text(made.text, "utf-8")
    if as_json:
        print_json({**made.as_json(), "written": str(out) if out else None, "words_kept": known})
        return
    if out is None:
        click.echo(made.text, file=exact_output(), nl=False)
    _told(made, out, quiet)
    if known:
        say(f"  from now on known to all your drafts: {', '.join(map(repr, known))}", quiet=quiet)


def _told(made: Any, out: Path | None, quiet: bool) -> None:
    sure = sum(f["confidence"] >= 0.9 for f in made.fields)
    say(
        f"{len(made.fields)} fields placed, {sure} of them surely" + (f"; written to {out}" if out else ""), quiet=quiet
    )
    for f in made.fields:
        if f["confidence"] < 0.9:
            say(f"  look at {f['from']!r} -> {f['to']} ({f['confidence']}): {f['reason']}", quiet=quiet)
    nameless = made.nameless
    listed = made.unplaced if len(nameless) <= _FEW else [n for n in made.unplaced if n not in set(nameless)]
    for name in listed:
        say(f"  not placed: {name!r}: {made.reasons.get(name, '')}", quiet=quiet)
    if len(nameless) > _FEW:
        some = ", ".join(map(repr, nameless[:3]))
        say(f"  not placed: {len(nameless)} lines that have no name: {some} and others", quiet=quiet)
    for question in made.questions:
        say(f"  asked: {question}", quiet=quiet)


@command.command("try")
@click.argument("mapping", type=click.Path(path_type=Path), metavar="MAPPING.toml")
@click.argument("export", type=click.Path(path_type=Path), metavar="EXPORT")
@click.option("-n", "records", type=click.IntRange(1, 1000), default=3, show_default=True, help="How many records.")
@output_options
def attempt(mapping: Path, export: Path, records: int, as_json: bool, quiet: bool) -> None:
    """Converts the first records with a mapping and shows them side by side with the source.

    Each field is read alone: left its cells, right what became of them. Tables that took no rows are named, and why.

    Exit code 1: a record was set aside, or a table took no rows.

    \b
    Example:
      muniment mapping try links.toml exports/links.csv -n 2
    """
    from archive.cli.side_by_side import side_by_side
    from archive.formats.draft.command import tried

    found = tried(mapping, export, records)
    if as_json:
        print_json(found)
    elif not quiet:
        for record in found["records"]:
            for line in side_by_side(record):
                print_line(line)
    for row in found["set_aside"]:
        say(
            f"set aside: {row['place']}: {row['reason']}; found {row['found']}; expected {row['expected']}", quiet=quiet
        )
    empty = [t for t in found["tables"] if not t["taken"]]
    for table in empty:
        say(f"table {table['table']} ({table['rows']}) took no rows: {table['why']}", quiet=quiet)
    done(bool(found["set_aside"] or empty))


@command.command("list")
@click.argument("archive", type=ARCHIVE, metavar="[ARCHIVE]", required=False)
@output_options
def listed(archive: Path | None, as_json: bool, quiet: bool) -> None:
    """The mappings known, and where each came from. Of an archive: its own shelf, who looked each over, and when.

    \b
    Example:
      muniment mapping list
      muniment mapping list certificates
    """
    if archive is not None:
        _list_shelf(archive, as_json, quiet)
        return
    from archive.formats.mapping.known import folders, known

    rows = [
        {
            "layout": k.mapping.layout if k.mapping else None,
            "title": k.mapping.title if k.mapping else "",
            "version": k.mapping.version if k.mapping else "",
            "kind": k.mapping.files[0].kind if k.mapping else "",
            "origin": k.origin,
            "path": str(k.path),
            "sha256": k.mapping.digest if k.mapping else "",
            "trouble": k.trouble,
        }
        for k in known()
    ]
    own = next(str(f) for f, origin in folders() if origin == "own")
    if as_json:
        print_json({"mappings": rows, "own_folder": own})
        return
    for r in rows:
        if r["trouble"]:
            print_line(f"not usable  {r['path']}: {r['trouble']}")
        else:
            print_line(f"{r['layout']:<28} {r['kind']:<10} {r['origin']:<8} {r['title']}")
    say(f"{len(rows)} mappings; put your own into {own}", quiet=quiet)


def _list_shelf(archive: Path, as_json: bool, quiet: bool) -> None:
    from archive import store
    from archive.answers import shelf

    rows = shelf.listed(store.open(archive))
    if as_json:
        print_json({"mappings": rows})
        return
    for r in rows:
        print_line(
            f"{r['layout'] or 'no mapping of exports'}  {r['sha256'][:12]}{'  recognises' if r['recognises'] else ''}"
        )
        by = f" by {r['by']}" if r["by"] else " by somebody who gave no name" if r["shelf"] else ""
        print_line(f"    {r['how']}{by}, {r['at'][:10]}; read by it: {counted(r['files'], 'file')}")
    first = sum(r["recognises"] for r in rows)
    say(f"{len(rows)} mappings, of which {first} recognise what is deposited", quiet=quiet)


@command.command("confirm")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.argument("mapping", type=click.Path(path_type=Path), metavar="MAPPING")
@signer_options
@output_options
def confirmed(archive: Path, mapping: Path, by: str | None, reason: str | None, as_json: bool, quiet: bool) -> None:
    """Lays a mapping that was looked over on the archive's shelf: from then on it recognises first, for every clerk.

    A mapping that was named with `deposit --mapping` lies there already.

    \b
    Example:
      muniment mapping confirm certificates heron.toml --reason "compared with ten paper certificates"
    """
    from archive import store
    from archive.answers import shelf
    from archive.cli import signer

    opened = store.open(archive)
    entry = shelf.confirm(opened, mapping, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    if as_json:
        print_json({"mapping": entry["mapping"], "ledger_entry": entry.number})
    elif not quiet:
        print_line(f"{mapping} lies on the shelf of {archive} (ledger entry {entry.number})")
        print_next("deposit", "FILES", "--into", archive, "--job", "JOB", then="reads by it")


@command.command("take-off")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.argument("layout", metavar="LAYOUT")
@signer_options
@output_options
def taken_off(archive: Path, layout: str, by: str | None, reason: str | None, as_json: bool, quiet: bool) -> None:
    """Takes a mapping off the archive's shelf. What it has read stays as it is; its bytes stay in the archive.

    LAYOUT is the name of its layout, or the first digits of its SHA-256 as `muniment mapping list ARCHIVE` shows them.

    \b
    Example:
      muniment mapping take-off certificates heron --reason "it leaves out the calibration"
    """
    from archive import store
    from archive.answers import shelf
    from archive.cli import signer

    opened = store.open(archive)
    entry, gone = shelf.take_off(opened, layout, by=signer.name(by), reason=reason, sign=signer.sign(opened))
    if as_json:
        print_json({"mapping": gone.sha256, "ledger_entry": entry.number})
    elif not quiet:
        print_line(f"{layout} ({gone.sha256[:12]}) is off the shelf of {archive} (ledger entry {entry.number})")
        print_next("mapping", "list", archive)
