"""What was changed on the disk is found and named, at the depth that promises it; nothing sound is called damaged."""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.errors import Trouble
from archive.store import Archive, files, layout
from archive.store.bags import MANIFEST, TAG_MANIFEST, read_manifest
from archive.store.committed import files_of
from archive.store.events import withdraw
from archive.store.fixity import deep, fixity
from archive.store.ledger import LedgerEntry, build, judge
from archive.store.parquet import BagTables
from archive.tables import Batch


@pytest.fixture
def full(archive: Archive, tmp_path: Path) -> Archive:
    """An archive with three deposits and an event, one with an original."""
    original = tmp_path / "links.csv"
    original.write_text("invented,cells\n" * 5)
    deposit(archive, batch(rows()), originals=[(original, "week2/links.csv")])
    deposit(archive, batch(rows("2-TR2-A118", source="b" * 64, shift=1)))
    made = deposit(archive, batch(rows("2-TR2-A119", source="c" * 64, shift=2)))
    assert made.entry is not None
    withdraw(archive, records=[f"{made.entry['deposit']}/0"], by="A. Clerk", reason="wrong job")
    return archive


def fresh(archive: Archive) -> Archive:
    return store.open(archive.root)


def damaged(archive: Archive, depth: str = "digest", **more: str) -> list[str]:
    report = fixity(store.open_damaged(archive.root), depth, **more)  # type: ignore[arg-type]
    assert report.sound == (not report.damaged)
    return [f"{d.path}: {d.what}" for d in report.damaged]


def overwrite(path: Path, data: bytes) -> None:
    path.chmod(0o644)
    path.write_bytes(data)


def flipped(data: bytes, at: int, bit: int = 0) -> bytes:
    return data[:at] + bytes([data[at] ^ 1 << bit]) + data[at + 1 :]


@pytest.mark.parametrize("depth", ["count", "digest", "deep"])
def test_a_sound_archive_is_sound(full: Archive, depth: str) -> None:
    report = fixity(fresh(full), depth).plain()
    assert report["sound"]
    assert report["damaged"] == []
    assert report["depth"] == depth
    assert report["deposits"] == report["sound_deposits"] == 3
    assert report["files"] == sum(p.is_file() for p in full.root.rglob("*"))
    assert report["ledger"] == {
        "entries": 5,
        "head": full.head().root,
        "chain": "ok",
        "signatures": {"signed": 0, "unsigned": 5},
        "stamps": [],
    }
    assert full.head().root in report["checked_against"]


def committed(archive: Archive) -> dict[str, str]:
    """Every file with the digest that pins it: from the ledger, from a tag manifest, from a manifest."""
    found: dict[str, str] = {}
    for entry in archive.entries():
        found |= dict(files_of(archive.root, entry))
    return found


def test_every_byte_is_pinned(full: Archive) -> None:
    """Each byte of each file flipped: the digest that pins the file, or the entry's own last line, tells."""
    pinned = committed(full)
    count = 0
    for path in sorted(p for p in full.root.rglob("*") if p.is_file()):
        name, data = path.relative_to(full.root).as_posix(), path.read_bytes()
        if name.startswith(layout.LEDGER):
            assert judge(data) == "valid"
            assert all(judge(flipped(data, at, at % 8)) == "damaged" for at in range(len(data))), name
        else:
            assert files.sha256(data) == pinned[name]
            assert all(files.sha256(flipped(data, at, at % 8)) != pinned[name] for at in range(len(data))), name
        count += len(data)
    assert count > 20_000


def every_file(archive: Archive) -> Iterator[Path]:
    yield from sorted(p for p in archive.root.rglob("*") if p.is_file())


def test_one_flip_in_each_file_is_named_by_digest(full: Archive) -> None:
    draw = random.Random(6)
    for path in list(every_file(full)):
        data = path.read_bytes()
        overwrite(path, flipped(data, draw.randrange(len(data)), draw.randrange(8)))
        found = damaged(full)
        name = path.relative_to(full.root).as_posix()
        assert any(f.startswith(name) for f in found), (name, found)
        overwrite(path, data)
    assert damaged(full) == []


