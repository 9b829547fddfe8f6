"""A damaged bag costs the answers about its own job; every other answer is given, and names it."""

from __future__ import annotations

import json
import shutil
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.answers.claim.gather import gather
from archive.answers.copies import copies
from archive.answers.history import history
from archive.answers.jobs import facts
from archive.answers.link import open_link
from archive.answers.progress import progress
from archive.answers.rates.rates import rates
from archive.answers.rates.readiness import readiness
from archive.answers.views import Query
from archive.cli import main
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.store.events import Correction, amend, hold
from archive.store.events.redact import of_file, redact
from archive.store.events.withdraw import withdraw
from archive.store.fixity import fixity
from archive.store.unread import UnreadEntry

HURT, OTHER = "HARBOUR-2019-04", "MOLE-2020-01"
FILES = (
    "tagmanifest-sha256.txt",
    "manifest-sha256.txt",
    "data/deposit.json",
    "data/index.parquet",
    "data/tables/jobs.parquet",
)
"""Files of a bag that the catalogue is built from."""


@pytest.fixture
def two_jobs(archive: Archive) -> Archive:
    """The bag of a job between two of another; one record of the second was tested again in the third."""
    named = {"jobs": [{"job_id": HURT, "name": "Harbour offices", "warranty_end": "2044-04-30"}]}
    deposit(archive, batch(rows("B-1", source="b" * 64, shift=3)), job=OTHER, site="Mole End")
    deposit(archive, batch(rows("A-1"), rows("A-2", place="row 3", shift=1), named), job=HURT, site="Lantern Quay")
    again = rows("B-1", source="c" * 64, shift=5, time="2020-03-04T10:15")
    deposit(archive, batch(again), job=OTHER, site="Mole End")
    return archive


def bag_of(archive: Archive, job: str) -> Path:
    return archive.root / next(str(e["path"]) for e in archive.entries() if e.get("job") == job)


def damage(path: Path) -> bytes:
    """Gives the bytes that were there."""
    before = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(before[:-9] + bytes([before[-9] ^ 1]) + before[-8:])
    return before


def fresh(archive: Archive, own_cache: Path) -> Archive:
    shutil.rmtree(own_cache / "cache", ignore_errors=True)
    return store.open(archive.root)


def about(archive: Archive, job: str, link: str) -> dict[str, Callable[[], Any]]:
    """Every answer about one job or link."""
    return {
        "history": lambda: history(archive, open_link(archive, link)),
        "claim": lambda: gather(archive, link)[0].why,
        "progress": lambda: progress(archive, job).plain(),
        "facts": lambda: facts(archive, job),
    }


def everything(archive: Archive) -> list[Any]:
    """Answers that rest on the whole archive."""
    archive.catch_up()
    with Query(archive, "SELECT deposit, position, record_id FROM records ORDER BY ALL") as query:
        listed = list(query.rows())
    return [[dict(r) for r in find(archive.db, Filters())], rates(archive, ["job"]).rows, listed]


@pytest.mark.parametrize("warm", [True, False], ids=["warm", "fresh"])
@pytest.mark.parametrize("name", FILES)
def test_only_answers_about_its_job_are_refused(two_jobs: Archive, name: str, warm: bool, own_cache: Path) -> None:
    before = {what: ask() for what, ask in about(two_jobs, OTHER, "B-1").items()}
    rows_before = [dict(r) for r in find(two_jobs.db, Filters(job=OTHER))]
    damage(bag_of(two_jobs, HURT) / name)
    archive = store.open(two_jobs.root) if warm else fresh(two_jobs, own_cache)
    unaffected = warm and name.endswith("manifest-sha256.txt")  # nothing that the catalogue holds was read of it since
    if unaffected:
        archive.catch_up()
    else:
        with pytest.warns(UnreadEntry, match=rf"deposit .*, 2 records of job {HURT}\) cannot be read, .*{name}"):
            archive.catch_up()
        for ask in about(archive, HURT, "A-1").values():
            with pytest.raises(Trouble, match=name) as raised:
                ask()
            assert raised.value.code == "archive.file-damaged"
    assert {what: ask() for what, ask in about(archive, OTHER, "B-1").items()} == before
    assert [dict(r) for r in find(archive.db, Filters(job=OTHER))] == rows_before
    assert not fixity(store.open(archive.root)).sound


