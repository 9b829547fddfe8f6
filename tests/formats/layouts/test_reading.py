"""Generated documents read by mappings that are right for them: every item arrives, and the two ways of rows agree."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from unittest import mock

import archive.formats
from archive.formats.mapping import chunks
from tests.formats.layouts import Layout, compare, make
from tests.formats.layouts.known import mapping_of
from tests.formats.layouts.scoring import records_of

SEEDS = [("train", n) for n in range(48)] + [("test", n) for n in range(5000, 5024)]
"""The test seeds are spent by this test, and used for no figure."""


def _layouts() -> list[tuple[Layout, str]]:
    found = []
    for split, seed in SEEDS:
        layout = make(seed, split)
        try:
            found.append((layout, mapping_of(layout.traits)))
        except ValueError:  # a kind of document that no mapping is made for
            continue
    return found


LAYOUTS = _layouts()


def _read(layout: Layout, mapping: str, folder: Path) -> list[Any]:
    folder.mkdir(exist_ok=True)
    (folder / "m.toml").write_text(mapping)
    return list(archive.formats.read(layout.write(folder), mapping=folder / "m.toml"))


def test_a_right_mapping_reads_every_item_of_its_document(tmp_path: Path) -> None:
    """Of each shape and container in rows and columns; nothing is invented."""
    seen = set()
    for number, (layout, mapping) in enumerate(LAYOUTS):
        batches = _read(layout, mapping, tmp_path / str(number))
        score = compare(layout.facts, [r for b in batches for r in records_of(b)])
        assert (score.right, score.wrong) == (score.of, 0), (layout.told, score.examples[:5])
        seen.add((layout.traits.container, layout.traits.shape))
    assert len(LAYOUTS) > 30
    assert {c for c, _ in seen} == {"csv", "fixed", "xlsx", "folder"}
    assert {s for _, s in seen} == {"summary", "readings", "points", "wide", "matrix", "cells"}


def test_the_fast_way_and_the_slow_way_agree(tmp_path: Path) -> None:
    """One delimited table is read in blocks by a fast way, any other text line by line: the rows are the same."""
    compared = 0
    for number, (layout, mapping) in enumerate(LAYOUTS):
        if layout.traits.container != "csv" or layout.traits.transposed:
            continue
        fast = _content(_read(layout, mapping, tmp_path / str(number)))
        with mock.patch.object(chunks, "_plain", lambda file: False):
            slow = _content(_read(layout, mapping, tmp_path / str(number)))
        assert fast == slow, layout.told
        compared += 1
    assert compared > 8


def _content(batches: list[Any]) -> list[Any]:
    """What was read, and the account, without places: lines of the one way are rows of blocks of the other."""
    read = [
        (r.label, r.tested, sorted((key, str(value)) for key, value in r.items.items()))
        for b in batches
        for r in records_of(b)
    ]
    (source,) = batches[-1]["sources"].to_pylist()
    account = [source[f"cells_{name}"] for name in ("read", "mapped", "extra", "ignored")]
    aside = [r["reason"] for b in batches for r in b["set_aside"].to_pylist()]
    return [sorted(read, key=str), account, aside]
