"""Second copies: made, brought up to date, used to mend, and two archives joined."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.errors import Trouble
from archive.store import Archive, layout
from archive.store.copies import export, merge, repair
from archive.store.events import Correction, amend, promote, withdraw
from archive.store.events.redact import of_name, redact
from archive.store.fixity import fixity
from archive.store.ledger import LedgerEntry
from archive.store.proofs import holds, prove, verify
from archive.store.second_copy import is_second_copy, place, take_mark_away


@pytest.fixture
def full(archive: Archive) -> Archive:
    deposit(archive, batch(rows()))
    deposit(archive, batch(rows("B", source="b" * 64, shift=1)), by="K. Lindqvist")
    made = deposit(archive, batch(rows("C", source="c" * 64, shift=2)))
    assert made.entry is not None
    withdraw(archive, records=[f"{made.entry['deposit']}/0"], by="A. Clerk", reason="wrong job")
    return archive


def content(root: Path) -> dict[str, bytes]:
    """Every file of an archive, without the mark of a second copy."""
    found = {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}
    found.pop(place(root).relative_to(root).as_posix(), None)
    return found


def test_a_copy_is_the_archive_byte_for_byte(full: Archive, tmp_path: Path) -> None:
    made = export(full, tmp_path / "copy")
    assert (made.first, made.entries) == (0, 5)
    assert content(tmp_path / "copy") == content(full.root)
    assert fixity(store.open(tmp_path / "copy"), "deep").sound
    copies = fixity(store.open(full.root)).plain()["copies"]
    assert [(c["path"], c["size"]) for c in copies] == [(str((tmp_path / "copy").absolute()), 5)]


def test_a_copy_is_brought_up_to_date_by_what_is_new(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    deposit(full, batch(rows("D", source="d" * 64, shift=3)))
    redact(full, of_name(full, "K. Lindqvist"), by=None, reason=None)
    made = export(full, tmp_path / "copy")
    assert (made.first, made.entries) == (5, 2)
    assert content(tmp_path / "copy") == content(full.root), "what was redacted went from the copy too"
    assert export(full, tmp_path / "copy").entries == 0


def test_a_damaged_file_is_not_copied(full: Archive, tmp_path: Path) -> None:
    victim = next(full.root.glob("deposits/*/*/data/index.parquet"))
    victim.chmod(0o644)
    victim.write_bytes(victim.read_bytes()[:-1] + b"x")
    with pytest.raises(Trouble, match="damaged"):
        export(full, tmp_path / "copy")


def test_only_a_copy_of_this_archive_is_written_to(full: Archive, tmp_path: Path) -> None:
    other = store.create(tmp_path / "other")
    with pytest.raises(Trouble, match="does not have"):
        export(full, other.root)
    (tmp_path / "something").mkdir()
    (tmp_path / "something" / "x.txt").write_text("x")
    with pytest.raises(Trouble, match="no copy"):
        export(full, tmp_path / "something")
    with pytest.raises(Trouble, match="another archive"):
        repair(full, other.root)
    with pytest.raises(Trouble, match="no copy"):
        repair(full, tmp_path / "something")


@pytest.mark.parametrize("made", range(7))
def test_a_copy_that_was_hardly_begun_is_gone_on_with(
    full: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, made: int
) -> None:
    """Killed after each of its folders: the next run knows the copy for one."""
    real, left = Path.mkdir, [made]

    def mkdir(self: Path, *given: object, **more: object) -> None:
        if not left[0]:
            raise KeyboardInterrupt
        left[0] -= 1
        real(self, *given, **more)  # type: ignore[arg-type]

    with monkeypatch.context() as patched, pytest.raises(KeyboardInterrupt):
        patched.setattr(Path, "mkdir", mkdir)
        export(full, tmp_path / "copy")
    assert export(full, tmp_path / "copy").entries == 5
    assert content(tmp_path / "copy") == content(full.root)


def test_a_copy_that_went_its_own_way_is_not_overwritten(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    (tmp_path / "cache-of-another-machine").mkdir()
    take_mark_away(tmp_path / "copy")
    deposit(store.open(tmp_path / "copy"), batch(rows("E", source="e" * 64, shift=4)))
    with pytest.raises(Trouble, match="does not have"):
        export(full, tmp_path / "copy")


def test_nothing_is_written_in_a_copy_until_it_is_made_the_original(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    copy = store.open(tmp_path / "copy")
    before = content(copy.root)
    with pytest.raises(Trouble, match="second copy") as told:
        deposit(copy, batch(rows("E", source="e" * 64, shift=4)))
    assert "muniment promote" in told.value.remedy
    with pytest.raises(Trouble, match="second copy"):
        withdraw(copy, records=[_first_address(copy)], by=None, reason="tested twice")
    assert content(copy.root) == before and fixity(copy, "deep").sound
    made = promote(copy, by="A. Clerk", reason="the first disk failed")
    assert not is_second_copy(copy.root) and made["event"] == "promote"
    assert copy.texts(made)["reason"] == "the first disk failed"
    deposit(copy, batch(rows("E", source="e" * 64, shift=4)))
    assert fixity(copy, "deep").sound
    with pytest.raises(Trouble, match="no second copy"):
        promote(copy, by=None, reason="again")


def test_a_copy_is_not_exported_into_an_original(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    before = content(full.root)
    with pytest.raises(Trouble, match="from a second copy"):
        export(store.open(tmp_path / "copy"), full.root)
    assert content(full.root) == before and not is_second_copy(full.root)
    export(store.open(tmp_path / "copy"), tmp_path / "third")
    assert is_second_copy(tmp_path / "third")


def _first_address(archive: Archive) -> str:
    archive.catch_up()
    return str(archive.db.execute("SELECT deposit || '/' || position FROM records WHERE NOT withdrawn").fetchone()[0])


def damage(root: Path) -> dict[str, str]:
    """Damages one file of each sort, and says how."""
    entry = next(
        e
        for e in (LedgerEntry(p.read_bytes()) for p in sorted((root / "ledger").rglob("*.json")))
        if e.kind == "deposit"
    )
    bag = root / entry["path"]
    done = {}
    for path in (
        bag / "data" / "index.parquet",
        bag / "manifest-sha256.txt",
        bag / "bag-info.txt",
        root / layout.GUIDE,
        layout.entry_path(root, 2),
    ):
        path.chmod(0o644)
        data = path.read_bytes()
        path.write_bytes(data[: len(data) // 2] + b"!" + data[len(data) // 2 + 1 :])
        done[path.relative_to(root).as_posix()] = "flipped"
    for path in (bag / "data" / "tables" / "records.parquet", bag / "tagmanifest-sha256.txt"):
        path.unlink()
        done[path.relative_to(root).as_posix()] = "gone"
    event = next((root / "events").glob("*"))
    shutil.rmtree(event)
    done[event.relative_to(root).as_posix()] = "gone"
    return done


def test_what_is_damaged_is_mended_and_nothing_else_is_touched(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    before = content(full.root)
    done = damage(full.root)
    assert not fixity(store.open(full.root)).sound
    made = repair(store.open(full.root), tmp_path / "copy")
    assert made.left == []
    assert all(any(m.startswith(path) for m in made.repaired) for path in done)
    after = {p: d for p, d in content(full.root).items() if not p.startswith("aside/damaged/")}
    assert after == before
    assert len(made.kept_apart) == sum(how == "flipped" for how in done.values())
    assert fixity(store.open(full.root), "deep").sound


def test_a_cut_ledger_is_mended(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    head = full.head()
    for number in (3, 4):
        layout.entry_path(full.root, number).unlink()
    assert repair(store.open(full.root), tmp_path / "copy").left == []
    assert store.open(full.root).head() == head


def test_a_copy_that_is_damaged_too_mends_what_it_can(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    for root in (full.root, tmp_path / "copy"):
        victim = sorted(root.glob("deposits/*/*/data/index.parquet"))[0]
        victim.chmod(0o644)
        victim.write_bytes(b"broken")
    other = sorted(full.root.glob("deposits/*/*/data/index.parquet"))[1]
    other.unlink()
    made = repair(store.open(full.root), tmp_path / "copy")
    assert made.repaired == [other.relative_to(full.root).as_posix()]
    assert [d.path for d in made.left] == [
        sorted(full.root.glob("deposits/*/*/data/index.parquet"))[0].relative_to(full.root).as_posix()
    ]


def test_a_redacted_file_is_not_brought_back(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    redact(full, of_name(full, "R. Ostrander"), by=None, reason=None)
    before = content(full.root)
    assert repair(full, tmp_path / "copy").repaired == []
    assert content(full.root) == before


@pytest.fixture
def other(tmp_path: Path) -> Archive:
    """An archive of a branch office: one test that is here too, one that is not, and what was done to them."""
    made = store.create(tmp_path / "branch")
    deposit(made, batch(rows()), by="K. Lindqvist")
    second = deposit(made, batch(rows("X", source="9" * 64, shift=9)), job="BRANCH")
    assert second.entry is not None
    address = f"{second.entry['deposit']}/0"
    amend(made, [Correction(address, "link_label", "Y")], by="K. Lindqvist", reason="typing error")
    redact(made, of_name(made, "R. Ostrander"), by="K. Lindqvist", reason="asked for")
    return made


def test_two_archives_joined(full: Archive, other: Archive) -> None:
    entry = next(e for e in reversed(list(other.entries())) if e.kind == "deposit")
    proof, head = prove(other, f"{entry['deposit']}/0"), other.head()
    before = content(other.root)
    made = merge(full, other, by="A. Clerk", reason="branch closed")
    assert content(other.root) == before, "the other is only read"
    assert (made.deposits, made.events) == (2, 2)
    assert made.counts["same_file"] == 1
    assert made.counts["new"] == 1
    again = store.open(full.root)
    report = fixity(again, "deep")
    assert report.sound, report.damaged
    again.catch_up()
    labels = [r[0] for r in again.db.execute("SELECT link_label FROM records WHERE kind = 'new' ORDER BY row")]
    assert labels == ["2-TR2-A117", "B", "C", "Y"]
    filed = again.root / layout.MERGED / other.id / layout.LEDGER
    for number in range(head.size):
        name = layout.entry_path(Path(), number).relative_to(layout.LEDGER)
        assert (filed / name).read_bytes() == other.ledger.data(number)
    assert holds(verify(proof, head.root)), "a proof made by the other still verifies"
    assert holds(verify(prove(again, f"{entry['deposit']}/0"), again.head().root))


def test_joined_twice_adds_nothing(full: Archive, other: Archive) -> None:
    merge(full, other, by=None, reason=None)
    head = full.head()
    made = merge(full, other, by=None, reason=None)
    assert (made.deposits, made.events) == (0, 0)
    assert full.head() == head


def test_a_flip_in_the_filed_chain_is_named(full: Archive, other: Archive) -> None:
    merge(full, other, by=None, reason=None)
    path = next((full.root / layout.MERGED).rglob("00000001.json"))
    data = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(data.replace(b"BRANCH", b"BRANCX") if b"BRANCH" in data else data[:40] + b"!" + data[41:])
    assert any(layout.MERGED in d.path for d in fixity(store.open(full.root)).damaged)


def test_what_was_joined_does_not_come_back(full: Archive, other: Archive) -> None:
    """A deposit has one id wherever it was joined into, and comes by one way alone."""
    merge(other, full, by=None, reason=None)
    back = merge(full, other, by=None, reason=None)
    assert back.deposits == 2, "what was deposited in the other one alone"
    assert merge(full, other, by=None, reason=None).deposits == 0
    assert fixity(full, "deep").damaged == []


def test_what_cannot_be_joined(full: Archive, other: Archive) -> None:
    with pytest.raises(Trouble, match="same archive"):
        merge(full, store.open(full.root), by=None, reason=None)
    layout.entry_path(other.root, 1).unlink()
    with pytest.raises(Trouble, match="not sound"):
        merge(full, other, by=None, reason=None)


def test_the_old_original_says_that_a_copy_was_promoted(full: Archive, tmp_path: Path) -> None:
    full.catch_up()
    export(full, tmp_path / "copy")
    copy = store.open(tmp_path / "copy")
    promote(copy, by="A. Clerk", reason="the first disk failed")
    with pytest.raises(Trouble) as told:
        store.open(full.root).catch_up()
    assert (told.value.code, "repair" in told.value.remedy) == ("archive.copy-promoted", False)
    assert "promoted by A. Clerk on 20" in told.value.found and str(copy.root) in told.value.remedy
    (damage,) = fixity(store.open_damaged(full.root)).damaged
    assert "was promoted by A. Clerk" in damage.what
