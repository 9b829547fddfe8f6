"""Archives on an S3 server of others (moto) behind a proxy that does wrong: nothing is lost, nothing is doubled.

What S3 promises of conditional writes (If-None-Match: a second one is answered with 412, one beside another may be
answered with 409 and stores nothing) is in the API reference of PutObject.
"""

from __future__ import annotations

import multiprocessing
import secrets
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fault_proxy import FaultProxy, Plan, at_random
from s3_server import BUCKET, environment, make_bucket, s3_server
from store_making import batch, deposit, rows

from archive import store
from archive.errors import Trouble
from archive.objects import bucket, place
from archive.objects.refusals import StoreTrouble
from archive.store import Archive, files
from archive.store.condemned import OldBytesRemain
from archive.store.events.redact import of_name, redact
from archive.store.fixity import fixity

WRITES = {"lose": 0.1, "drop": 0.03, "500": 0.03, "503": 0.02, "409": 0.04, "500 after": 0.03}
READS = {"drop": 0.04, "500": 0.05, "503": 0.03}


@pytest.fixture(scope="module")
def server() -> Iterator[int]:
    with s3_server() as port:
        yield port


@pytest.fixture
def proxy(server: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[FaultProxy]:
    with FaultProxy(server) as made:
        for name, value in environment(made.address).items():
            monkeypatch.setenv(name, value)
        monkeypatch.setattr(bucket, "_open", {})
        yield made


@pytest.fixture
def root(proxy: FaultProxy) -> Any:
    """The address of an archive that is not there yet."""
    return place(f"s3://{BUCKET}/{secrets.token_hex(6)}")


def again(root: Any) -> Archive:
    """The archive as another process sees it."""
    bucket._open.clear()
    return store.open(root)


def once(method: str, part: str, *faults: str | None) -> Plan:
    """The first requests of a method for keys with some text in them meet these faults."""
    left = list(faults)

    def plan(asked: str, path: str, _number: int) -> str | None:
        return left.pop(0) if left and asked == method and part in path else None

    return plan


def labels(archive: Archive) -> list[str]:
    archive.catch_up()
    return [str(r[0]) for r in archive.db.execute("SELECT link_label FROM records ORDER BY row")]


@pytest.mark.parametrize("fault", ["lose", "drop", "500", "503", "409", "500 after", "hang"])
def test_a_commit_that_meets_a_fault_is_done_once(fault: str, proxy: FaultProxy, root: Any) -> None:
    archive = store.create(root)
    proxy.plan = once("PUT", "/ledger/", fault, fault if fault != "hang" else None)
    assert deposit(archive, batch(rows("A"))).entry is not None
    assert [a.fault for a in proxy.seen if a.fault] != []
    proxy.plan = lambda *_: None
    last = again(root)
    assert labels(last) == ["A"]
    assert [e.number for e in last.entries()] == [0, 1]
    assert (fixity(last).damaged, fixity(last).uncommitted) == ([], [])


def test_who_finds_other_bytes_at_a_number_takes_the_next(proxy: FaultProxy, root: Any) -> None:
    """The first create meets a fault, and by the second another writer stands there: the refusal is no authorship."""
    archive, key = store.create(root), f"{root.key}/ledger/0000/00000001.json"
    asked: list[bool] = []
    for fault in ("drop", "409", "503"):
        proxy.plan = once("PUT", key, fault)
        asked.append(root.bucket.create(key, fault.encode()))
    assert asked == [True, False, False]
    proxy.plan = lambda *_: None
    root.bucket.delete(key)
    other = store.open(root)
    deposit(other, batch(rows("B", source="b" * 64, shift=1)))
    deposit(archive, batch(rows("A")))
    assert labels(again(root)) == ["B", "A"]


def test_a_commit_of_which_nothing_can_be_told_says_so_and_leaves_all(proxy: FaultProxy, root: Any) -> None:
    """The store goes away in the moment of the commit, which was done: nobody is told that it was not."""
    archive = store.create(root)
    gone = False

    def plan(method: str, path: str, _number: int) -> str | None:
        nonlocal gone
        if method == "PUT" and "/ledger/" in path and not gone:
            gone = True
            return "lose"
        return "503" if gone else None

    proxy.plan = plan
    with pytest.raises(StoreTrouble, match="whether this was committed cannot be told") as told:
        deposit(archive, batch(rows("A")))
    assert told.value.code == "store.commit-unknown"
    proxy.plan = lambda *_: None
    last = again(root)
    assert labels(last) == ["A"]
    assert fixity(last).damaged == []
    made = deposit(last, batch(rows("A")))
    assert made.entry is None, "who does it again is told that it is here"


def test_an_upload_in_parts_is_whole_whatever_answer_is_lost(proxy: FaultProxy, root: Any, tmp_path: Path) -> None:
    (tmp_path / "large").write_bytes(secrets.token_bytes(11 << 20))
    for number, plan in enumerate(
        (once("POST", "uploads", "500"), once("PUT", "", "lose"), once("POST", "uploadId", "lose"))
    ):
        proxy.plan = plan
        (root / f"large-{number}").bucket.put(f"{root.key}/large-{number}", tmp_path / "large")
        root.forget()
        assert files.fingerprint(root / f"large-{number}") == files.fingerprint(tmp_path / "large")
    assert [a.fault for a in proxy.seen if a.fault] == ["500", "lose", "lose"]


def test_under_faults_of_all_kinds_work_goes_on(proxy: FaultProxy, root: Any) -> None:
    archive = store.create(root)
    proxy.plan = at_random(7, {"PUT": WRITES, "GET": READS, "HEAD": READS, "DELETE": READS})
    for number in range(12):
        made = deposit(archive, batch(rows(f"L{number}", source=f"{number:064x}", shift=number)))
        assert made.entry is not None
    redact(archive, of_name(archive, "R. Ostrander"), by=None, reason="asked for")
    assert sum(a.fault is not None for a in proxy.seen) > 20
    proxy.plan = lambda *_: None
    last = again(root)
    assert labels(last) == [f"L{n}" for n in range(12)]
    assert [e.number for e in last.entries()] == list(range(14))
    assert (fixity(last, "deep").damaged, fixity(last).uncommitted) == ([], [])
    assert list((last.root / "aside").iterdir()) == []


def _writer(root: str, name: str, count: int, told: Any) -> None:
    archive = store.open(place(root))
    for number in range(count):
        made = deposit(archive, batch(rows(f"{name}{number}", source=secrets.token_hex(32), shift=number)))
        assert made.entry is not None
        told.put(made.entry["deposit"])
    told.put(None)


def test_two_writers_at_once_under_faults_lose_and_double_nothing(proxy: FaultProxy, root: Any) -> None:
    store.create(root)
    proxy.plan = at_random(11, {"PUT": WRITES, "GET": READS, "HEAD": READS, "DELETE": READS})
    context = multiprocessing.get_context("spawn")
    told: Any = context.Queue()
    works = [context.Process(target=_writer, args=(str(root), name, 5, told)) for name in "AB"]
    for work in works:
        work.start()
    acknowledged = [d for work in works for d in iter(lambda: told.get(timeout=120), None)]
    for work in works:
        work.join()
    assert [work.exitcode for work in works] == [0, 0]
    proxy.plan = lambda *_: None
    last = again(root)
    assert sorted(labels(last)) == sorted(f"{name}{n}" for name in "AB" for n in range(5))
    there = [e["deposit"] for e in last.entries() if e.kind == "deposit"]
    assert sorted(there) == sorted(acknowledged)
    assert [e.number for e in last.entries()] == list(range(11))
    assert (fixity(last).damaged, fixity(last).uncommitted) == ([], [])


def test_writers_that_are_killed_lose_nothing_that_was_acknowledged(proxy: FaultProxy, root: Any) -> None:
    """SIGKILL at moments that differ from one to the next; the long form is in tests/endurance."""
    store.create(root)
    program = (
        "import sys, secrets; sys.path.insert(0, sys.argv[2])\n"
        "from store_making import batch, deposit, rows\n"
        "from archive import store\n"
        "from archive.objects import place\n"
        "archive = store.open(place(sys.argv[1]))\n"
        "while True:\n"
        "    made = deposit(archive, batch(rows(secrets.token_hex(4), source=secrets.token_hex(32))), by=None)\n"
        "    print(made.entry['deposit'], flush=True)\n"
    )
    acknowledged: list[str] = []
    for kill in range(3):
        with subprocess.Popen(
            [sys.executable, "-c", program, str(root), str(Path(__file__).parent)], stdout=subprocess.PIPE, text=True
        ) as writer:
            assert writer.stdout is not None
            acknowledged.append(writer.stdout.readline().strip())
            time.sleep(0.03 * (kill + 1))
            writer.send_signal(signal.SIGKILL)
            acknowledged += [line.strip() for line in writer.stdout if line.endswith("\n")]
    last = again(root)
    last.catch_up()
    entries = [e["deposit"] for e in last.entries() if e.kind == "deposit"]
    assert set(acknowledged) <= set(entries)
    assert len(entries) == len(set(entries)) == len(labels(last))
    assert fixity(last, "deep").damaged == []


def test_a_store_that_ignores_the_condition_is_refused(proxy: FaultProxy, root: Any) -> None:
    proxy.plan = lambda method, _path, _number: "strip" if method == "PUT" else None
    with pytest.raises(StoreTrouble, match="ignores the condition of a write") as told:
        store.create(root)
    assert "\n" not in str(told.value)
    assert [a for a in proxy.seen if a.method == "PUT" and "condition-" not in a.path] == [], "nothing else was written"
    proxy.plan = lambda *_: None
    made = store.create(root)
    bucket._open.clear()
    proxy.plan = lambda method, _path, _number: "strip" if method == "PUT" else None
    with pytest.raises(StoreTrouble, match="ignores the condition of a write"):
        deposit(made, batch(rows("A")))


def test_what_the_store_says_is_told_in_one_line_without_a_secret(proxy: FaultProxy, root: Any) -> None:
    store.create(root)
    bucket._open.clear()
    for fault, said in (("503", "HTTP status 503"), ("drop", "no connection"), ("hang", "no answer in time")):
        proxy.plan = lambda *_, fault=fault: fault  # type: ignore[misc]
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("MUNIMENT_STORE_TIMEOUT", "0.3" if fault == "hang" else "10")
            bucket._open.clear()
            with pytest.raises(StoreTrouble) as told:
                store.open(root)
        assert said in str(told.value)
        assert "\n" not in str(told.value)
        assert "8125" not in str(told.value)
    with pytest.raises(StoreTrouble, match="no such bucket"):
        proxy.plan = lambda *_: None
        bucket._open.clear()
        store.open(place("s3://not-there/archive"))


def test_a_bucket_that_keeps_versions_still_holds_what_was_redacted(proxy: FaultProxy, server: int) -> None:
    """And that is said: a version is the old bytes themselves (S3 user guide, versioning)."""
    make_bucket(server, "versioned", versions=True)
    archive = store.create(place("s3://versioned/archive"))
    deposit(archive, batch(rows("A")))
    with pytest.warns(OldBytesRemain, match="keeps versions"):
        redact(archive, of_name(archive, "R. Ostrander"), by=None, reason="asked for")


def test_a_commit_takes_four_requests_at_most(proxy: FaultProxy, root: Any) -> None:
    """From the look at the ledger to the entry that stands and is known, where nobody else writes."""
    archive = store.create(root)
    deposit(archive, batch(rows("A")))
    bucket._open.clear()
    writer = store.open(root)
    fields = {"kind": "event", "event": "note", "id": "2026-01-01-0000000000", "by": None, "files": {}}
    writer.catch_up()
    time.sleep(1.1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writer, "_looked", time.monotonic() + 60)  # what a question looks at is no part of a commit
        before = len(proxy.seen)
        writer.commit(lambda: fields, _folder())
    asked = [(a.method, a.path.partition("?")[0]) for a in proxy.seen[before:]]
    assert len(asked) <= 4, asked
    assert [m for m, _ in asked].count("PUT") == 1


def _folder() -> Path:
    import tempfile

    return Path(tempfile.mkdtemp())


def test_credentials_come_from_a_profile_too(server: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY", "AWS_REGION", "AWS_ENDPOINT_URL"):
        monkeypatch.delenv(name, raising=False)
    (tmp_path / "credentials").write_text("[works]\naws_access_key_id = a\naws_secret_access_key = b\n")
    (tmp_path / "config").write_text(f"[profile works]\nregion = eu-west-1\nendpoint_url = http://127.0.0.1:{server}\n")
    monkeypatch.setenv("AWS_SHARED_CREDENTIALS_FILE", str(tmp_path / "credentials"))
    monkeypatch.setenv("AWS_CONFIG_FILE", str(tmp_path / "config"))
    monkeypatch.setenv("AWS_PROFILE", "works")
    monkeypatch.setattr(bucket, "_open", {})
    root: Any = place(f"s3://{BUCKET}/by-profile")
    assert store.create(root).head().size == 1
    (tmp_path / "config").write_text("no section\n")
    bucket._open.clear()
    with pytest.raises(Trouble, match="credentials cannot be read"):
        store.open(root)