def test_two_hundred_flips_are_named_deep(archive: Archive) -> None:
    draw = random.Random(7)
    deposit(archive, batch(rows()))
    every = sorted(p for p in archive.root.rglob("*") if p.is_file() and p.name != layout.SETTINGS)
    for _ in range(200):
        path = draw.choice(every)
        data = path.read_bytes()
        overwrite(path, flipped(data, draw.randrange(len(data)), draw.randrange(8)))
        found = damaged(archive, "deep")
        assert [d for d in found if d.startswith(path.relative_to(archive.root).as_posix())], found
        overwrite(path, data)
    assert damaged(archive, "deep") == []


def test_pages_and_records_tell_even_without_the_digest_of_the_file(full: Archive) -> None:
    """Flips in the pages of the curves: the page checksum, or the record's own digest, tells without any manifest."""
    draw = random.Random(8)
    entry = next(e for e in full.entries() if e.kind == "deposit")
    path = next((full.root / entry["path"] / "data" / "tables").glob("sweeps-*.parquet"))
    data = path.read_bytes()
    footer = len(data) - 8 - int.from_bytes(data[-8:-4], "little")
    for _ in range(100):
        overwrite(path, flipped(data, draw.randrange(4, footer), draw.randrange(8)))
        seen = list(deep.records(full.root, entry, {}))
        if not seen:  # a flip in what no value depends on, such as the statistics of a page header
            assert BagTables(full.root / entry["path"]).record(0).equals(_first(full, data, path))
    overwrite(path, data)


def _first(archive: Archive, data: bytes, path: Path) -> Batch:
    """The record as it was before the flip."""
    now = path.read_bytes()
    overwrite(path, data)
    entry = next(e for e in archive.entries() if e.kind == "deposit")
    record = archive.tables(entry["deposit"]).record(0)
    overwrite(path, now)
    return record


def test_an_edited_value_with_manifests_made_anew(full: Archive) -> None:
    """A careful forger rewrites table, manifest and tag manifest; the ledger still holds the old digest."""
    entry = next(e for e in full.entries() if e.kind == "deposit")
    bag = full.root / entry["path"]
    index = bag / "data" / "deposit.json"
    overwrite(index, index.read_bytes().replace(b"HARBOUR", b"HARDOUR"))
    listed = read_manifest(bag / MANIFEST)
    listed["data/deposit.json"] = files.sha256(index.read_bytes())
    overwrite(bag / MANIFEST, "".join(f"{d}  {p}\n" for p, d in sorted(listed.items())).encode())
    tags = read_manifest(bag / TAG_MANIFEST)
    tags[MANIFEST] = files.sha256((bag / MANIFEST).read_bytes())
    overwrite(bag / TAG_MANIFEST, "".join(f"{d}  {p}\n" for p, d in sorted(tags.items())).encode())
    assert damaged(full) == [f"{entry['path']}/{TAG_MANIFEST}: changed: its digest is not the one in the ledger"]
    assert damaged(full, "count") == []


def test_count_sees_names_and_sizes_only(full: Archive) -> None:
    entry = next(e for e in full.entries() if e.kind == "deposit")
    target = full.root / entry["path"] / "data" / "deposit.json"
    data = target.read_bytes()
    overwrite(target, flipped(data, 3))
    assert damaged(full, "count") == []
    overwrite(target, data + b" ")
    assert any("the payload is" in d for d in damaged(full, "count"))
    overwrite(target, data)
    (target.parent / "added.txt").write_text("x")
    assert any("added.txt: not in the manifest" in d for d in damaged(full, "count"))
    (target.parent / "added.txt").unlink()
    target.unlink()
    assert f"{entry['path']}/data/deposit.json: missing" in damaged(full, "count")


def last(archive: Archive) -> Path:
    return layout.entry_path(archive.root, layout.entry_count(archive.root) - 1)


