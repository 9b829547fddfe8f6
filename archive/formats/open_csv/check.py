"""Looks at the metadata and the header of each table before anything is read."""

from __future__ import annotations

import csv
import json
import re

from archive.errors import Trouble
from archive.formats.recognition import Entry
from archive.tables import tables, version


def refuse_metadata(metadata: Entry) -> None:
    """Errors: Trouble where the metadata is of a newer version, or damaged."""
    found = re.fullmatch(r"link-record-(\d+)-csv\.json", metadata.path.name)
    if found and int(found[1]) > version():
        raise Trouble(
            f"is version {found[1]} of link record CSV; this program reads up to version {version()}",
            code="open-csv.newer-version",
            where=metadata.name,
            remedy="read it with a newer muniment",
        )
    try:
        json.loads(metadata.path.read_bytes())
    except ValueError as error:
        raise Trouble(
            "the metadata file is damaged",
            code="open-csv.metadata-damaged",
            where=metadata.name,
            found=str(error),
            expected="CSV on the Web metadata, as `muniment schema csv` writes it",
            remedy="copy or export the tables again",
        ) from None


def header_of(name: str, entry: Entry) -> list[str]:
    """Names of the columns of a table, as its first line says.

    Errors: Trouble for no header, an unknown column, one that stands twice, one that must be there and is not.
    """
    line = entry.head.removeprefix(b"\xef\xbb\xbf").split(b"\n", 1)[0].rstrip(b"\r")
    try:
        found = next(csv.reader([line.decode()]), [])
    except (UnicodeDecodeError, csv.Error):
        found = []
    columns = {c.name: c for c in tables()[name].columns}
    unknown = [c for c in found if c not in columns]
    missing = [c.name for c in columns.values() if not c.nullable and c.name not in found]
    if not found or unknown or missing or len(set(found)) != len(found):
        what = f"unknown {', '.join(unknown)}" if unknown else f"missing {', '.join(missing)}" if missing else ""
        raise Trouble(
            "the first line does not name the columns of this table",
            code="open-csv.header",
            where=f"{entry.name}, line 1",
            found=what or (line[:80].decode("utf-8", errors="replace") or "an empty line"),
            expected=",".join(columns)[:120] + ("..." if len(columns) > 12 else ""),
            remedy="keep the header as the metadata file describes it",
        )
    return found
