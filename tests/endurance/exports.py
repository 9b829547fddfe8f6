"""An export of 5 GB is read by its mapping in under 1 GB of memory, also where its links and curves stand apart.

A tile of simulated links in an invented layout is written over and over, each time under labels of its own; the file
is read in a process of its own, and removed.
"""

from __future__ import annotations

import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from archive.demo.simulator import simulate
from tests.benchmarks._exports import parted, relabelled, write

MEASURE = """
import sys
import archive.formats
records = sweeps = aside = extras = 0
for batch in archive.formats.read(sys.argv[1], mapping=sys.argv[2]):
    records += len(batch)
    sweeps += batch["sweeps"].num_rows
    aside += batch["set_aside"].num_rows
    extras += batch["extras"].num_rows
with open("/proc/self/status") as status:
    peak = next(int(line.split()[1]) // 1024 for line in status if line.startswith("VmHWM"))
print(records, sweeps, aside, extras, peak)
"""
"""A process that reads one input and prints what it has, and the peak of its memory in megabytes (Linux)."""

CEILING = 1_000
"""Megabytes."""
LINKS = 20
CURVES = 48
_MARK = "#######"


def one_file(folder: Path, megabytes: int) -> tuple[Path, Path, int]:
    """A file with a row per frequency, its mapping, and how many records it has."""
    path, mapping = write(_marked(), folder, "points")
    return path, mapping, LINKS * _grown(megabytes, [path])


def two_files(folder: Path, megabytes: int) -> tuple[Path, Path, int]:
    """A folder with the links in one file and the points in another."""
    apart = folder / "apart"
    apart.mkdir()
    links, points, mapping = parted(_marked(), apart)
    mapping = mapping.rename(folder / "parted.toml")
    return apart, mapping, LINKS * _grown(megabytes, [points, links])


def packed(folder: Path, megabytes: int) -> tuple[Path, Path, int]:
    """The same in a zip, stored as it is: what packs by repetition would be refused as a bomb."""
    apart, mapping, records = two_files(folder, megabytes)
    out = folder / "apart.zip"
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for path in sorted(apart.iterdir()):
            archive.write(path, path.name)
            path.unlink()
    apart.rmdir()
    return out, mapping, records


def exports(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Each form at two sizes: nothing is lost, and the memory stays below the ceiling."""
    small, large = (60, 150) if quick else (1_000, 5_000)
    for make in (one_file, two_files, packed):
        peaks = []
        for megabytes in (small, large):
            path, mapping, records = make(folder, megabytes)
            try:
                peaks.append(read(path, mapping, records))
            finally:
                remove(path)
            assert peaks[-1] < CEILING, f"{make.__name__}: {peaks[-1]} MB of memory for {megabytes} MB"
        yield {"what": f"memory, exports, {make.__name__}", "megabytes": [small, large], "peak_mb": peaks}


def read(path: Path, mapping: Path, records: int) -> int:
    """Reads an export in a process of its own; the peak of its memory in megabytes. Nothing may be lacking."""
    command = [sys.executable, "-c", MEASURE, str(path), str(mapping)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert not done.returncode, done.stderr[-2000:]
    found, sweeps, aside, extras, peak = map(int, done.stdout.split())
    assert (found, sweeps, aside, extras) == (records, records * CURVES, 0, 0), done.stdout
    return peak


def remove(path: Path) -> None:
    """Removes a file, or a folder of files."""
    for inside in sorted(path.iterdir()) if path.is_dir() else ():
        inside.unlink()
    path.rmdir() if path.is_dir() else path.unlink()


def _marked() -> Any:
    return relabelled(simulate(LINKS, seed=5), _MARK)


def _grown(megabytes: int, paths: list[Path]) -> int:
    """Repeats the rows of files, each time under labels of their own, until the first is so large; how many times."""
    times = max(1, round(megabytes * 1e6 / paths[0].stat().st_size))
    for path in paths:
        head, _, body = path.read_bytes().partition(b"\n")
        with path.open("wb") as out:
            out.write(head + b"\n")
            for number in range(times):
                out.write(body.replace(_MARK.encode(), b"%07d" % number))
    return times
