"""The open forms: reading, validating and writing link record XML, ours against peers and against bare parsing.

Reading: ours is archive.formats.read, from the file to sound tables, with the gate. The limit is bare lxml iterparse
and numpy.fromstring over the sweeps alone. The peer is the ElementTree script that a person would write, which gives
the curves alone and checks nothing. Validating: ours is the gate; the limit is lxml's XMLSchema on a whole tree, the
peer xmlschema. CSV: the limit is pyarrow.csv and numpy.fromstring over the sweeps file alone.
Links come from the seeded simulator.
"""

from __future__ import annotations

import statistics
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.csv as pcsv
from lxml import etree

import archive.formats
from archive.demo.simulator import simulate
from archive.formats.open_xml.explain import judge
from archive.formats.open_xml.gate import admit, schema
from archive.tables import Batch, ordered
from archive.tables.canonical import record_digests

SIZES = (400,)
SWEEP = "{urn:muniment:link-record:1}sweep"
Curves = list[Any]


def bare(path: Path) -> Curves:
    """The limit: the curves of a document, nothing else."""
    found = []
    for _, element in etree.iterparse(str(path), events=("end",), tag=SWEEP):
        found.append(np.fromstring(element.text.replace(" - ", " nan "), sep=" "))
        element.clear()
    return found


def script(path: Path) -> Curves:
    """The peer: what a person writes with the standard library."""
    found = []
    for _, element in ElementTree.iterparse(path):
        if element.tag == SWEEP:
            found.append(np.array([float("nan") if t == "-" else float(t) for t in element.text.split()]))
            element.clear()
    return found


def ours(path: Path) -> list[Batch]:
    """The whole way, to sound tables."""
    return list(archive.formats.read(path))


def run(sizes: Sequence[int] = (), quick: bool = False) -> list[dict[str, Any]]:
    """Rows with ratios; a share of 1 is as fast as the limit. quick: a few links, each thing done once."""
    rows = []
    for links in (3,) if quick else tuple(s for s in sizes if s <= 1_000) or SIZES:
        with tempfile.TemporaryDirectory() as folder:
            rows += list(_rows(Path(folder), links, 1 if quick else 5))
    return rows


def _rows(folder: Path, links: int, runs: int) -> Iterator[dict[str, Any]]:
    batches = [ordered(b) for b in simulate(links, seed=3)]
    path = folder / "a.xml"
    archive.formats.write(batches, path)
    size = path.stat().st_size
    megabytes = size / 1e6
    points = sum(len(v) for b in batches for v in b["sweeps"].column("values").to_pylist())

    def timed(*works: Callable[[], Any]) -> list[float]:
        return [_median(work, runs) for work in works]

    read, limit, peer = timed(lambda: ours(path), lambda: bare(path), lambda: script(path))
    yield {
        "what": "read open XML to tables",
        "links": links,
        "megabytes": round(megabytes, 1),
        "points": points,
        "share_of_limit": limit / read,
        "times_faster_than_peer": peer / read,
        "agree": _agree(ours(path), bare(path), script(path)),
    }
    gate, tree = timed(lambda: admit(path, "a.xml"), lambda: schema().validate(etree.parse(str(path))))
    small = folder / "small.xml"
    archive.formats.write([next(iter(simulate(1, seed=3)))], small)
    one, slow = timed(lambda: admit(small, "a.xml"), lambda: judge().validate(str(small)))
    yield {
        "what": "validate open XML",
        "links": links,
        "megabytes": round(megabytes, 1),
        "share_of_limit": tree / gate,
        "times_faster_than_peer": slow / one,
        "agree": bool(schema().validate(etree.parse(str(path)))) and bool(judge().is_valid(str(small))),
    }
    write, text, digests = timed(
        lambda: archive.formats.write(batches, folder / "b.xml", replace=True),
        lambda: _bare_text(batches),
        lambda: [record_digests(b) for b in batches],
    )
    yield {
        "what": "write open XML",
        "links": links,
        "megabytes": round(megabytes, 1),
        "share_of_limit": text / write,
        "digests_share_of_limit": text / digests,
        "agree": (folder / "b.xml").read_bytes() == path.read_bytes(),
    }
    archive.formats.write(batches, folder / "csv", "csv")
    sweeps = folder / "csv" / "sweeps.csv"
    from_csv, plain = timed(lambda: ours(folder / "csv"), lambda: _bare_csv(sweeps))
    yield {
        "what": "read open CSV to tables",
        "links": links,
        "megabytes": round(sweeps.stat().st_size / 1e6, 1),
        "share_of_limit": plain / from_csv,
        "share_of_open_xml": read / from_csv,
        "agree": _digests(ours(folder / "csv")) == _digests(ours(path)) == _digests(batches),
    }


def _bare_csv(path: Path) -> Curves:
    """The limit of reading CSV: the curves alone."""
    texts = pcsv.read_csv(path).column("values").to_pylist()
    return [np.fromstring(text.replace(" - ", " nan "), sep=" ") for text in texts]


def _digests(batches: list[Batch]) -> list[str]:
    return [d for b in batches for d in record_digests(b)]


def _median(work: Callable[[], Any], runs: int) -> float:
    work()
    taken = []
    for _ in range(runs):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


def _bare_text(batches: list[Batch]) -> int:
    """The limit of writing: the numbers as text, by numpy."""
    return sum(len(" ".join(map(str, v))) for b in batches for v in b["sweeps"].column("values").to_pylist())


def _agree(tables: list[Batch], limit: Curves, peer: Curves) -> bool:
    mine = [v for b in tables for v in b["sweeps"].column("values").to_pylist()]
    as_arrays = [np.array([np.nan if x is None else x for x in v]) for v in mine]
    return len(mine) == len(limit) == len(peer) and all(
        np.array_equal(a, b, equal_nan=True) and np.array_equal(a, c, equal_nan=True)
        for a, b, c in zip(as_arrays, limit, peer, strict=True)
    )


if __name__ == "__main__":
    for row in run():
        print(row)
