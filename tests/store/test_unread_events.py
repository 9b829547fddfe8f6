"""A damaged event costs the answers about its own jobs; every other answer is given, and names it."""

from __future__ import annotations

import json
import shutil
import sys
import warnings
from pathlib import Path
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.answers.cables import listed
from archive.answers.claim.gather import gather
from archive.answers.history import history
from archive.answers.jobs import facts, state
from archive.answers.link import open_link
from archive.answers.progress import progress
from archive.cli import main
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.store.documents import DocumentFacts, attach, of_job
from archive.store.events import Correction, amend, hold
from archive.store.events.cables import Settlement, settle_cables
from archive.store.events.redact import of_file, redact
from archive.store.fixity import fixity
from archive.store.unread import UnreadEntry

HURT, OTHER = "HARBOUR-2019-04", "MOLE-2020-01"
KINDS = ("amend", "job", "attach", "cables")


@pytest.fixture
def two_jobs(archive: Archive, tmp_path: Path) -> Archive:
    """Two jobs at two sites, with an event of every kind that the catalogue rests on for the first."""
    words = "U/UTP cat 6 by the wharf"
    made = deposit(archive, batch(rows("A-1", cable_found=words)), job=HURT, site="Lantern Quay")
    deposit(archive, batch(rows("B-1", source="b" * 64, shift=3)), job=OTHER, site="Mole End")
    assert made.entry is not None
    amend(archive, [Correction(f"{made.entry['deposit']}/0", "space", "TR2")], by="R. Ostrander", reason="renamed")
    state(archive, HURT, ["warranty_end=2044-04-30"], by="R. Ostrander")
    letter = tmp_path / "letter.txt"
    letter.write_text("An invented letter.\n")
    attach(archive, [letter], DocumentFacts(HURT, "letter"), by="R. Ostrander")
    settle_cables(archive, [Settlement(words, "cat6/u-utp/awg23/solid")], by="R. Ostrander", reason="label of the drum")
    return archive


def text_of(archive: Archive, kind: str) -> Path:
    entry = next(e for e in archive.entries() if e.get("event") == kind)
    return archive.root / "events" / str(entry["id"]) / "event.json"


def damage(path: Path) -> bytes:
    """Gives the bytes that were there."""
    before = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(before[:-9] + b"x" + before[-8:])
    return before


def fresh(archive: Archive, own_cache: Path) -> Archive:
    shutil.rmtree(own_cache / "cache", ignore_errors=True)
    return store.open(archive.root)


def of_job_and_link(archive: Archive, job: str, link: str) -> list[Any]:
    """Every answer about one job or link."""
    return [
        history(archive, open_link(archive, link)),
        gather(archive, link)[0].why,
        progress(archive, job).plain(),
        facts(archive, job),
        of_job(archive, job),
    ]


def refused(archive: Archive, job: str, link: str) -> int:
    """How many of these answers are refused; every refusal names the file."""
    count = 0
    for ask in (
        lambda: history(archive, open_link(archive, link)),
        lambda: gather(archive, link),
        lambda: progress(archive, job),
        lambda: facts(archive, job),
        lambda: of_job(archive, job),
    ):
        try:
            ask()
        except Trouble as trouble:
            assert trouble.code == "archive.file-damaged"
            assert trouble.where.endswith("event.json")
            count += 1
    return count


@pytest.mark.parametrize("warm", [True, False], ids=["warm", "fresh"])
@pytest.mark.parametrize("kind", KINDS[:3])
def test_only_answers_about_its_job_are_refused(two_jobs: Archive, kind: str, warm: bool, own_cache: Path) -> None:
    before = of_job_and_link(two_jobs, OTHER, "B-1")
    damage(text_of(two_jobs, kind))
    archive = store.open(two_jobs.root) if warm else fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry, match="ledger entry"):
        archive.catch_up()
    assert refused(archive, HURT, "A-1") == 5
    assert of_job_and_link(archive, OTHER, "B-1") == before
    assert [r["link_label"] for r in find(archive.db, Filters(job=OTHER))] == ["B-1"]


def test_settled_cables_are_of_no_job_and_are_named(two_jobs: Archive, own_cache: Path) -> None:
    damage(text_of(two_jobs, "cables"))
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry, match="settled cable types"):
        assert listed(archive)
    assert refused(archive, HURT, "A-1") == 0
    assert any("settled cable types" in c for c in gather(archive, "A-1")[0].cautions)