@pytest.mark.parametrize("name", FILES)
def test_what_was_repaired_counts_again(two_jobs: Archive, name: str, own_cache: Path) -> None:
    """Counts among it: the files that they are read from are written anew."""
    before = everything(two_jobs)
    path = bag_of(two_jobs, HURT) / name
    sound = damage(path)
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry):
        without = everything(archive)
    assert [len(answer) for answer in without] == [2, 1, 2]
    path.write_bytes(sound)
    with warnings.catch_warnings():
        warnings.simplefilter("error", UnreadEntry)
        again = store.open(two_jobs.root)
        assert everything(again) == before
        assert again.unread() == []


@pytest.mark.parametrize("lost", ["grades", "instruments"])
def test_counts_go_on_without_what_one_bag_holds(
    archive: Archive, lost: str, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """These tables are read for counting alone: what the catalogue knows of the records is counted all the same."""
    grade = {"limit_id": "tia-568.2-d/cat6/permanent-link", "parameter": "next", "kind": "overall", "verdict": "pass"}
    for label, job in (("A-1", HURT), ("B-1", OTHER)):
        made = rows(label, source=label[0].lower() * 64, shift=ord(label[0]) / 10)
        made["grades"] = [{"record_id": made["records"][0]["record_id"], "margin": 3.0, "provisional": False, **grade}]
        deposit(archive, batch(made), job=job)
    before = rates(archive, ["job"]).rows
    tests = [(r["job"], r["tests"]) for r in before]
    assert len(tests) == 2
    path = bag_of(archive, HURT) / f"data/tables/{lost}.parquet"
    sound = damage(path)
    archive = fresh(archive, own_cache)
    for _ in range(2):  # the second time the files that counts are read from are there
        with pytest.warns(UnreadEntry, match=rf"{lost}.parquet is missing or damaged: what its records came to"):
            assert [(r["job"], r["tests"]) for r in rates(archive, ["job"]).rows] == tests
        archive = store.open(archive.root)
    path.write_bytes(sound)
    with warnings.catch_warnings():
        warnings.simplefilter("error", UnreadEntry)
        assert rates(store.open(archive.root), ["job"]).rows == before


def test_nothing_is_said_to_be_absent(two_jobs: Archive, own_cache: Path) -> None:
    """Whether a label or record is in a bag that cannot be read, nobody knows."""
    damage(bag_of(two_jobs, HURT) / "data/index.parquet")
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry):
        archive.catch_up()
    for ask in (
        lambda: open_link(archive, "A-1"),
        lambda: facts(archive, "A job that nobody knows"),
        lambda: archive.address("re-unknown"),
    ):
        with pytest.raises(Trouble, match="the answer would rest on it"):
            ask()


def test_no_deposit_is_decided_against_less_than_all_records(two_jobs: Archive, own_cache: Path) -> None:
    """Else the same file would be new again. Withdrawn as a whole, by a person's decision, it stands in no way."""
    bag = bag_of(two_jobs, HURT)
    damage(bag / "data/index.parquet")
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry):
        archive.catch_up()
    count = len(list(archive.entries()))
    with pytest.raises(Trouble, match=rf"withdraw .* --deposit {bag.name}"):
        deposit(archive, batch(rows("A-1")), job=OTHER)
    with pytest.raises(Trouble, match="rest on it"):
        amend(archive, [Correction(f"{bag.name}/0", "site", "West")], by=None, reason="x")
    hold(archive, OTHER, release=False, by="R. Ostrander", reason="claim")
    assert len(list(archive.entries())) == count + 1
    assert list((archive.root / "aside").iterdir()) == []
    withdraw(archive, deposits=[bag.name], by="R. Ostrander", reason="no copy holds it")
    made = deposit(archive, batch(rows("A-1")), job=OTHER)
    assert made.counts["new"] == 1


def test_a_hold_covers_a_bag_that_cannot_be_read(two_jobs: Archive, own_cache: Path) -> None:
    bag = bag_of(two_jobs, HURT).relative_to(two_jobs.root).as_posix()
    hold(two_jobs, HURT, release=False, by="R. Ostrander", reason="claim")
    damage(two_jobs.root / bag / "data/index.parquet")
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry):
        plan = of_file(archive, f"{bag}/data/deposit.json")
    with pytest.raises(Trouble, match="legal hold"):
        redact(archive, plan, by=None, reason="x")


