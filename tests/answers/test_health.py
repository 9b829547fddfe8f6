"""Health: what needs attention is said, what was not looked at is not claimed, and a log that lies harms nobody."""

from __future__ import annotations

import json
import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from archive import formats, store
from archive.answers.documents import html
from archive.answers.health.checks import HealthCheck, checks
from archive.answers.health.page import compose
from archive.answers.jobs import state
from archive.answers.wording import Wording
from archive.store import Archive, clock, layout, memory
from archive.store.copies import export
from archive.store.documents import DocumentFacts, attach
from archive.store.events import hold
from archive.store.events.accept import accept_job
from archive.store.events.calibrations import keep_calibrations
from archive.store.fixity import fixity
from archive.store.fixity.log import LOG, note, runs
from tests.cli.person import document, printed, typed
from tests.store.store_making import batch, deposit, rows

JOB = "HARBOUR-2019-04"


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(tmp_path / "config"))
    made = store.create(tmp_path / "archive")
    deposit(made, batch(rows()))
    return made


def of(archive: Archive, topic: str, on: datetime | None = None) -> list[HealthCheck]:
    return [c for c in checks(archive, on or clock.now()) if c.topic == topic]


def look(archive: Archive, topic: str, on: datetime | None = None) -> bool:
    return any(c.look for c in of(archive, topic, on))


def in_days(days: int) -> datetime:
    return clock.now() + timedelta(days=days)


def log_of(archive: Archive) -> Path:
    return archive.root / layout.CATALOGUE / LOG


def test_each_run_leaves_a_line_and_the_ledger_none(archive: Archive) -> None:
    count = len(list(archive.entries()))
    for depth in ("count", "digest", "deep"):
        printed("fixity", archive.root, "--depth", depth)
    lines = [json.loads(line) for line in log_of(archive).read_text().splitlines()]
    assert [(x["depth"], x["sound"], x["entries"], x["head"]) for x in lines] == [
        (depth, True, count, archive.head().root) for depth in ("count", "digest", "deep")
    ]
    assert len(list(archive.entries())) == count
    assert fixity(archive, "deep").sound, "the log itself is no stray file"
    assert not any(os.environ["MUNIMENT_CACHE"] in line for line in log_of(archive).read_text().splitlines())


def test_who_may_not_write_there_has_the_line_in_the_cache(archive: Archive) -> None:
    shutil.rmtree(archive.root / layout.CATALOGUE, ignore_errors=True)
    (archive.root / layout.CATALOGUE).write_text("not a folder")
    made = note(archive, fixity(archive))
    cache = memory.folder(archive.id)
    assert cache is not None
    assert made == cache / LOG
    assert len(runs(archive)) == 1


def test_a_second_copy_has_its_runs_apart(archive: Archive, tmp_path: Path) -> None:
    export(archive, tmp_path / "copy")
    copies = of(archive, "copies")
    assert copies[0].look
    assert "never looked at" in copies[0].text
    printed("fixity", tmp_path / "copy")
    assert runs(archive) == [], "that the copy is sound says nothing of the archive"
    assert not (tmp_path / "copy" / layout.CATALOGUE / LOG).exists(), "nothing is written in a copy"
    assert not look(archive, "copies")
    assert look(archive, "copies", in_days(40)), "it grows old"


def test_fixity_by_depth_and_age(archive: Archive) -> None:
    assert [c.look for c in of(archive, "fixity")] == [True, True, True]
    note(archive, fixity(archive, "digest"))
    assert [c.look for c in of(archive, "fixity")] == [False, False, True]
    assert [c.look for c in of(archive, "fixity", in_days(20))] == [True, False, True]
    assert [c.look for c in of(archive, "fixity", in_days(40))] == [True, True, True]
    note(archive, fixity(archive, "deep"))
    assert [c.look for c in of(archive, "fixity")] == [False, False, False]
    deposit(archive, batch(rows("B", source="b" * 64, shift=1)))
    assert "ledger entries since then: 1" in of(archive, "fixity")[0].text


