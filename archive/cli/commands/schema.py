"""muniment schema: the files of the open schema."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import output_options, print_json, print_line, say

_FILES = {
    "xml": ["link-record-1.xsd", "check-link-record.pyz"],
    "csv": ["link-record-1-csv.json"],
    None: [
        "README.md",
        "link-record-1.xsd",
        "link-record-1-csv.json",
        "tables.toml",
        "vocabulary.toml",
        "check-link-record.pyz",
    ],
}


@click.command()
@click.argument("form", required=False, type=click.Choice(["xml", "csv"]))
@click.option("-o", "--out", "folder", type=click.Path(path_type=Path, file_okay=False), help="Folder to write into.")
@click.option("--write", is_flag=True, hidden=True, help="Rebuild the generated files in schemas/ (for developers).")
@output_options
def command(form: str | None, folder: Path | None, write: bool, as_json: bool, quiet: bool) -> None:
    """Write the schema files out: everything needed to read or write link records without this program.

    Without FORM all of them: the field guide, the XML Schema, the CSV on the Web metadata, the table definitions,
    the vocabulary, and check-link-record.pyz, which checks link record XML with Python alone. Without -o they go
    into the folder you are in.

    \b
    Example:
      muniment schema xml -o schema-files
    """
    from archive.formats import declared

    paths = declared.write() if write else declared.copy(_FILES[form], folder or Path())
    if as_json:
        print_json({"files": [str(p) for p in paths]})
        return
    for path in paths:
        print_line(str(path))
    if not paths:
        say("The declared files are as the definitions say.", quiet=quiet)