def test_a_file_that_no_proof_rests_on_is_given_up_by_name(two_jobs: Archive, own_cache: Path) -> None:
    path = bag_of(two_jobs, HURT) / "data/tables/jobs.parquet"
    damage(path)
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry):
        plan = of_file(archive, path.relative_to(archive.root).as_posix())
    redact(archive, plan, by="R. Ostrander", reason="no copy has it")
    again = fresh(two_jobs, own_cache)
    with warnings.catch_warnings():
        warnings.simplefilter("error", UnreadEntry)
        assert facts(again, HURT)["warranty_end"] is None
    assert fixity(store.open(archive.root)).sound


def test_corrections_tell_the_jobs_that_its_records_went_to(two_jobs: Archive, own_cache: Path) -> None:
    bag = bag_of(two_jobs, HURT)
    amend(two_jobs, [Correction(f"{bag.name}/0", "job_id", "QUAY-2019-05")], by=None, reason="wrong job")
    damage(bag / "data/index.parquet")
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry, match=f"of job {HURT}, QUAY-2019-05"), pytest.raises(Trouble, match=r"index\.parq"):
        facts(archive, "QUAY-2019-05")


@pytest.mark.parametrize("lost", ["sweeps-00000000", "people"])
def test_comparisons_and_readiness_go_on_without_a_bag(archive: Archive, lost: str, own_cache: Path) -> None:
    """What only reads the bags of all jobs goes on without one, says so, and counts its links as not told."""
    deposit(archive, batch(rows("B-1", source="b" * 64), rows("B-2", source="c" * 64, shift=1)), job=OTHER)
    deposit(archive, batch(rows("A-1", shift=2), {"people": [{"person_key": "pe-9", "name": "B. Fen"}]}), job=HURT)
    whole = readiness(archive, ["10gbase-t"], ["job"])
    damage(bag_of(archive, HURT) / f"data/tables/{lost}.parquet")
    archive = fresh(archive, own_cache)
    with pytest.warns(UnreadEntry, match=rf"{lost}.parquet is missing or damaged: not all of its curves are compared"):
        assert copies(archive, Filters()).pairs == ()
    with pytest.warns(UnreadEntry, match=f"{lost}.parquet is missing or damaged: of its records it cannot be told"):
        found = readiness(archive, ["10gbase-t"], ["job"])
    was, now = ({r["job"]: r for r in each.rows} for each in (whole, found))
    assert now[OTHER] == was[OTHER]
    assert (now[HURT]["carry"], now[HURT]["do_not"]) == (0, 0)
    assert now[HURT]["reasons"] == {"its deposit cannot be read": 1}
    assert [advice for advice in found.to_measure["10gbase-t"] if "muniment fixity" in advice]


def test_a_check_goes_on_without_a_bag_but_saves_no_report(
    two_jobs: Archive,
    own_cache: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["muniment", "check", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return int(ended.value.code or 0), said.out, " ".join(said.err.split())

    root, report = two_jobs.root, tmp_path / "report.html"
    damage(bag_of(two_jobs, HURT) / "data/tables/sweeps-00000000.parquet")
    code, out, err = run(root, "--json")
    assert code == 1
    assert json.loads(out)["records"] == 2
    assert "not all of its records are checked" in err
    for words in ((root, "--report", report), (root, "--job", HURT)):
        code, out, err = run(*words)
        assert (code, out) == (2, ""), words
        assert "sweeps-00000000.parquet: the file is not the one that the ledger commits" in err
    assert not report.exists()


@pytest.mark.parametrize("warm", [True, False], ids=["warm", "fresh"])
def test_commands_name_it_and_end_with_one(
    two_jobs: Archive, warm: bool, own_cache: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["muniment", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return int(ended.value.code or 0), said.out, " ".join(said.err.split())  # lines are folded

    root = two_jobs.root
    assert run("find", root, "--json")[0] == 0
    damage(bag_of(two_jobs, HURT) / "data/index.parquet")
    if not warm:
        shutil.rmtree(own_cache / "cache", ignore_errors=True)
    for words in (("find", root), ("rates", root), ("history", root, "B-1"), ("job", root, OTHER)):
        code, out, err = run(*words, "--json")
        assert code == 1, (words, out, err)
        assert json.loads(out)
        assert err.count(f"2 records of job {HURT}) cannot be read") == 1
    code, out, err = run("history", root, "A-1", "--json")
    assert (code, out) == (2, "")
    assert "index.parquet" in err
    code, _, err = run("progress", root, "--job", "A job that nobody knows")
    assert code == 2
    assert ("nothing was deposited" in err) == warm  # else its records may be among those that cannot be read