def rebuilt(data: bytes, **changed: object) -> bytes:
    """An entry edited by somebody who knows its form: its last line fits again."""
    fields = {k: v for k, v in LedgerEntry(data).fields.items() if k not in ("sha256", "signature")}
    return build({**fields, **changed})


def cut_last(a: Archive) -> None:
    last(a).unlink()


def rolled_back(a: Archive) -> None:
    for _ in range(3):
        last(a).unlink()


def edited(a: Archive) -> None:
    path = layout.entry_path(a.root, 2)
    overwrite(path, rebuilt(path.read_bytes(), counts={"new": 99}))


def edited_last(a: Archive) -> None:
    overwrite(last(a), rebuilt(last(a).read_bytes(), records=[]))


def removed(a: Archive) -> None:
    layout.entry_path(a.root, 2).unlink()


def swapped(a: Archive) -> None:
    one, two = (layout.entry_path(a.root, n) for n in (2, 3))
    x, y = one.read_bytes(), two.read_bytes()
    overwrite(one, y)
    overwrite(two, x)


def inserted(a: Archive) -> None:
    """All from number 3 on move up, and a forged one takes the place."""
    for number in range(layout.entry_count(a.root) - 1, 2, -1):
        layout.entry_path(a.root, number).rename(layout.entry_path(a.root, number + 1))
    before = LedgerEntry(layout.entry_path(a.root, 2).read_bytes())
    forged = rebuilt(before.data, number=3, previous=before.sha256, deposit="forged")
    layout.entry_path(a.root, 3).write_bytes(forged)


def chain_made_anew(a: Archive) -> None:
    """Somebody edits entry 2 and recomputes every digest after it: only a head held elsewhere tells."""
    count = layout.entry_count(a.root)
    previous = LedgerEntry(layout.entry_path(a.root, 1).read_bytes())
    for number in range(2, count):
        path = layout.entry_path(a.root, number)
        more: dict[str, object] = {"counts": {"new": 99}} if number == 2 else {}
        overwrite(path, rebuilt(path.read_bytes(), previous=previous.sha256, **more))
        previous = LedgerEntry(path.read_bytes())


TAMPERING: list[Callable[[Archive], None]] = [
    cut_last,
    rolled_back,
    edited,
    edited_last,
    removed,
    swapped,
    inserted,
    chain_made_anew,
]


@pytest.mark.parametrize("tamper", TAMPERING)
def test_a_changed_ledger_shows_against_the_remembered_head(full: Archive, tamper: Callable[[Archive], None]) -> None:
    full.head()
    tamper(full)
    assert damaged(full, "count") != []
    assert damaged(full) != []


@pytest.mark.parametrize("tamper", [cut_last, rolled_back, edited_last, inserted, chain_made_anew])
def test_no_deposit_continues_a_ledger_that_was_cut_or_rewritten(
    full: Archive, tamper: Callable[[Archive], None]
) -> None:
    full.head()
    tamper(full)
    before = sorted(full.root.rglob("*"))
    with pytest.raises(Trouble, match="ledger"):
        deposit(fresh(full), batch(rows("NEW", source="9" * 64, shift=9)))
    assert sorted(full.root.rglob("*")) == before


@pytest.mark.parametrize("tamper", TAMPERING)
def test_a_changed_ledger_shows_against_a_head_on_paper(
    full: Archive, tamper: Callable[[Archive], None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """On a machine that never saw the archive, with the head from a receipt."""
    head = full.head().root
    tamper(full)
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "another machine"))
    assert damaged(full, expect=head) != []


