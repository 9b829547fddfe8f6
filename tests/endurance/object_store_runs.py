"""Long runs of an archive on an S3 server on loopback (moto) behind a proxy that loses, drops and refuses: programs
killed at random instants, many writers at once.

The promises are those of an archive on a disk (store_runs). What a killed program had sent is taken away by the next
writer after an hour, which is over at once here.
"""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from archive import store
from archive.objects import bucket, place
from archive.store import marks
from archive.store.fixity import fixity
from tests.endurance.store_runs import Acknowledged, Program, sound
from tests.endurance.store_work import WORK
from tests.store.fault_proxy import FaultProxy, at_random
from tests.store.s3_server import BUCKET, environment, s3_server

KINDS = (
    "deposit",
    "amendment",
    "withdrawal",
    "redaction",
    "disposal",
    "assessment",
    "export",
    "rereading",
    "acceptance",
    "settlement",
    "case",
)
"""Kinds of work; those that lose a file of a disk on purpose, or remember on one, are of store_runs alone."""
_WRITES = {"lose": 0.04, "drop": 0.02, "500": 0.02, "503": 0.01, "409": 0.02, "500 after": 0.02}
_READS = {"drop": 0.02, "500": 0.02, "503": 0.01}


@contextmanager
def faulty_store() -> Iterator[FaultProxy]:
    """A server behind a proxy, and the environment that leads programs to it."""
    with s3_server() as port, FaultProxy(port) as proxy:
        proxy.plan = at_random(5, {"PUT": _WRITES, "GET": _READS, "HEAD": _READS, "POST": _READS})
        os.environ.update(environment(proxy.address) | {"MUNIMENT_STORE_TIMEOUT": "20"})
        yield proxy


def kills(kind: str, count: int, seed: int, proxy: FaultProxy) -> dict[str, Any]:
    """SIGKILL at random instants of one kind of work; a new program each time."""
    draw, root = random.Random(f"{kind}{seed}"), place(f"s3://{BUCKET}/kills-{kind}/archive")
    archive = store.create(root)
    told = Acknowledged()
    for n in range(2):
        told.take(WORK["deposit"](archive, random.Random(f"base {n} {seed}")) + "\n")
    for n in range(count):
        program = Program(kind, root, f"{kind} {n} {seed}", warm=n % 2 == 1)
        while (line := program.stdout.readline()) != "ready\n":
            assert line, program.communicate()
            told.take(line)
        time.sleep(draw.random())
        program.send_signal(signal.SIGKILL)
        out, err = program.communicate()
        assert err == "", err
        told.take(out)
        bucket._open.clear()
        assert told.missing(store.open(root)) == []
    time.sleep(2)  # what was on its way
    bucket._open.clear()
    left, marks.ON_ITS_WAY = marks.ON_ITS_WAY, -1e9
    last = store.open(root)
    standing = len(fixity(last, "count").uncommitted)
    told.take(WORK["deposit"](last, random.Random(f"last {seed}")) + "\n")
    marks.ON_ITS_WAY = left
    bucket._open.clear()
    sound(store.open(root), "deep")
    assert fixity(store.open(root)).uncommitted == []
    assert list((root / "aside").iterdir()) == []
    faults = sum(a.fault is not None for a in proxy.seen)
    return {
        "run": f"SIGKILL, {kind}, on a store",
        "kills": count,
        "stopped with a bag sent": standing,
        "faults": faults,
    }


def writers(count: int, seconds: float, proxy: FaultProxy) -> dict[str, Any]:
    """Many writers at once under faults, each of whom is told what became of its work."""
    root = place(f"s3://{BUCKET}/writers/archive")
    WORK["deposit"](store.create(root), random.Random("first"))
    kinds = ["deposit", "amendment", "deposit", "withdrawal"]
    running = [Program(kinds[n % len(kinds)], root, f"writer {n}") for n in range(count)]
    for program in running:
        assert program.stdout.readline() == "ready\n", program.communicate()
    time.sleep(seconds)
    told = Acknowledged()
    for program in running:
        program.send_signal(signal.SIGTERM)
        out, err = program.communicate()
        assert "Traceback" not in err or "KeyboardInterrupt" in err, err
        told.take(out)
    bucket._open.clear()
    last = store.open(root)
    assert told.missing(last) == []
    sound(last, "deep")
    entries, acknowledged = len(list(last.entries())), len(told.deposits) + len(told.entries)
    share = {k: sum(a.fault == k for a in proxy.seen) for k in sorted({a.fault for a in proxy.seen if a.fault})}
    run = f"{count} writers for {seconds:g} s on a store"
    return {"run": run, "entries": entries, "acknowledged": acknowledged, "faults": share}
