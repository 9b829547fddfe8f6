"""An archive on an S3 server on loopback (moto) against the same archive on a disk: questions, a claim, a commit.

Set: a question within twice its time on the disk, both whole commands that take turns; the bytes that a claim fetches
under three times those of the link; a commit in at most four requests. What a claim fetches is counted by a proxy. The
link's own bytes are those of its curves alone, as a share of their file; beside them stand those of the row groups that
it is in, which are what Parquet can be asked for. Needs the extras `store` and `dev`.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from archive import store
from archive.answers.claim.gather import gather
from archive.answers.intake import statements
from archive.demo.simulator import simulate
from archive.objects import bucket, place
from archive.store.copies import export
from archive.store.deposits import Deposit, DepositFacts
from tests.benchmarks._archive import JOB, one_job
from tests.store.fault_proxy import FaultProxy
from tests.store.s3_server import BUCKET, environment, s3_server

OURS = [sys.executable, "-c", "from archive.cli import main; main()"]
QUESTIONS = {
    "find --link": ("find", "{}", "--link", "{label}"),
    "history": ("history", "{}", "{label}", "--job", JOB),
    "rates --by cable_type": ("rates", "{}", "--by", "cable_type"),
    "sql count": ("sql", "{}", "SELECT count(*) FROM records"),
}


def run(sizes: Sequence[int], quick: bool) -> list[dict[str, Any]]:
    """Rows: a question each, a claim, a commit."""
    bags, links, rounds = (2, 8, 1) if quick else (20, 50, 5)
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name, _user(Path(name)), s3_server() as port:
        near = built(Path(name) / "archive", bags, links)
        with FaultProxy(port) as proxy:
            os.environ.update(environment(proxy.address) | {"MUNIMENT_STORE_TIMEOUT": "60"})
            far: Any = place(f"s3://{BUCKET}/archive")
            export(near, far)
            counted = [claim(far, proxy, links), commit(proxy)]
            os.environ["AWS_ENDPOINT_URL"] = f"http://127.0.0.1:{port}"
            questions = dict(list(QUESTIONS.items())[: 2 if quick else None])
            return [*asked(near.root, far, questions, rounds, bags * links), *counted]


@contextmanager
def _user(folder: Path) -> Iterator[None]:
    """A cache and settings of its own."""
    before = dict(os.environ)
    os.environ |= {"MUNIMENT_CACHE": str(folder / "cache"), "MUNIMENT_CONFIG": str(folder / "config")}
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)
        bucket._open.clear()


def built(folder: Path, bags: int, links: int) -> store.Archive:
    """An archive of some deposits of fully swept links."""
    made = store.create(folder)
    for number in range(bags):
        making = Deposit(made, DepositFacts(job=JOB, by="nobody"))
        for batch in statements(map(one_job, simulate(links, number)), DepositFacts(job=JOB)):
            making.add(batch)
        making.commit()
    return made


def asked(
    near: Path, far: Path, questions: dict[str, tuple[str, ...]], rounds: int, records: int
) -> list[dict[str, Any]]:
    """Each question as a person types it, on the disk and on the store by turns, after both were asked once."""
    near_archive = store.open(near)
    near_archive.catch_up()
    label = near_archive.db.execute("SELECT link_label FROM records ORDER BY row").fetchone()[0]
    rows = []
    for what, words in questions.items():
        taken: dict[Path, list[float]] = {near: [], far: []}
        said: dict[Path, str] = {}
        for turn in range(rounds + 1):
            for root in (near, far):
                command = [*OURS, *(w.format(root, label=label) if "{" in w else w for w in words)]
                start = time.perf_counter()
                done = subprocess.run(command, capture_output=True, text=True, check=False)
                assert done.returncode in (0, 1), done.stderr
                said[root] = done.stdout
                if turn:
                    taken[root].append(time.perf_counter() - start)
        assert said[near] == said[far], "both answer alike"
        ratio = statistics.median(taken[far]) / statistics.median(taken[near])
        rows.append({"what": f"{what}, {records} records", "store / disk": round(ratio, 2), "set": 2})
    return rows


def claim(far: Any, proxy: FaultProxy, links: int) -> dict[str, Any]:
    """Bytes of answers while the facts of one link are gathered, by a process that knows the catalogue alone."""
    store.open(far).catch_up()
    bucket._open.clear()
    opened = store.open(far)
    opened.catch_up()
    label = opened.db.execute("SELECT link_label FROM records ORDER BY row").fetchone()[0]
    before = len(proxy.seen)
    tests = len(gather(opened, label, job=JOB)[0].tests)
    bytes_of = {"curves": 0, "other files": 0, "lists": 0}
    for one in proxy.seen[before:]:
        kind = "lists" if "list-type" in one.path else "curves" if "/sweeps-" in one.path else "other files"
        bytes_of[kind] += one.size
    file = next(p for p in far.rglob("sweeps-*.parquet") if "/deposits/" in str(p))
    own, group = (tests * file.stat().st_size * share for share in (1 / links, min(1.0, 16 / links)))
    return {
        "what": f"a claim on a link with {tests} tests, each in a deposit of {links}: bytes of curves",
        "fetched / own": round(bytes_of["curves"] / own, 1),
        "fetched / its row groups": round(bytes_of["curves"] / group, 2),
        **bytes_of,
        "set": 3,
    }


def commit(proxy: FaultProxy) -> dict[str, Any]:
    """Requests from the look at the ledger to the entry that stands."""
    made = store.create(place(f"s3://{BUCKET}/commits"))
    made.catch_up()
    before = len(proxy.seen)
    with tempfile.TemporaryDirectory() as aside:
        made.ledger.look_again()
        made.commit(lambda: {"kind": "event", "event": "note", "id": "x", "by": None, "files": {}}, Path(aside))
    return {"what": "requests of a commit without contention", "requests": len(proxy.seen) - before, "set": 4}