def test_what_no_memory_can_tell(full: Archive, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without any head held elsewhere a cut end and a chain made anew look sound; the report says what it lacked."""
    cut_last(full)
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "another machine"))
    report = fixity(fresh(full))
    # The event's folder is left: it stands there without an entry.
    assert report.checked_against == "nothing but itself"
    assert len(report.uncommitted) == 1


def test_an_older_head_is_accepted_and_a_wrong_one_is_not(full: Archive) -> None:
    old = full.head(2)
    assert damaged(full, expect=old.root) == []
    assert damaged(full, expect=f"2:{old.root}") == []
    assert damaged(full, expect=f"3:{old.root}") != []
    assert damaged(full, expect="0" * 64) != []


def test_a_deliberate_return_to_an_older_copy_is_accepted_once(full: Archive) -> None:
    full.head()
    withdrawn = fresh(full)
    shutil.rmtree(full.root / layout.EVENTS)
    (full.root / layout.EVENTS).mkdir()
    cut_last(full)
    assert damaged(withdrawn) != []
    assert fixity(fresh(full), accept=True).sound
    assert damaged(full) == []
    deposit(fresh(full), batch(rows("NEW", source="9" * 64, shift=9)))


def test_a_bag_removed_replaced_or_restored_from_an_older_copy(full: Archive, tmp_path: Path) -> None:
    one, two, _ = [e for e in full.entries() if e.kind == "deposit"]
    bag, other = full.root / one["path"], full.root / two["path"]
    kept = tmp_path / "kept"
    shutil.copytree(bag, kept)
    shutil.rmtree(bag)
    assert any(d.startswith(one["path"]) and "missing" in d for d in damaged(full, "count"))
    shutil.copytree(other, bag)
    assert any(one["path"] in d for d in damaged(full))
    shutil.rmtree(bag)
    older = tmp_path / "older"
    shutil.copytree(kept, older)
    (older / "data" / "deposit.json").chmod(0o644)
    (older / "data" / "deposit.json").write_text(json.dumps({"job": "an older state"}))
    shutil.copytree(older, bag)
    assert any(f"{one['path']}/data/deposit.json: changed" in d for d in damaged(full))


def test_strangers_in_the_archive_are_told(full: Archive) -> None:
    (full.root / "notes.txt").write_text("x")
    (full.root / "ledger" / "0000" / "notes.txt").write_text("x")
    (full.root / "more").mkdir()
    found = damaged(full)
    assert any(d.startswith("notes.txt") for d in found)
    assert any(d.startswith("ledger/0000/notes.txt") for d in found)
    assert any(d.startswith("more") for d in found)


def test_the_index_in_the_cache_is_compared_with_a_rebuild(full: Archive) -> None:
    full.catch_up()
    full.db.execute("UPDATE records SET link_label = 'edited' WHERE row = 1")
    assert damaged(full) == []
    assert any("table records" in d for d in damaged(full, "deep"))


def test_a_damaged_deposit_leaves_the_others_readable(full: Archive) -> None:
    one, two, _ = [e for e in full.entries() if e.kind == "deposit"]
    for path in (full.root / one["path"] / "data" / "tables").glob("*.parquet"):
        overwrite(path, b"broken")
    report = fixity(fresh(full))
    assert report.damaged_deposits == {one["deposit"]}
    assert report.plain()["sound_deposits"] == 2
    assert len(full.tables(two["deposit"]).record(0)) == 1
    with pytest.raises(Trouble, match=r"records\.parquet"):
        full.tables(one["deposit"]).record(0)


@pytest.mark.parametrize("harm", ["gone", "broken", "another id"])
def test_damaged_settings_are_named_and_mended(full: Archive, tmp_path: Path, harm: str) -> None:
    """What reads the archive says that its settings are damaged; fixity and repair go by the first ledger entry."""
    from archive.store.copies import export, repair

    export(full, tmp_path / "copy")
    path = full.root / layout.SETTINGS
    data = path.read_bytes()
    path.unlink()
    if harm != "gone":
        path.write_bytes(b"[[" if harm == "broken" else data.replace(b"ar-", b"ar-0"))
    assert [d.split(":")[0] for d in damaged(full)] == [layout.SETTINGS]
    assert repair(store.open_damaged(full.root), tmp_path / "copy").repaired == [layout.SETTINGS]
    assert path.read_bytes() == data
    assert damaged(full) == []
