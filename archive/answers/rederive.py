"""Reads the originals of a deposit again, to compare with what is archived. A difference is a finding, never damage:
a newer reader may know better."""

from __future__ import annotations

import json
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from archive.answers.submission import Submission
from archive.errors import Trouble
from archive.formats.mapping.load import load
from archive.formats.mapping.model import Mapping
from archive.formats.mapping.offered import Offered
from archive.objects import local
from archive.store.deposits.index import content_hashes
from archive.store.parquet import BagTables
from archive.store.received import Received
from archive.validation.catalogue import findings


def rederive(bag: Path, archived: BagTables) -> Iterator[dict[str, Any]]:
    """Findings: records that the readers of today make otherwise, or not at all."""
    with tempfile.TemporaryDirectory(prefix="muniment-") as temporary:
        folder = unpacked(Received.of_bag(bag), Path(temporary))
        if folder is None:
            return
        elsewhere = _kept_elsewhere(bag)
        mappings = [local(p, Path(temporary)) for p in sorted((bag / "data" / "mappings").glob("*"))]
        try:
            given = Offered.of(mappings) if len(mappings) == 1 else Offered(shelf=tuple(_mappings(mappings)))
            now = dict(_contents(Submission([folder], given)))
        except Trouble as trouble:
            yield _finding(bag.name, f"the originals cannot be read any more: {trouble}")
            return
        then = dict(_contents(archived.batches()))
    for place, (content, label) in then.items():
        if place not in now and elsewhere:
            continue  # the file is in the bag of an earlier deposit
        if place not in now:
            yield _finding(bag.name, f"{label} ({place[1]}) is not found in the originals by the readers of today")
        elif now[place][0] != content:
            yield _finding(bag.name, f"{label} ({place[1]}) is read otherwise by the readers of today")


def unpacked(files: Received, into: Path) -> Path | None:
    """The originals of a deposit as files in a folder; None where it has none of its own."""
    if not files:
        return None
    target = into / "originals"
    target.mkdir()
    if files.packed is not None:
        with files.packed.open("rb") as opened, zipfile.ZipFile(opened) as file:
            file.extractall(target)
    for name, place in files.alone.items():
        copy = target / name
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(place.read_bytes())
    return target


def _mappings(paths: Iterable[Path]) -> Iterator[Mapping]:
    """Those files that are mappings of exports."""
    for path in paths:
        with suppress(Trouble):
            yield load(path)


def _kept_elsewhere(bag: Path) -> bool:
    """Whether some of the originals are in the bag of an earlier deposit."""
    try:
        recorded = json.loads((bag / "data" / "deposit.json").read_bytes())
    except (OSError, ValueError):
        return False
    return any("kept_in" in o for o in recorded.get("originals", []))


def _contents(batches: Any) -> Iterator[tuple[tuple[str, str], tuple[int, str]]]:
    """(source, place) -> (hash of what was measured, label)."""
    for batch in batches:
        records = batch["records"].select(["source_id", "source_place", "link_label"]).to_pylist()
        for row, content in zip(records, content_hashes(batch), strict=True):
            yield (row["source_id"] or "", row["source_place"] or ""), (content, row["link_label"] or "no label")


def _finding(bag: str, what: str) -> dict[str, Any]:
    return findings.about_archive("rederived-otherwise", where=bag, found=what.rstrip("."))
