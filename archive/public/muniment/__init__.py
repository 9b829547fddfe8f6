"""Muniment: an archive of cabling certification records. These are the public names; nothing else is promised.

    import muniment

    for batch in muniment.read("exports.zip"):  # at most 1,000 records each, as Arrow tables
        findings = batch.check()
        verdicts = batch.grade()["verdicts"]
        batch.write("records.xml", replace=True)

    archive = muniment.open("certificates")
    table = muniment.rates(archive, "cable_type,year")

Units are fixed per column: MHz, dB (losses and isolations positive), m, ns, ohm, %, nm. `schemas/README.md` explains
every table and column. `import muniment` loads nothing heavy; what a name needs is loaded when it is used.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pyarrow as pa

    from archive.errors import Trouble
    from archive.store import Archive
    from archive.store.roles import Role
    from archive.tables import Batch

__all__ = [
    "Archive",
    "Batch",
    "Trouble",
    "concat",
    "counts",
    "create",
    "curves",
    "open",
    "plot",
    "rates",
    "read",
    "ready",
    "write",
]

_CLASSES = {"Archive": "archive.store", "Batch": "archive.tables", "Trouble": "archive.errors"}


def read(
    path: str | PathLike[str], *, mapping: str | PathLike[str] | None = None, draft: bool = True
) -> Iterator[Batch]:
    """The records of a file, a folder or a zip, in batches of at most 1,000 with the shared rows that they refer to.

    mapping: a mapping file that reads every file that is not in an open form. draft: a layout that no mapping knows may
    be drafted, and the draft is used where it is sure. What cannot be read becomes a row of the table `set_aside`.
    Errors: Trouble where nothing in it can be read.
    """
    from archive import formats

    batches: Iterator[Batch] = formats.read(path, mapping=mapping, draft=draft)
    return batches


def write(
    batches: Iterable[Batch], out: str | PathLike[str], form: str = "xml", *, replace: bool = False
) -> list[Path]:
    """Writes batches in an open form and returns the paths written. The output appears whole or not at all.

    form: "xml" (a file, or a folder that gets link-records.xml), "csv" (a folder, or a zip where out ends in .zip) or
    "parquet" (a folder with a file per table). replace: what stands at out may be replaced.
    Errors: Trouble where out exists; ValueError where a batch breaks a rule of the tables.
    """
    from archive import formats

    paths: list[Path] = formats.write(batches, out, form, replace=replace)
    return paths


def concat(batches: Iterable[Batch]) -> Batch:
    """One batch of all records given, with each shared row once.

    Errors: ValueError where two batches hold different rows under one id.
    """
    from archive import tables

    return tables.concat(list(batches))


def open(path: str | PathLike[str]) -> Archive:  # noqa: A001 - the word of the open() that everybody knows
    """An archive on disk or on an object store (s3://bucket/prefix), for reading and depositing.

    Errors: Trouble where there is no archive, or its ledger is damaged.
    """
    from archive import store
    from archive.objects import place

    return store.open(place(path))


def create(path: str | PathLike[str]) -> Archive:
    """A new, empty archive.

    Errors: Trouble where something stands there already.
    """
    from archive import store
    from archive.objects import place

    return store.create(place(path))


def rates(
    archive: Archive | str | PathLike[str] | Sequence[Archive | str | PathLike[str]],
    by: str | Iterable[str] = (),
    *,
    what: str = "rates",
    only: Mapping[str, str] | None = None,
    verdicts: str = "best",
    length_edges: Sequence[float] | None = None,
    role: Role = "current",
    **filters: str | None,
) -> pa.Table:
    """Pass rates over an archive as an Arrow table.

    by: fields to group by ("cable_type", "year", ...), a list or words joined by commas. what: "rates" (a row per
    group; shares from 0 to 1, margins in the unit of margin_unit), "differences" (a row per group against the typical
    one), "told" (what may be relied on) or "failed" (a row per failing part). only: fields and the value that each
    must have. verdicts: "best", "program" or "reported".
    length_edges: upper ends of the bands of length, m. role: which
    record of a link counts for the final rate. filters: link, job, site, since, until, cable_type, limit,
    verdict, serial, deposit.
    Errors: Trouble for an unknown word or a damaged archive; TypeError for an unknown filter.
    """
    from archive.answers.rates.table import table

    return table(
        archive,
        by,
        what=what,
        only=only,
        verdicts=verdicts,
        length_edges=length_edges,
        role=role,
        **filters,
    )


def ready(
    archive: Archive | str | PathLike[str],
    application: str | Iterable[str],
    by: str | Iterable[str] = (),
    *,
    only: Mapping[str, str] | None = None,
    role: Role = "current",
    cords: float | None = None,
    **filters: str | None,
) -> pa.Table:
    """Links that carry an application, that do not, and that cannot be told, as an Arrow table: a row per group and
    application. carry, do_not, cannot_be_told: numbers of links; low, high: shares from 0 to 1 that carry if all that
    cannot be told did not, or did; rate, rate_low, rate_high: of rate_links links; reasons: "number: reason".

    application: such as "10gbase-t", a list or words joined by commas. cords: of both ends of a permanent link, m.
    Other parameters as in `rates`.
    Errors: Trouble for an unknown word or a damaged archive; TypeError for an unknown filter.
    """
    from archive.answers.rates.table import ready_table

    return ready_table(archive, application, by, only=only, role=role, cords=cords, **filters)


def curves(
    archive: Archive | str | PathLike[str],
    parameter: str,
    by: str | Iterable[str] = (),
    *,
    against: str | None = None,
    tests: str = "current",
    worst: bool = False,
    **filters: str | None,
) -> pa.Table:
    """How one parameter lies over frequency, as an Arrow table: a row per group and frequency. frequency_mhz: MHz;
    curves: how many; worst, low, median, high: the worst of all, 5, 50 and 95 % in dB; margin_*: of the margins
    against the limit, negative where it is missed; beyond: share from 0 to 1 that misses it.

    parameter: such as "next". against: a limit; None: the one that all chosen records were tested to. tests:
    "current", "first" or "all". worst: of each record the worst pair or combination alone. filters: as in `rates`.
    Errors: Trouble for an unknown word, more than eight groups or a damaged archive; TypeError for an unknown filter.
    """
    from archive.answers.rates.table import curve_table

    return curve_table(archive, parameter, by, against=against, tests=tests, worst=worst, **filters)


def plot(
    archive: Archive | str | PathLike[str] | Sequence[Archive | str | PathLike[str]],
    out: str | PathLike[str],
    by: str | Iterable[str] = (),
    *,
    trend: str | None = None,
    curves: str | None = None,
    **filters: str | None,
) -> Path:
    """Draws pass rates, or with trend ("month", "quarter", "year") first-time rates over time, or with curves a
    parameter over frequency, into a file ending in .svg, .png or .pdf, and returns its path.

    Other parameters as in `rates`.
    Errors: Trouble for an unknown word or ending, nothing to draw, or a damaged archive.
    """
    from archive.answers.rates.table import drawn

    return drawn(archive, Path(out), by, trend=trend, curves=curves, **filters)


def counts(archive: Archive | str | PathLike[str], job: str) -> dict[str, Any]:
    """The links of a job in numbers, by the names and meanings of schemas/counts.toml.

    "missing", "unexpected" and "late" are lists of labels, "scheduled" is None where no schedule was filed; the others
    are whole numbers. Errors: Trouble for a damaged archive.
    """
    from archive.answers.progress import progress

    opened = open(archive) if isinstance(archive, str | PathLike) else archive
    return progress(opened, job).counts.plain()


def __getattr__(name: str) -> Any:
    """Classes, loaded when they are asked for."""
    import importlib

    if name not in _CLASSES:
        raise AttributeError(f"module 'muniment' has no attribute {name!r}")
    return getattr(importlib.import_module(_CLASSES[name]), name)
