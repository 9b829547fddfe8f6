"""A clerk's Monday: a folder of unknown layouts surveyed, and a job of a known layout deposited by one short command.

98 files in three layouts that nobody has described are surveyed; the limit is what one draft of each layout takes in
one process, read and drafted once. 1,000 fully swept links in ten files of 270 MB are deposited whole; the limit is
reading the same files by pyarrow.csv. Whole commands in processes of their own; processor seconds, and ratios of them.
Links come from the seeded simulator; the layouts are invented.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any
from unittest import mock

import pyarrow.csv as pcsv

from archive import store
from archive.demo.simulator import simulate
from archive.formats.draft.command import draft_of
from tests.benchmarks._exports import relabelled, workbook, write

_FILES = {"points": 83, "curves": 14}
_LINKS, _PARTS = 1000, 10
SHORTEST = 60
"""Letters of the command that deposits what is known already."""


def run(sizes: tuple[int, ...] = (), quick: bool = False) -> list[dict[str, Any]]:
    """A row for the survey and one for the deposit. quick: a few files and links."""
    del sizes
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
        return [survey(Path(name) / "unknown", quick), deposit(Path(name) / "known", quick)]


def survey(folder: Path, quick: bool) -> dict[str, Any]:
    """The folder of three unknown layouts."""
    kinds = dict.fromkeys(_FILES, 2) if quick else _FILES
    samples = []
    for layout, files in kinds.items():
        made = folder / "made" / layout
        made.mkdir(parents=True)
        path, _ = write(relabelled(simulate(1 if layout == "points" else 3, seed=3), "#####"), made, layout)
        text = path.read_bytes()
        (folder / "exports" / layout).mkdir(parents=True)
        for number in range(files):
            one = folder / "exports" / layout / f"{layout}-{number + 1:03d}.csv"
            one.write_bytes(text.replace(b"#####", b"%05d" % number))
        samples.append(one)
    book, _ = workbook(simulate(2 if quick else 10, seed=4), folder / "made")
    samples.append(book.rename(folder / "exports" / book.name))
    took = _command("survey", folder / "exports", "--json")
    began = time.process_time()
    for sample in samples:
        draft_of(sample)
    drafts = time.process_time() - began
    found = took.pop("document")["files"]
    links = {path.stem: n for path, n in zip(samples, (1, 3, 2 if quick else 10), strict=True)}
    of_layout = {stem.rstrip("-0123456789"): n for stem, n in links.items()}
    return {
        "what": f"survey {len(found)} files in {len(samples)} unknown layouts",
        **took,
        "one_draft_each_s": round(drafts, 1),
        "times_of_the_drafts": round(took["cpu_s"] / drafts, 1),
        "layouts": len({f["layout"] for f in found}),
        "agree": all(f["records"] == of_layout[Path(f["path"]).stem.rstrip("-0123456789")] for f in found),
    }


def deposit(folder: Path, quick: bool) -> dict[str, Any]:
    """A job whose layout the archive knows."""
    links = 20 if quick else _LINKS
    exports = folder / "exports"
    exports.mkdir(parents=True)
    for part in range(_PARTS):
        made = folder / f"made-{part}"
        made.mkdir()
        path, mapping = write(relabelled(simulate(links // _PARTS, seed=10 + part), f"{part:03d}-"), made, "curves")
        path.rename(exports / f"{part}.csv")
    size = sum(p.stat().st_size for p in exports.iterdir())
    environment = {"MUNIMENT_CONFIG": str(folder / "config"), "MUNIMENT_CACHE": str(folder / "cache")}
    archive = folder / "archive"
    for words in (
        ("init", archive),
        ("me", "R. Ostrander", "--archive", archive),
        ("mapping", "confirm", archive, mapping),
    ):
        _command(*words, **environment)
    typed = ("deposit", "exports", "--job", "HARBOUR-2019-04")
    took = _command(*typed, "--json", cwd=folder, **environment)
    made_of = took.pop("document")
    began = time.process_time()
    for path in sorted(exports.iterdir()):
        pcsv.read_csv(path)
    bare = time.process_time() - began
    with mock.patch.dict(os.environ, environment):
        agree = _agree(archive, exports / "0.csv")
    return {
        "what": f"deposit {made_of['new']} links of {size / 1e6:.0f} MB in {_PARTS} files",
        **took,
        "pyarrow_csv_s": round(bare, 1),
        "times_of_pyarrow_csv": round(took["cpu_s"] / bare, 1),
        "letters_typed": len(" ".join(("muniment", *typed))),
        "agree": made_of["new"] == links and agree,
    }


def _agree(archive: Path, export: Path) -> bool:
    """The curves of the links of one file are in the archive those that pyarrow.csv reads."""
    wanted: dict[str, list[tuple[float, ...]]] = {}
    table = pcsv.read_csv(export)
    points = [n for n in table.column_names if n.endswith("MHz")]
    for row in table.select(["Link", *points]).to_pylist():
        wanted.setdefault(row.pop("Link"), []).append(tuple(row.values()))
    opened = store.open(archive)
    opened.catch_up()
    found = opened.db.execute("SELECT link_label, deposit || '/' || position FROM records").fetchall()
    kept = {
        label: opened.record(address)["sweeps"]["values"].to_pylist() for label, address in found if label in wanted
    }
    return {k: sorted(v) for k, v in wanted.items()} == {k: sorted(map(tuple, v)) for k, v in kept.items()}


def _command(*words: object, cwd: Path | None = None, **environment: str) -> dict[str, Any]:
    """A command in a process of its own: seconds, processor seconds, and its document."""
    root = Path(__file__).parents[2]
    path = os.pathsep.join((str(root), str(root / "archive" / "public")))
    # an installed program is compiled already
    given = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    began = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks._timed", *map(str, words)],
        cwd=cwd or root,
        env={**given, "PYTHONPATH": path, **environment},
        capture_output=True,
        check=False,
    )
    seconds = time.perf_counter() - began
    told = json.loads(done.stderr.decode().splitlines()[-1])
    if done.returncode not in (0, 1):
        raise RuntimeError(done.stderr.decode())
    document = json.loads(done.stdout) if "--json" in words else None
    took = {"s": round(seconds, 1), "cpu_s": round(told["cpu"], 1), "peak_mib": round(told["peak"] / 2**20)}
    return {**took, "document": document}
