"""What whoever relies on a ledger is told besides its soundness: wrong clocks, missing signatures."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.answers.history import history, link_cautions
from archive.answers.link import open_link
from archive.store import Archive, clock
from archive.store.cautions import cautions
from archive.store.deposits import Deposit, DepositFacts
from archive.store.events import Correction, amend, record
from archive.store.fixity import fixity
from archive.store.keys import make


@pytest.fixture
def it_is(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    def set_clock(text: str) -> None:
        at = datetime.fromisoformat(text).replace(tzinfo=UTC)
        monkeypatch.setattr(clock, "now", lambda: at)

    return set_clock


def made_on(archive: Archive, label: str, number: int) -> Any:
    return deposit(archive, batch(rows(label, source=f"{number:064d}", shift=number)), by="R. Ostrander")


def test_clocks_that_were_wrong_are_told(tmp_path: Path, it_is: Callable[[str], None]) -> None:
    it_is("2026-03-01T09:00")
    archive = store.create(tmp_path / "archive")
    ahead, right, back, before = [], [], [], []
    for number, (day, into) in enumerate(
        [
            ("2026-03-02T09:00", right),
            ("2262-04-01T09:00", ahead),
            ("2026-03-03T09:00", right),
            ("2026-03-02T20:00", back),
            ("1963-05-05T09:00", before),
            ("2026-03-03T08:55", right),
            ("2026-03-04T09:00", right),
        ]
    ):
        it_is(day)
        receipt = made_on(archive, f"L{number}", number)
        assert receipt.entry is not None
        into.append(receipt.entry.number)
        told = receipt.plain().get("cautions", [])
        assert len(told) == (into is back or into is before)  # on the day itself, 2262 is today
    it_is("2026-03-05T09:00")
    found = {c.entry: c.text for c in cautions(store.open(archive.root))}
    assert sorted(found) == sorted([*ahead, *back, *before])
    assert "still to come" in found[ahead[0]]
    assert "before entry 3 " in found[back[0]]
    assert "before the archive was made" in found[before[0]]
    report = fixity(store.open(archive.root), "deep")
    assert report.sound, report.damaged
    assert len(report.cautions) == 3


def test_a_history_is_in_the_order_of_the_ledger(tmp_path: Path, it_is: Callable[[str], None]) -> None:
    """A correction made on a machine whose clock had stopped in 2016 stands after what it corrects."""
    it_is("2026-03-01T09:00")
    archive = store.create(tmp_path / "archive")
    made = made_on(archive, "L", 1)
    assert made.entry is not None
    it_is("2016-01-01T00:00")
    amend(archive, [Correction(f"{made.entry['deposit']}/0", "site", "West")], by=None, reason=None)
    it_is("2026-03-02T09:00")
    link = open_link(archive, "L")
    assert [e["kind"] for e in history(archive, link)] == ["amendment", "deposit", "test"]
    assert ["2016-01-01" in c for c in link_cautions(archive, link)] == [True]


def key_of(archive: Archive, folder: Path, name: str, sign: Any = None) -> Any:
    pair = make(folder)
    facts = {"action": "add", "key": pair.id, "public": pair.public}
    record(archive, "key", by=name, texts=facts, facts=facts, sign=sign or pair.sign)
    return pair


def by(archive: Archive, name: str, number: int, sign: Any = None) -> int:
    making = Deposit(archive, DepositFacts(job="J", by=name), sign)
    making.add(batch(rows(f"L{number}", source=f"{number:064d}", shift=number)))
    entry = making.commit().entry
    assert entry is not None
    return entry.number


def test_who_has_a_key_and_does_not_sign_is_told(archive: Archive, tmp_path: Path) -> None:
    pytest.importorskip("cryptography")
    by(archive, "R. Ostrander", 1)
    first = key_of(archive, tmp_path / "keys", "R. Ostrander")
    by(archive, "R. Ostrander", 2, first.sign)
    by(archive, "S. Wexcombe", 3)
    assert cautions(archive) == []
    unsigned = by(archive, "R. Ostrander", 4)
    second = key_of(archive, tmp_path / "keys", "R. Ostrander")
    facts = {"action": "retire", "key": first.id}
    record(archive, "key", by="R. Ostrander", texts=facts, facts=facts, sign=second.sign)
    facts = {"action": "retire", "key": second.id}
    record(archive, "key", by="R. Ostrander", texts=facts, facts=facts, sign=second.sign)
    by(archive, "R. Ostrander", 5)
    found = {c.entry: c.text for c in cautions(archive)}
    assert sorted(found) == [unsigned, unsigned + 1]
    assert "is not signed, though R. Ostrander holds" in found[unsigned]
    assert "second key under the name R. Ostrander" in found[unsigned + 1]
    report = fixity(store.open(archive.root))
    assert report.sound and report.cautions == [found[unsigned], found[unsigned + 1]]
    used_late = by(archive, "R. Ostrander", 6, first.sign)
    report = fixity(store.open(archive.root))
    assert [d.path for d in report.damaged] == [f"ledger/0000/{used_late:08d}.json"]
    assert "retired before" in report.damaged[0].what


def test_a_second_key_is_told_of_every_link_that_its_name_touched_later(archive: Archive, tmp_path: Path) -> None:
    """Whoever writes the ledger anew can register a key under a name that has one, and sign all that follows."""
    pytest.importorskip("cryptography")
    first = key_of(archive, tmp_path / "keys", "R. Ostrander")
    by(archive, "R. Ostrander", 1, first.sign)
    second = key_of(archive, tmp_path / "other", "R. Ostrander")
    by(archive, "R. Ostrander", 2, second.sign)
    by(archive, "S. Wexcombe", 3)
    told = {label: link_cautions(archive, open_link(archive, label)) for label in ("L1", "L2", "L3")}
    assert ["second key under the name R. Ostrander" in text for text in told["L2"]] == [True]
    assert told["L1"] == told["L3"] == []


def test_a_tolerance_for_clocks_of_several_machines(tmp_path: Path, it_is: Callable[[str], None]) -> None:
    start = datetime(2026, 3, 1, 9, tzinfo=UTC)
    archive = None
    for minutes in (0, 9, 0, 30, 21):
        it_is((start + timedelta(minutes=minutes)).isoformat()[:16])
        if archive is None:
            archive = store.create(tmp_path / "archive")
        made_on(archive, f"L{minutes}", 100 + minutes)
    assert archive is not None
    assert cautions(archive) == []
