"""muniment dispose: what a scheduler, two people and a reader of the certificate see.

What a certificate of disposal states is the practice of records management (ISO 15489-1: from memory).
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from archive import store
from archive.answers.jobs import state
from archive.store import Archive
from tests.cli.person import document, printed, typed
from tests.store.store_making import batch, deposit, rows

OLD = "OLD-JOB-2009"


@pytest.fixture
def old(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(tmp_path / "config"))
    archive = store.create(tmp_path / "archive")
    deposit(archive, batch(rows("A-1")), job=OLD)
    deposit(archive, batch(rows("B-1", source="b" * 64, shift=2)), job="NEW-JOB")
    state(archive, OLD, ["retain_until=2020-01-01"], by="A. Clerk")
    return archive


def two_people(archive: Archive) -> None:
    printed("dispose", archive.root, "--job", OLD, "--propose", "--by", "A. Clerk", "--reason", "line 7")
    printed("dispose", archive.root, "--job", OLD, "--approve", "--by", "B. Counsel")


def test_from_the_list_to_the_certificate(old: Archive, tmp_path: Path) -> None:
    listed = printed("dispose", old.root, code=1)  # a scheduler is told that something is due
    assert "of retention on" in listed and ": 1 of 2 jobs" in listed
    assert "may be disposed of" in listed
    assert "without a day of retention, and kept: 1 of 2 jobs" in listed
    printed("dispose", old.root, "--on", "2019-12-31")
    printed("dispose", old.root, "--job", OLD, "--propose", "--by", "A. Clerk", "--reason", "line 7")
    assert "proposed by ledger entry" in printed("dispose", old.root, code=1)
    out = tmp_path / "certificate.html"
    printed("dispose", old.root, "--job", OLD, "--approve", "--by", "B. Counsel", "--certificate", out)
    text = out.read_text(encoding="utf-8").replace("<wbr>", "")  # where a long word may break
    for wanted in ("Certificate of disposal", OLD, "A. Clerk", "B. Counsel", "line 7", "1 January 2020"):
        assert wanted in text
    entry = list(store.open(old.root).entries())[-1]
    assert len(entry["gone"]) > 5
    assert all(g["sha256"] in text and g["path"] in text for g in entry["gone"])
    assert [j["job"] for j in document("dispose", old.root)["jobs"]] == ["NEW-JOB"]


@pytest.mark.parametrize("form", ["pdf", "html", "txt"])
@pytest.mark.parametrize("locale", ["en", "de", "fr", "es"])
def test_a_certificate_can_be_made_again_in_each_language(old: Archive, tmp_path: Path, form: str, locale: str) -> None:
    two_people(old)
    digests = set()
    for name in ("one", "two"):
        out = tmp_path / f"{name}.{form}"
        printed("dispose", old.root, "--job", OLD, "--certificate", out, "--locale", locale)
        digests.add(hashlib.sha256(out.read_bytes()).hexdigest())
    assert len(digests) == 1
    if form == "html":
        title = {"en": "disposal", "de": "Vernichtung", "fr": "élimination", "es": "eliminación"}[locale]
        assert title in out.read_text(encoding="utf-8")


def test_answers_say_what_was_disposed_of_and_end_as_before(old: Archive) -> None:
    two_people(old)
    said = f"disposed of, and in no answer: the records of job {OLD} (1 record, ledger entry "
    for command, *more in (
        ("find",),
        ("rates", "--by", "cable_type"),
        ("setaside",),
        ("receipt",),
        ("history", "B-1"),
        ("fixity", "--depth", "deep"),
    ):
        done = typed(command, old.root, *more)
        assert done.code == 0, done
        assert said in " ".join(done.err.split())  # folded to the page
    assert [r["job"] for r in document("find", old.root)["records"]] == ["NEW-JOB"]
    assert document("find", old.root)["caveats"][0].startswith("disposed of")
    sound = document("fixity", old.root)
    assert (sound["disposals"][0]["job"], sound["redactions"], sound["records"]) == (OLD, [], 1)
    for command, *more in (("progress", "--job", OLD), ("book", "--job", OLD, "--out", "x"), ("dispose", "--job", OLD)):
        done = typed(command, old.root, *more)
        assert done.code == 2
        assert "disposed of by ledger entry" in " ".join(done.err.split()), command
    assert "disposed of" in printed("receipt", old.root)


def test_a_claim_says_that_records_were_disposed_of(old: Archive, tmp_path: Path) -> None:
    two_people(old)
    typed("claim", old.root, "B-1", "--out", tmp_path / "claim")
    page = (tmp_path / "claim" / "data" / "claim.html").read_text(encoding="utf-8")
    assert f"the records of job {OLD}" in page
    assert typed("verify", tmp_path / "claim", "--expect", store.open(old.root).head().root).code == 0


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--propose",), "of which job"),
        (("--job", OLD, "--propose", "--approve"), "too much at once"),
        (("--job", OLD, "--certificate", "x.doc"), "unknown form"),
        (("--job", OLD, "--certificate", "x.pdf"), "nothing of this job was disposed of"),
        (("--job", "NEVER", "--propose", "--by", "X"), "no records of this job"),
        (("--job", "NEW-JOB", "--propose", "--by", "X"), "not to be disposed of"),
        (("--job", OLD, "--propose"), "who does this"),
        (("--job", OLD, "--approve", "--by", "X"), "nobody has proposed"),
        (("--on", "tomorrow"), "not a date"),
    ],
)
def test_what_is_asked_wrongly(old: Archive, words: tuple[str, ...], expected: str) -> None:
    count = len(list(old.entries()))
    assert expected in typed("dispose", old.root, *words).line
    assert len(list(old.entries())) == count