def test_a_run_that_was_not_sound_is_told_until_one_is(archive: Archive) -> None:
    path = next(archive.root.glob("deposits/*/*/data/tables/records.parquet"))
    whole = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(b"x")
    assert typed("fixity", archive.root).code == 1
    path.write_bytes(whole)
    digest = of(archive, "fixity")[1]
    assert digest.look
    assert "NOT SOUND: 1 damaged" in digest.text
    note(archive, fixity(archive, "count"))
    assert of(archive, "fixity")[1].look, "a lesser run says nothing of the bytes"
    note(archive, fixity(archive))
    assert not of(archive, "fixity")[1].look


@pytest.mark.parametrize(
    "line",
    [
        "",
        "{",
        "[]",
        "null",
        '"x"',
        "[" * 100_000,
        '{"at": 5}',
        '{"at": "2999-01-01T00:00:00Z", "depth": "deep", "sound": true, "damaged": 0, "entries": 2, "head": "x"}',
        '{"at": "2020-01-01", "depth": "deeper", "sound": true, "damaged": 0, "entries": 2, "head": "x"}',
        '{"at": "2020-01-01T00:00:00Z", "depth": "deep", "sound": true, "damaged": "many", "entries": 2, "head": "x"}',
        '{"at": "2020-01-01T00:00:00Z", "depth": "deep", "sound": true, "damaged": 1e999, "entries": 2, "head": "x"}',
        "\udcff\udcfe",
    ],
)
def test_a_line_that_is_none_is_passed_over(archive: Archive, line: str) -> None:
    log_of(archive).parent.mkdir(exist_ok=True)
    log_of(archive).write_bytes(line.encode("utf-8", "surrogateescape") + b"\n")
    assert all(c.look for c in of(archive, "fixity"))
    note(archive, fixity(archive))
    assert not of(archive, "fixity")[1].look, "the line after it is read"


def test_a_line_of_another_ledger_needs_attention(archive: Archive) -> None:
    """Somebody copied the log of another archive, or rolled this one back."""
    note(archive, fixity(archive))
    said = json.loads(log_of(archive).read_text())
    log_of(archive).write_text(json.dumps({**said, "head": "0" * 64}) + "\n")
    assert "does not continue" in of(archive, "fixity")[1].text
    assert of(archive, "fixity")[1].look


def test_calibrations_by_list_and_by_certificate(archive: Archive, tmp_path: Path) -> None:
    path = tmp_path / "calibrations.csv"
    today = clock.now().date()
    soon, later = (today + timedelta(days=30)).isoformat(), (today + timedelta(days=300)).isoformat()
    path.write_text(f"serial,valid_until\n40-00317,{soon}\n40-00318,{later}\n")
    printed("calibrations", archive.root, path, "--by", "A. Clerk", code=1)
    entry = list(archive.entries())[-1]
    assert entry["event"] == "calibrations"
    kept = [archive.root / p for p in entry.files if p.endswith(".csv")]
    assert [p.read_bytes() for p in kept] == [path.read_bytes()]
    assert look(archive, "calibrations")
    assert "last used 2019-03-04" in of(archive, "calibrations")[0].items[0]
    count = len(list(archive.entries()))
    assert document("calibrations", archive.root, path, code=1)["kept"] == 0, "nothing twice"
    assert len(list(archive.entries())) == count
    certificate = tmp_path / "c.pdf"
    certificate.write_bytes(b"%PDF-1.7")
    attach(archive, [certificate], DocumentFacts(JOB, "certificate", serial="40-00317", valid_until=later), by=None)
    assert not look(archive, "calibrations"), "the one that holds longest counts"
    assert look(archive, "calibrations", in_days(400))
    assert fixity(store.open(archive.root), "deep").sound