def test_a_lost_name_of_who_settled_costs_the_name_alone(two_jobs: Archive) -> None:
    before = listed(two_jobs)
    assert any(row["settled_by"] for row in before)
    damage(text_of(two_jobs, "cables").with_name("people.json"))
    with pytest.warns(UnreadEntry, match=r"people.json is missing or damaged: who settled cable types is not named"):
        found = listed(store.open(two_jobs.root))
    assert found == [{**row, "settled_by": None} for row in before]


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_repaired_counts_again(two_jobs: Archive, kind: str, own_cache: Path) -> None:
    def answers(archive: Archive) -> list[Any]:
        rows = [dict(r) for r in find(archive.db, Filters())]
        return [rows, of_job_and_link(archive, HURT, "A-1"), listed(archive)]

    two_jobs.catch_up()
    before = answers(two_jobs)
    path = text_of(two_jobs, kind)
    sound = damage(path)
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry):
        archive.catch_up()
    path.write_bytes(sound)
    with warnings.catch_warnings():
        warnings.simplefilter("error", UnreadEntry)
        again = store.open(two_jobs.root)
        again.catch_up()
        assert answers(again) == before
        assert again.unread() == []


def test_a_correction_that_names_no_jobs_may_concern_any(two_jobs: Archive, own_cache: Path) -> None:
    """Entries of earlier versions say how many records were corrected, and not of which jobs."""
    from archive.store.events.write import record

    address = two_jobs.address(next(iter(find(two_jobs.db, Filters(job=OTHER))))["record_id"])
    change = {"record": address, "field": "space", "old": None, "new": "TR9"}
    record(two_jobs, "amend", by=None, texts={"changes": [change]}, facts={"changes": 1})
    last = list(two_jobs.entries())[-1]
    damage(two_jobs.root / "events" / str(last["id"]) / "event.json")
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry, match=r"\(corrections\)"):
        assert refused(archive, HURT, "A-1") == refused(archive, OTHER, "B-1") == 5


def test_writers_go_on_where_nothing_rests_on_it(two_jobs: Archive, own_cache: Path) -> None:
    damage(text_of(two_jobs, "amend"))
    archive = fresh(two_jobs, own_cache)
    with pytest.warns(UnreadEntry):
        archive.catch_up()
    deposit(archive, batch(rows("B-2", source="c" * 64, shift=5)), job=OTHER, site="Mole End")
    hold(archive, HURT, release=False, by="R. Ostrander", reason="claim")
    count = len(list(archive.entries()))
    with pytest.raises(Trouble, match=r"event\.json"):
        deposit(archive, batch(rows("A-2", source="d" * 64, shift=7)), job=HURT, site="Lantern Quay")
    record = next(iter(find(archive.db, Filters(job=HURT))))["record_id"]
    with pytest.raises(Trouble, match=r"event\.json"):
        amend(archive, [Correction(record, "panel", "P9")], by=None, reason="x")
    assert len(list(archive.entries())) == count
    assert list((archive.root / "aside").iterdir()) == []


@pytest.mark.parametrize("how", ["damaged", "lost"])
def test_one_that_no_copy_holds_is_given_up_by_name(two_jobs: Archive, how: str, own_cache: Path) -> None:
    """A redaction of the damaged file is the person's decision; it stands in the ledger, and answers go on."""
    path = text_of(two_jobs, "amend")
    damage(path) if how == "damaged" else path.unlink()
    archive = fresh(two_jobs, own_cache)
    name = path.relative_to(archive.root).as_posix()
    with pytest.warns(UnreadEntry):
        made = redact(archive, of_file(archive, name), by="R. Ostrander", reason="no copy has it")
    assert made["gone"][0]["path"] == name
    assert not path.exists()
    assert fixity(store.open(archive.root)).sound
    again = fresh(two_jobs, own_cache)
    with warnings.catch_warnings():
        warnings.simplefilter("error", UnreadEntry)
        assert of_job_and_link(again, HURT, "A-1")


def test_commands_name_it_and_end_with_one(
    two_jobs: Archive, own_cache: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["muniment", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return int(ended.value.code or 0), said.out, " ".join(said.err.split())  # lines are folded

    root = two_jobs.root
    assert run("find", root, "--json")[0] == 0
    damage(text_of(two_jobs, "amend"))
    shutil.rmtree(own_cache / "cache", ignore_errors=True)
    code, out, err = run("find", root, "--json")
    assert code == 1
    assert len(json.loads(out)["records"]) == 2
    assert "corrections of job HARBOUR-2019-04" in json.loads(out)["caveats"][0]
    assert err.count("corrections of job HARBOUR-2019-04") == 1
    code, out, _ = run("history", root, "B-1", "--json")
    assert code == 1
    assert "corrections" in json.loads(out)["cautions"][0]
    code, out, err = run("history", root, "A-1", "--json")
    assert (code, out) == (2, "")
    assert "event.json" in err
