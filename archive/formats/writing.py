"""Writes batches into an open form: aside first, then renamed into place, so that nothing is ever half there."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from archive.atomic import atomic_write
from archive.errors import Trouble
from archive.formats import FORMS
from archive.formats.open_csv import METADATA
from archive.formats.open_csv.write_csv import write as put_csv
from archive.formats.open_xml.write_xml import write as put_xml
from archive.formats.parquet import write as put_parquet
from archive.tables import Batch, tables
from archive.tables.sound import sound

XML_NAME = "link-records.xml"


def write(batches: Iterable[Batch], out: Any, form: str = "xml", *, replace: bool = False) -> list[Path]:
    """See formats.write."""
    if form not in FORMS:
        raise Trouble("there is no such form", code="output.unknown-form", where=form, expected=" or ".join(FORMS))
    out = Path(out)
    single = _single(out, form)
    batches = map(sound, batches)
    _refuse_existing(out, single, replace)
    with atomic_write(out) as temporary:
        if form == "xml":
            if single:
                put_xml(batches, temporary)
            else:
                temporary.mkdir()
                put_xml(batches, temporary / XML_NAME)
        elif form == "csv":
            put_csv(batches, temporary, zipped=single)
        else:
            put_parquet(batches, temporary)
    return [out] if single else sorted(out.iterdir())


def _single(out: Path, form: str) -> bool:
    """Whether the form goes into one file: by the ending of its name."""
    ending = {"xml": ".xml", "csv": ".zip"}.get(form)
    return ending is not None and out.suffix.lower() == ending and not out.is_dir()


def _refuse_existing(out: Path, single: bool, replace: bool) -> None:
    above = next((p for p in out.parents if p.exists() or p.is_symlink()), None)
    if above is not None and not above.is_dir():
        raise Trouble(
            "cannot be written there",
            code="output.under-a-file",
            where=str(out),
            found=f"{above} is a file",
            expected="a folder",
        )
    if not out.exists() and not out.is_symlink():
        return
    if out.is_dir() and not single and not any(out.iterdir()):
        return
    if not replace:
        raise Trouble(
            "exists already; nothing was written",
            code="output.exists",
            where=str(out),
            expected="a new name or an empty folder",
            remedy="name another place, or say --replace",
        )
    foreign = sorted(p.name for p in out.iterdir() if p.name not in _written()) if out.is_dir() else []
    if foreign:
        raise Trouble(
            "holds more than an earlier output; nothing was written",
            code="output.foreign-files",
            where=str(out),
            found=", ".join(foreign[:3]) + (f" and {len(foreign) - 3} more" if len(foreign) > 3 else ""),
            expected="only files that this command writes",
            remedy="name another place",
        )


def _written() -> set[str]:
    """Names of the files that are written into a folder."""
    return {XML_NAME, METADATA, *(f"{t}{ending}" for t in tables() for ending in (".csv", ".parquet"))}