def test_a_damaged_list_of_calibrations_is_told_and_costs_no_other_answer(archive: Archive, tmp_path: Path) -> None:
    rows_ = [{"serial": "40-00317", "valid_until": "2020-01-01"}]
    entry, _ = keep_calibrations(archive, tmp_path / "x.csv", b"x", rows_, by=None, reason=None)
    assert entry is not None
    path = archive.root / "events" / entry["id"] / "event.json"
    path.chmod(0o644)
    path.write_text("{}")
    again = store.open(archive.root)
    with pytest.warns(UserWarning, match="calibrations of units"):
        again.catch_up()
    assert look(again, "events")
    assert again.db.execute("SELECT count(*) FROM records").fetchone()[0] == 1


def test_jobs_warranties_holds_and_retention(archive: Archive) -> None:
    today = clock.now().date()
    assert of(archive, "jobs")[0].items == (f"{JOB}: not graded 1",)
    state(archive, JOB, [f"warranty_end={today + timedelta(days=60)}", "retain_until=2020-01-01"])
    assert of(archive, "warranties")[0].items == (f"{JOB}: {today + timedelta(days=60)}",)
    retention = of(archive, "retention")[0]
    assert not retention.look, "past its day, and under warranty"
    assert "under warranty until" in retention.items[0]
    state(archive, JOB, ["warranty_end=2020-01-01"])
    assert not look(archive, "warranties")
    assert look(archive, "retention")
    hold(archive, JOB, release=False, by=None, reason="claim 17")
    assert not look(archive, "retention")
    assert of(archive, "retention")[1].items == (JOB,)
    accept_job(archive, JOB, today, by=None, reason=None)
    assert of(archive, "jobs")[0].items == ()


def test_what_is_set_aside_needs_attention_until_it_is_settled(archive: Archive, tmp_path: Path) -> None:
    from archive.answers import setaside
    from archive.answers.intake import ingest
    from archive.store.deposits import DepositFacts

    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "minutes.bin").write_bytes(bytes(range(256)))
    formats.write([batch(rows("C", source="c" * 64, shift=3))], tmp_path / "in" / "week.xml", "xml")
    ingest(archive, [tmp_path / "in"], DepositFacts(job=JOB))
    assert look(archive, "set aside")
    setaside.keep(archive, ["*"], by=None, reason="no tests")
    assert not look(archive, "set aside")


def test_what_cannot_be_looked_at_says_so(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    from archive.answers.health import checks as module
    from archive.errors import Trouble

    def broken(_: object) -> object:
        raise Trouble("damaged", code="archive.file-damaged")

    monkeypatch.setitem(module._TOPICS, "set aside", broken)  # type: ignore[arg-type]
    (told,) = of(archive, "set aside")
    assert told.look
    assert "could not be looked at" in told.text


@pytest.mark.parametrize("locale", ["en", "de", "fr", "es"])
def test_the_page_in_each_language(archive: Archive, tmp_path: Path, locale: str) -> None:
    note(archive, fixity(archive))
    export(archive, tmp_path / "copy")
    words, now = Wording(locale), datetime(2027, 1, 1, tzinfo=UTC)
    page = html(compose(checks(archive, now, words), "certificates", now, words))
    assert words("Health of the archive") in page
    if locale != "en":
        for english in ("needs attention", "Second copies", "no run is logged", "ledger entries"):
            assert english not in page.split("muniment fixity")[0], english


def test_a_scheduler_is_told(archive: Archive, tmp_path: Path) -> None:
    out = tmp_path / "health.html"
    said = document("health", archive.root, "--html", out, code=1)
    assert said["attention"] == sum(c["attention"] for c in said["checks"])
    assert "needs attention" in out.read_text(encoding="utf-8").lower()
    export(archive, tmp_path / "copy")
    printed("fixity", tmp_path / "copy")
    printed("fixity", archive.root, "--depth", "deep")
    assert document("health", archive.root)["attention"] == 0
    assert "Needs attention: 0 of" in printed("health", archive.root)
    assert "unknown form" in typed("health", archive.root, "--html", tmp_path / "x.doc").line
    assert "no such archive" in typed("health", tmp_path / "never").line
