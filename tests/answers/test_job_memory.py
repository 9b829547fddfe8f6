"""A job remembers its site and zone; contradictions, near names and records of another job are not taken in silence."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, deposit, rows

from archive import formats, store
from archive.answers.intake import Choices, ingest
from archive.answers.job_memory import remembered
from archive.answers.jobs import state
from archive.cli import main
from archive.errors import Trouble
from archive.store import Archive
from archive.store.deposits import DepositFacts

JOB, SITE, ZONE = "INFIRMARY-EAST", "Lantern Quay 4", "Europe/Lisbon"


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(tmp_path / "config"))
    made = store.create(tmp_path / "archive")
    deposit(made, batch(rows("A1")), job=JOB, site=SITE)
    state(made, JOB, [f"site={SITE}", f"zone={ZONE}"], by="R. Ostrander")
    return made


def export(folder: Path, label: str, **facts: object) -> Path:
    """A record in the open form."""
    folder.mkdir(exist_ok=True)
    return formats.write([batch(rows(label, **facts))], folder / f"{label}.xml")[0]  # type: ignore[arg-type]


def test_a_late_file_keeps_the_zone_and_site_of_the_job(archive: Archive, tmp_path: Path) -> None:
    late = export(tmp_path / "in", "A2", shift=0.7, source="b" * 64)
    made = ingest(archive, [late], DepositFacts(job=JOB, by="R. Ostrander"))
    assert made.counts["new"] == 1
    site, at = archive.db.execute("SELECT site, tested_at FROM records WHERE link_label = 'A2'").fetchone()
    assert (site, at) == (SITE, "2019-03-04T10:15:00.000Z")  # Lisbon keeps UTC in winter


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"job": JOB, "site": "Gannet Mills"}, "contradicts the site of the job"),
        ({"job": JOB, "zone": "Europe/Madrid"}, "contradicts the zone of the job"),
        ({"job": "INFIRMARY-EAST2"}, "this job is new"),
        ({"job": "infirmary east"}, "this job is new"),
        ({"job": "OTHER", "site": "Lantern Quay"}, "this site is new"),
        ({"job": ""}, "no name of a job"),
        ({"job": "a\nb"}, "no name of a job"),
    ],
)
@pytest.mark.parametrize("dry", [False, True])
def test_what_contradicts_is_refused_also_in_a_dry_run(
    archive: Archive, tmp_path: Path, facts: dict[str, str], told: str, dry: bool
) -> None:
    size = archive.head().size
    late = export(tmp_path / "in", "A2", shift=0.7, source="b" * 64)
    with pytest.raises(Trouble, match=told):
        ingest(archive, [late], DepositFacts(**facts), Choices(dry_run=dry))
    assert archive.head().size == size


def test_a_new_name_is_taken_where_it_is_meant(archive: Archive) -> None:
    assert remembered(archive, DepositFacts(job="INFIRMARY-EAST2"), new=True).site is None
    assert remembered(archive, DepositFacts(job="INFIRMARY-WEST")).job == "INFIRMARY-WEST"


def test_jobs_that_are_counted_are_not_slips_of_each_other(archive: Archive) -> None:
    deposit(archive, batch(rows("B1", source="c" * 64, shift=3)), job="HARBOUR-2019-04")
    remembered(archive, DepositFacts(job="HARBOUR-2019-05"))
    with pytest.raises(Trouble, match="nearly the same name"):
        remembered(archive, DepositFacts(job="HARBOUR-2019-4"))


def test_what_is_here_under_another_job_is_told(
    archive: Archive, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    late = export(tmp_path / "in", "A2", shift=0.7, source="b" * 64)
    first = ingest(archive, [late], DepositFacts(job="GRANARY"))
    assert first.entry is not None
    monkeypatch.setattr(
        sys, "argv", ["muniment", "deposit", str(late), "--into", str(archive.root), "--job", JOB, "--json"]
    )
    with pytest.raises(SystemExit) as ended:
        main()
    said = json.loads(capsys.readouterr().out)
    assert ended.value.code == 1
    assert said["elsewhere"] == [{"job": "GRANARY", "deposit": first.entry["deposit"], "records": 1}]


def test_depositing_again_what_was_set_aside_makes_no_empty_deposit(archive: Archive, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    export(folder, "A2", shift=0.7, source="b" * 64)
    (folder / "notes.bin").write_bytes(bytes(range(256)) * 20)
    first = ingest(archive, [folder], DepositFacts(job=JOB))
    assert first.entry is not None and first.set_aside == 1
    size = archive.head().size
    again = ingest(archive, [folder], DepositFacts(job=JOB))
    assert again.entry is None and archive.head().size == size


def test_an_archive_of_ones_own(archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    late = export(tmp_path / "in", "A2", shift=0.7, source="b" * 64)
    for words in (["me", "--archive", str(archive.root)], ["deposit", str(late), "--job", JOB]):
        monkeypatch.setattr(sys, "argv", ["muniment", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        assert ended.value.code in (0, 1), words  # 1: rules find errors in a record as small as this
    archive.catch_up()
    assert archive.db.execute("SELECT 1 FROM records WHERE link_label = 'A2'").fetchone()
