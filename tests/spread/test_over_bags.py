"""Work over the bags of an archive comes to the same tables whoever does it: this process, others, or a Dask cluster of
which two workers are killed while they have work. Links are simulated."""

from __future__ import annotations

import json
import os
import shutil
import signal
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
from distributed import Client, LocalCluster

from archive import spread, store
from archive.answers import regrade as regrading
from archive.answers.copies import copies
from archive.answers.intake import Choices, ingest
from archive.answers.rates.distributions import CurveChoice, distribution
from archive.answers.rates.readiness import readiness
from archive.answers.rederive import rederive
from archive.answers.regrade import regrade
from archive.answers.reindex import reindex
from archive.demo.simulator import simulate
from archive.errors import Trouble
from archive.spread import Cluster, Here, Processes, Workers, Workforce
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.counting.blocks import counting
from archive.store.deposits import DepositFacts
from archive.store.events import Correction, amend
from archive.store.fixity import fixity
from archive.tables import Batch
from tests.store import store_making as making

LIMIT = "tia-568.2-d/cat6/permanent-link"
BAGS = 8


@pytest.fixture(scope="module")
def bags(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of small deposits, in which two links have the same curves."""
    place = tmp_path_factory.mktemp("spread")
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("MUNIMENT_CACHE", str(place / "cache"))
        archive = store.create(place / "archive")
        number = 0
        for batch in simulate(4 * BAGS, 5, fail_rate=0.3):
            ids = batch["records"]["record_id"].to_pylist()
            for first in range(0, len(ids), 4):
                making.deposit(archive, batch.select(ids[first : first + 4]), job=f"JOB-{number}")
                number += 1
        making.deposit(archive, _again(batch.select(ids[:1])), job="JOB-0")
    assert number >= BAGS
    return archive.root


def _again(batch: Batch) -> Batch:
    """A record once more, as if another link had been tested on another day."""
    listed = {name: table.to_pylist() for name, table in batch.items()}
    for row in (row for table in listed.values() for row in table if row.get("record_id")):
        row["record_id"] = "re-" + "1" * 32
    for row in listed["records"]:
        day = "2019-02-07T09:17:00"
        row |= {"link_label": "A-COPY", "tested_local": day, "tested_found": day, "tested_at": None}
    return Batch.from_rows(listed)


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    """Five processes of one thread on this machine."""
    with LocalCluster(
        n_workers=5, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as started:
        yield started


Ask = Callable[[Archive, Workforce], Any]


def _regraded(archive: Archive, force: Workforce) -> Any:
    made = regrade(archive, Filters(), against=[LIMIT], by="T. Ester", reason=None, force=force)
    folder = archive.root / made.entry["path"] / "data"
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*.parquet")}


def _ready(archive: Archive, force: Workforce) -> Any:
    return readiness(archive, ["10gbase-t", "poe-type-3"], ["job"], force=force).plain()


def _copied(archive: Archive, force: Workforce) -> Any:
    return copies(archive, Filters(), force=force)


def _curves(archive: Archive, force: Workforce) -> Any:
    found = distribution(archive, CurveChoice("next"), by=["job"], against=LIMIT, force=force)
    return [(s.fields, s.records, [np.asarray(v).tolist() for v in (s.worst, s.low, s.median)]) for s in found.spreads]


def _sound(archive: Archive, force: Workforce) -> Any:
    found = fixity(archive, "deep", reread=rederive, force=force).plain()
    return {k: v for k, v in found.items() if k != "checked_against"}


def _indexed(archive: Archive, force: Workforce) -> Any:
    made = reindex(archive, workers=force.workers)
    files = counting(archive)
    return made, [pq.read_table(p).to_pylist() for p in (*files.records, *files.cells, *files.failures)]


ASKED: dict[str, Ask] = {
    "regrade": _regraded,
    "ready": _ready,
    "copies": _copied,
    "curves": _curves,
    "fixity": _sound,
    "reindex": _indexed,
}


@pytest.fixture(scope="module")
def here(bags: Path) -> dict[str, Any]:
    """What one process says."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("MUNIMENT_CACHE", "")
        return {name: ask(_apart(bags, f"here-{name}"), Workforce()) for name, ask in ASKED.items()}


def _apart(bags: Path, name: str) -> Archive:
    """A copy of the archive for one run, with a cache of its own: it has the id of the others, and other entries."""
    place = bags.parent / name / "archive"
    shutil.copytree(bags, place)
    os.environ["MUNIMENT_CACHE"] = str(bags.parent / f"{name}-cache")
    return store.open(place)


@pytest.mark.parametrize("name", ["regrade", "curves"])
def test_processes_say_what_one_says(bags: Path, here: dict[str, Any], name: str) -> None:
    said = ASKED[name](_apart(bags, f"processes-{name}"), Workforce(Processes(2)))
    assert said == here[name]


@pytest.mark.parametrize("name", list(ASKED))
def test_a_cluster_says_what_one_says(bags: Path, here: dict[str, Any], cluster: LocalCluster, name: str) -> None:
    said = ASKED[name](_apart(bags, f"cluster-{name}"), Workforce(Cluster(cluster.scheduler_address)))
    assert said == here[name]


def test_two_of_five_workers_are_killed(bags: Path, here: dict[str, Any], cluster: LocalCluster) -> None:
    killed: list[int] = []

    def kill(pieces: Any) -> Iterator[Any]:
        for number, piece in enumerate(pieces):
            if number in (1, 3):
                with Client(cluster.scheduler_address, set_as_default=False) as client:
                    pid = next(iter(client.run(os.getpid).values()))
                    os.kill(pid, signal.SIGKILL)
                    killed.append(pid)
            yield piece

    said = _regraded(_apart(bags, "killed"), Workforce(Cluster(cluster.scheduler_address), kill))
    assert len(set(killed)) == 2
    assert said == here["regrade"]


def test_a_regrading_that_was_interrupted_goes_on(bags: Path, here: dict[str, Any]) -> None:
    class Stopped(Exception):
        pass

    class Elsewhere(Here):
        elsewhere = True

    begun: list[Any] = []

    def stop(pieces: Any) -> Iterator[Any]:
        begun.append(pieces)
        for number, piece in enumerate(pieces):
            if number == 3:
                raise Stopped
            yield piece

    archive = _apart(bags, "interrupted")
    before = archive.head()
    with pytest.raises(Stopped):
        _regraded(archive, Workforce(Elsewhere(), stop))
    assert archive.head() == before, "nothing is committed"

    def watch(pieces: Any) -> Iterator[Any]:
        begun.append(pieces)
        yield from pieces

    assert _regraded(archive, Workforce(Elsewhere(), watch)) == here["regrade"]
    assert begun[1].before >= 3


def test_nobody_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spread, "PATIENCE", 1)
    with pytest.raises(Trouble, match="no scheduler answers here") as caught:
        list(Cluster("tcp://127.0.0.1:1").finished(len, [(0, "a")]))
    assert "what was done is kept" in caught.value.remedy


