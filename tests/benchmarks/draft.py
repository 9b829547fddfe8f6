"""Drafts of mappings for large exports: seconds, beside a bare reading of the same file by pyarrow.csv or calamine.

Ours is the draft of `muniment mapping draft`, from the file to the text of the mapping; it looks at samples, so that
its time should hardly grow with the file. The limit is 10 s for a text of 200 MB and for a workbook of 20 MB. What is
compared is where the draft sends each column, with the mapping by which the export was written. Links come from the
seeded simulator; the layouts are invented.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pyarrow.csv as pcsv

from archive.demo.simulator import simulate
from archive.formats.draft.command import draft_of
from archive.formats.mapping.load import load
from tests.benchmarks._exports import LAYOUTS, relabelled, workbook, write
from tests.benchmarks._interleaved import medians
from tests.benchmarks.workbook import cells

MOST_SECONDS = 10.0
_TEXT_MB, _BOOK_LINKS = 200, 430


def run(sizes: Sequence[int] = (), quick: bool = False) -> list[dict[str, Any]]:
    """One row per layout. quick: a few links, each thing done once. sizes: not looked at, the limit names its own."""
    del sizes
    runs = 1 if quick else 5
    rows = []
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
        folder = Path(name)
        for layout in LAYOUTS:
            path, mapping = write(relabelled(simulate(3 if quick else 20, seed=3), "#####"), folder, layout)
            _repeat(path, 1 if quick else round(_TEXT_MB * 1e6 / path.stat().st_size))
            rows += list(_rows(layout, path, mapping, lambda p=path: pcsv.read_csv(p), runs))  # type: ignore[misc]
            path.unlink()
        path, mapping = workbook(simulate(3 if quick else _BOOK_LINKS, seed=3), folder)
        rows += list(_rows("workbook", path, mapping, lambda: cells(path), min(runs, 3)))
    return rows


def _repeat(path: Path, times: int) -> None:
    """The rows of a file over and over, each time under labels of their own."""
    head, _, body = path.read_bytes().partition(b"\n")
    with path.open("wb") as out:
        out.write(head + b"\n")
        for number in range(times):
            out.write(body.replace(b"#####", b"%05d" % number))


def _rows(layout: str, path: Path, mapping: Path, bare: Callable[[], Any], runs: int) -> Iterator[dict[str, Any]]:
    ours, limit = medians(runs, lambda: fresh(path), bare)
    said, drafted = places(load(mapping)), places(fresh(path).mapping)
    yield {
        "what": f"draft a mapping, {layout}",
        "megabytes": round(path.stat().st_size / 1e6, 1),
        "seconds": round(ours, 2),
        "target_seconds": MOST_SECONDS,
        "times_a_bare_reading": ours / limit,
        "columns": len(said),
        "placed_rightly": sum(drafted.get(k) == v for k, v in said.items()),
        "placed_otherwise": sum(k in drafted and drafted[k] != v for k, v in said.items()),
    }


def fresh(path: Path) -> Any:
    """The draft of a file, without what is remembered of an earlier look at it."""
    from archive.formats.draft import group

    group._looked.cache_clear()
    group._drafted.cache_clear()
    return draft_of(path)


def places(mapping: Any) -> dict[tuple[str, str], str]:
    """Where a mapping sends each column, by the kind of rows and the heading."""
    return {(t.rows, f.source): str(f.to) for file in mapping.files for t in file.tables for f in t.fields}


if __name__ == "__main__":
    for row in run():
        print(row)
