"""Reads stored originals again, with a better mapping or by the readers of today."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from archive.answers import intake
from archive.answers.rederive import unpacked
from archive.errors import Trouble
from archive.store import Archive
from archive.store.deposits import DepositFacts, Receipt


def reread(
    archive: Archive, deposit: str, mapping: Path | None, *, by: str | None, reason: str | None, sign: Any = None
) -> Receipt:
    """A new deposit from the originals of another, with the job, site and zone of that one.

    The originals are not stored again: the entry names the deposit that holds them. Errors: Trouble where that
    deposit has no originals of its own, or they cannot be read.
    """
    entry = archive.deposit_entry(deposit)
    with tempfile.TemporaryDirectory(prefix="muniment-") as temporary:
        folder = unpacked(archive.bag(deposit), Path(temporary))
        if folder is None:
            at = entry.get("originals_in")
            raise Trouble(
                "this deposit has no originals of its own",
                code="deposit.no-originals",
                where=deposit,
                remedy=f"read those of {at}" if at else "they were redacted, or the records came without files",
            )
        recorded = {name: entry.get(name) for name in (("job",) if entry.get("job") else ("site", "zone"))}
        facts = DepositFacts(**recorded, by=by, reason=reason, more={"originals_in": deposit})
        return intake.ingest(archive, [folder], facts, intake.Choices(mapping=mapping, sign=sign, keep_originals=False))