def test_a_file_of_limits_that_a_worker_has_not_is_refused(bags: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is another one where the work is given."""
    monkeypatch.setattr(regrading, "_read", lambda names: [(str(n), b"another") for n in names])
    with pytest.raises(Trouble, match="no such limit file, or another one"):
        _regraded(_apart(bags, "other-limit"), Workforce())


def test_a_damaged_bag_is_named_by_a_worker(bags: Path, cluster: LocalCluster) -> None:
    archive = _apart(bags, "damaged")
    sweeps = next(p for p in sorted(archive.root.rglob("*.parquet")) if "sweeps" in p.name)
    data = bytearray(sweeps.read_bytes())
    data[len(data) // 2] ^= 1
    sweeps.chmod(0o644)
    sweeps.write_bytes(bytes(data))
    time.sleep(0.01)
    with pytest.raises(Trouble, match="is not the one that the ledger commits"):
        _regraded(archive, Workforce(Cluster(cluster.scheduler_address)))
    found = _sound(store.open(archive.root), Workforce(Cluster(cluster.scheduler_address)))
    assert not found["sound"]
    assert any("sweeps" in d["path"] for d in found["damaged"])


def test_records_that_were_corrected_are_compared_as_corrected(bags: Path) -> None:
    """Other processes know no catalogue: what was corrected is looked at here."""
    archive = _apart(bags, "corrected")
    before = copies(archive, Filters())
    (pair,) = before.pairs
    amend(archive, [Correction(pair.a, "link_label", pair.label_b)], by="T. Ester", reason="typing error")
    after = copies(archive, Filters(), force=Workforce(Processes(2)))
    assert after == copies(archive, Filters())
    assert after.compared == before.compared
    assert after.pairs == (), "one link, by its corrected label"


EXPORTS = Path(__file__).parents[2] / "fixtures" / "exports"


def _deposited(place: Path, inputs: list[Path], workers: Workers) -> tuple[Any, Any]:
    """What a deposit by these workers comes to, without ids and times: what its receipt counts, how each file was
    read, and its tables but for the keys of people, which are salted."""
    os.environ["MUNIMENT_CACHE"] = str(place / "cache")
    archive = store.create(place / "archive")
    facts = DepositFacts(job="MIXED-1", site="Lantern Quay", by="T. Ester")
    made = ingest(archive, inputs, facts, Choices(workers=workers, accept_draft=True))
    assert made.entry is not None
    bag = archive.root / made.entry["path"] / "data"
    tables = {
        p.relative_to(bag): pq.read_table(p).drop_columns(["operator_key"] if p.stem == "records" else []).to_pylist()
        for p in sorted((bag / "tables").rglob("*.parquet"))
        if p.stem != "people"
    }
    assert list((archive.root / "aside").iterdir()) == [], "nothing is left of what waited"
    told = {k: v for k, v in json.loads((bag / "deposit.json").read_bytes()).items() if k != "originals"}
    return (made.counts, made.set_aside, made.findings, told), tables


def test_a_deposit_comes_to_the_same_whoever_reads_checks_and_grades(tmp_path: Path) -> None:
    """Exports of several layouts, some in a zip, one of no layout, one twice."""
    inputs = tmp_path / "inputs"
    inputs.mkdir()
    made_by_hand = ("mapping.toml", "truth.zip", "README.md")
    some = [p for p in sorted(EXPORTS.rglob("*")) if p.is_file() and p.name not in made_by_hand][:24]
    for path in some[:16]:
        shutil.copyfile(path, inputs / path.name)
    with zipfile.ZipFile(inputs / "late.zip", "w") as packed:
        for path in some[16:]:
            packed.write(path, path.name)
    shutil.copyfile(some[0], inputs / f"again-{some[0].name}")
    (inputs / "notes.bin").write_bytes(bytes(range(256)) * 8)
    here = _deposited(tmp_path / "here", [inputs], Here())
    elsewhere = _deposited(tmp_path / "elsewhere", [inputs], Processes(2))
    assert elsewhere[0] == here[0]
    assert elsewhere[1] == here[1]
    assert sum(here[0][0].values()) > 10
    assert here[0][1] > 0
