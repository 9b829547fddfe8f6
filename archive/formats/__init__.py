"""Readers and writers: every layout in, the open forms out.

    for batch in archive.formats.read("exports.zip"): ...
    archive.formats.write(archive.formats.read("exports.zip"), "out", "csv")

A reader is a module with the hooks of formats.recognition.Reader; formats.readers says how one is registered.
"""

from __future__ import annotations

from typing import Any

FORMS: tuple[str, ...] = ("xml", "csv", "parquet")
"""The forms that can be written."""


def read(path: Any, *, mapping: Any = None, draft: bool = True) -> Any:
    """Batches of at most 1,000 records from a file, a folder or a zip, each with the shared rows it refers to.

    path: str or Path. mapping: a mapping file (path) that reads every file no open form claims. draft: a layout
    never seen may be drafted, and is used where the draft is sure. What cannot be read is a row of `set_aside`.
    The iterator (formats.reading.Reading) has `.files`: what was recognised in each file.
    Errors: Trouble where nothing in it can be read.
    """
    from archive.formats.reading import Reading

    return Reading([path], mapping=mapping, draft=draft)


def read_all(paths: Any, *, mapping: Any = None, draft: bool = True, leave_out: Any = ()) -> Any:
    """As read, of several inputs. leave_out: files and folders that are passed over where an input holds them."""
    from archive.formats.reading import Reading

    return Reading(list(paths), mapping=mapping, draft=draft, leave_out=leave_out)


def write(batches: Any, out: Any, form: str = "xml", *, replace: bool = False) -> Any:
    """Batches into an open form: written aside and renamed into place. The paths that were written.

    out: for xml a file, or a folder (the file is then link-records.xml); for csv a folder, or a zip where it ends
    in .zip; for parquet a folder. replace: what stands there may be replaced.
    Errors: Trouble where out exists already; ValueError where a batch breaks a rule of the tables.
    """
    from archive.formats.writing import write as put

    return put(batches, out, form, replace=replace)


__all__ = ["FORMS", "read", "read_all", "write"]
