"""From files to a receipt: what is handed in twice, bags, zones, mappings read anew."""

from __future__ import annotations

import hashlib
import shutil
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from store_making import batch, rows

from archive import formats, store
from archive.answers.intake import Choices, ingest
from archive.answers.zone import in_utc, zone
from archive.confined import MEMORY
from archive.demo.simulator import simulate
from archive.errors import Trouble
from archive.formats import reading
from archive.store import Archive
from archive.store.deposits import DepositFacts, Receipt
from archive.tables import Batch
from tests.formats import hostile

FACTS = DepositFacts(job="HARBOUR-2019-04", by="R. Ostrander")


@pytest.fixture
def export(tmp_path: Path) -> Path:
    formats.write(simulate(8, seed=5), tmp_path / "export.xml", "xml")
    return tmp_path / "export.xml"


def counted(receipt: Receipt) -> dict[str, int]:
    return {kind: n for kind, n in receipt.counts.items() if n}


def test_the_same_file_twice_in_a_folder_is_the_same_file(archive: Archive, export: Path, tmp_path: Path) -> None:
    folder = tmp_path / "handed in"
    (folder / "again").mkdir(parents=True)
    shutil.copy(export, folder / "one.xml")
    shutil.copy(export, folder / "again" / "two.xml")
    made = ingest(archive, [folder], FACTS)
    assert counted(made) == {"new": 8, "same_file": 8}
    assert made.set_aside == 0


def test_the_other_open_form_is_the_same_content(archive: Archive, export: Path, tmp_path: Path) -> None:
    ingest(archive, [export], FACTS)
    formats.write(formats.read(export), tmp_path / "csv", "csv")
    made = ingest(archive, [tmp_path / "csv"], FACTS)
    assert made.entry is None
    assert sum(made.counts[k] for k in ("same_content", "same_file")) == 8


def test_a_zip_goes_in_as_it_came(archive: Archive, export: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "week2.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(export, "floor 1/links.xml")
    made = ingest(archive, [tmp_path / "week2.zip"], FACTS)
    assert counted(made) == {"new": 8}
    assert made.entry is not None
    kept = archive.root / made.entry["path"] / "data" / "originals" / "week2.zip"
    assert kept.read_bytes() == (tmp_path / "week2.zip").read_bytes()


@pytest.mark.parametrize("within", ["", "curves"])
def test_curves_beside_an_index_are_kept_with_it(archive: Archive, tmp_path: Path, within: str) -> None:
    """Only the index is handed in, with its mapping: the file of points that is read along is an original too."""
    layout = Path(__file__).parents[2] / "fixtures" / "exports" / "siskin-zip"
    with zipfile.ZipFile(layout / "siskin.zip") as packed:
        packed.extract("tests.csv", tmp_path / "in")
        packed.extract("points.csv", tmp_path / "in" / within)
    mapping = tmp_path / "mapping.toml"
    pattern = "/".join(filter(None, (within, "points.csv")))
    mapping.write_text((layout / "mapping.toml").read_text().replace('"points.csv"', f'"{pattern}"'))
    made = ingest(archive, [tmp_path / "in" / "tests.csv"], FACTS, Choices(mapping=mapping))
    assert made.entry is not None and made.set_aside == 0
    with zipfile.ZipFile(archive.root / made.entry["path"] / "data" / "originals.zip") as kept:
        assert set(kept.namelist()) == {"tests.csv", pattern}


def test_a_deposits_bag_can_be_handed_in(archive: Archive, export: Path, tmp_path: Path) -> None:
    """Somebody sends the bag of a deposit: a second archive takes it, the first knows it already."""
    from archive.answers.rederive import rederive
    from archive.store.fixity import fixity

    made = ingest(archive, [export], FACTS)
    assert made.entry is not None
    bag = tmp_path / "sent"
    shutil.copytree(archive.root / made.entry["path"], bag)
    assert counted(ingest(archive, [bag], FACTS)) == {"same_file": 8}
    other = store.create(tmp_path / "other")
    assert counted(ingest(other, [bag], FACTS)) == {"new": 8}
    assert fixity(other, "deep", reread=rederive).findings == []
    victim = bag / "data" / "index.parquet"
    victim.chmod(0o644)
    victim.write_bytes(victim.read_bytes() + b"x")
    with pytest.raises(Trouble, match="damaged"):
        ingest(other, [bag], FACTS)
    with pytest.raises(Trouble, match="merge"):
        ingest(other, [archive.root], FACTS)


def sealed_again(bag: Path) -> None:
    """What a stranger does who changes a bag and knows how bags are sealed."""

    def digest(path: Path) -> str:
        return hashlib.sha256(path.read_bytes()).hexdigest()

    for name in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        listed = [line.split("  ", 1)[1] for line in (bag / name).read_text().splitlines()]
        (bag / name).chmod(0o644)
        (bag / name).write_text("".join(f"{digest(bag / path)}  {path}\n" for path in listed))


@pytest.fixture
def sent(archive: Archive, export: Path, tmp_path: Path) -> Path:
    """The bag of a deposit, as somebody else hands it in."""
    made = ingest(archive, [export], FACTS)
    assert made.entry is not None
    shutil.copytree(archive.root / made.entry["path"], tmp_path / "sent")
    for path in (tmp_path / "sent").rglob("*"):
        path.chmod(0o755 if path.is_dir() else 0o644)
    return tmp_path / "sent"


def change(bag: Path, table: str, column: str, value: object) -> None:
    """Sets a column of the first row of a table, in a bag that is sealed again."""
    path = bag / "data" / "tables" / f"{table}.parquet"
    found = pq.read_table(path)
    at = found.column_names.index(column)
    values = [value, *found.column(column).to_pylist()[1:]]
    field = found.schema.field(at).with_nullable(True)
    pq.write_table(found.set_column(at, field, pa.array(values, field.type)), path)
    sealed_again(bag)


@pytest.mark.parametrize("harm", ["cut", "other columns", "null", "huge"])
def test_tables_of_a_forged_bag_cost_that_bag(
    sent: Path, tmp_path: Path, harm: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = sent / "data" / "tables" / "records.parquet"
    if harm == "cut":
        path.write_bytes(path.read_bytes()[:-20])
    elif harm == "other columns":
        pq.write_table(pa.table({"position": [1, 2], "record_id": [None, b"\xff"]}), path)
    elif harm == "null":
        change(sent, "records", "record_id", None)
    else:  # a few kilobytes that unpack to a gigabyte
        monkeypatch.setenv(MEMORY, "700")
        many = 120_000_000
        text = pa.DictionaryArray.from_arrays(pa.array(np.zeros(many, np.int8)), ["x"])
        pq.write_table(pa.table({"position": text}), path, row_group_size=many)
        assert path.stat().st_size < 1_000_000
    sealed_again(sent)
    other = store.create(tmp_path / "other")
    with pytest.raises(Trouble) as raised:
        ingest(other, [sent], FACTS)
    assert raised.value.code in ("bag.tables-damaged", "confined.memory", "confined.failed")
    assert raised.value.where == "sent"
    assert [e.kind for e in other.entries()] == ["created"]
    assert list((other.root / "aside").iterdir()) == []


def test_a_record_of_a_forged_bag_that_breaks_a_rule_is_set_aside(sent: Path, tmp_path: Path) -> None:
    change(sent, "records", "medium", "string")
    made = ingest(store.create(tmp_path / "other"), [sent], FACTS)
    assert counted(made) == {"new": 7}
    assert made.set_aside == 1


def test_one_bad_file_among_good_ones_is_set_aside_and_kept(archive: Archive, export: Path, tmp_path: Path) -> None:
    folder = tmp_path / "handed in"
    folder.mkdir()
    shutil.copy(export, folder / "good.xml")
    (folder / "cut.xml").write_bytes(export.read_bytes()[:5000])
    made = ingest(archive, [folder], FACTS)
    assert made.look
    assert made.counts["new"] == 8
    assert made.set_aside >= 1
    assert made.entry is not None
    with zipfile.ZipFile(archive.root / made.entry["path"] / "data" / "originals.zip") as packed:
        assert packed.read("cut.xml") == (folder / "cut.xml").read_bytes()


def test_nothing_readable_leaves_nothing(archive: Archive, tmp_path: Path) -> None:
    (tmp_path / "x.bin").write_bytes(b"\x00\x01\x02")
    with pytest.raises(Trouble):
        ingest(archive, [tmp_path / "x.bin"], FACTS)
    assert list((archive.root / "aside").iterdir()) == []
    assert archive.head().size == 1


def test_a_dry_run_says_what_would_happen(archive: Archive, export: Path) -> None:
    before = {p: p.stat().st_mtime_ns for p in archive.root.rglob("*")}
    made = ingest(archive, [export], FACTS, Choices(dry_run=True))
    assert counted(made) == {"new": 8}
    assert {p: p.stat().st_mtime_ns for p in archive.root.rglob("*")} == before


# --- zones: the offsets are those of the IANA database for Europe/Lisbon, known from any almanac ---------------------


def timed(local: str | None, **more: Any) -> Batch:
    return batch(rows(time=local, **more))


def utc(given: Batch) -> tuple[Any, Any, Any]:
    row = given["records"].to_pylist()[0]
    return row["tested_at"] and row["tested_at"].isoformat(), row["utc_offset_min"], row["zone_basis"]


@pytest.mark.parametrize(
    ("local", "at", "offset"),
    [
        ("2019-03-04T10:15", "2019-03-04T10:15:00+00:00", 0),
        ("2019-07-04T10:15:30", "2019-07-04T09:15:30+00:00", 60),
        ("2019-03-31T00:59", "2019-03-31T00:59:00+00:00", 0),
        ("2019-03-31T02:00", "2019-03-31T01:00:00+00:00", 60),
    ],
)
def test_the_zone_of_the_job_gives_utc(local: str, at: str, offset: int) -> None:
    assert utc(in_utc(timed(local), zone("Europe/Lisbon"))) == (at, offset, "job")


@pytest.mark.parametrize(
    ("local", "told"),
    [
        ("2019-10-27T01:30", "was twice"),
        ("2019-03-31T01:30", "never was"),
        ("2019-03-04", None),
        (None, None),
        ("04.03.2019", None),
    ],
)
def test_no_utc_is_invented(local: str | None, told: str | None) -> None:
    """An hour that the clock had twice or never, a day without a time, no time at all."""
    given = in_utc(timed(local), zone("Europe/Lisbon"))
    assert utc(given) == (None, None, None)
    messages = given["findings"]["message"].to_pylist()
    assert [m for m in messages if told and told in m] == (messages if told else [])
    assert bool(messages) == bool(told)


def test_the_zone_that_the_record_states_stays() -> None:
    from datetime import UTC, datetime

    stated = datetime(2019, 3, 4, 9, 15, tzinfo=UTC)
    given = timed("2019-03-04T10:15", tested_at=stated, utc_offset_min=60, zone_basis="record")
    assert utc(in_utc(given, zone("Europe/Lisbon"))) == ("2019-03-04T09:15:00+00:00", 60, "record")


def test_a_name_that_is_no_zone() -> None:
    for name in ("Europe/Lisboa", "", "../etc/passwd", "UTC+1", "\x00"):
        with pytest.raises(Trouble, match="time zone"):
            zone(name)


def test_without_a_zone_there_is_no_utc(archive: Archive, tmp_path: Path) -> None:
    formats.write([batch(rows())], tmp_path / "one.xml", "xml")
    made = ingest(archive, [tmp_path / "one.xml"], FACTS)
    assert made.entry is not None
    found = archive.tables(made.entry["deposit"]).table("records")
    assert found["zone_basis"].to_pylist() == found["tested_at"].to_pylist() == [None]


# --- a wrong mapping found later -------------------------------------------------------------------------------------

KESTREL = Path(__file__).resolve().parents[2] / "fixtures" / "exports" / "whimbrel-rows"
"""An invented layout: lengths in feet, German headings."""


def lengths(archive: Archive, made: Receipt) -> list[float]:
    assert made.entry is not None
    found = archive.tables(made.entry["deposit"]).table("readings").to_pylist()
    return [r["value"] for r in found if r["quantity"] == "length"]


def test_a_wrong_mapping_found_a_month_later_is_read_anew(archive: Archive, tmp_path: Path) -> None:
    """Feet were taken for metres. The stored originals are read by the mended mapping; the new reading stands."""
    from archive.answers.reread import reread

    right = tmp_path / "right.toml"
    wrong = tmp_path / "wrong.toml"
    right.write_bytes((KESTREL / "mapping.toml").read_bytes())
    wrong.write_text(right.read_text().replace('unit = "ft"', 'unit = "m"'))
    first = ingest(archive, [KESTREL / "Messungen.csv"], FACTS, Choices(mapping=wrong))
    assert first.entry is not None
    count = sum(first.counts.values())
    made = reread(archive, first.entry["deposit"], right, by="A. Clerk", reason="feet, not metres")
    assert made.entry is not None
    assert made.counts["reread"] == count
    assert made.entry["originals_in"] == first.entry["deposit"]
    assert not (archive.root / made.entry["path"] / "data" / "originals.zip").exists()
    assert (archive.root / made.entry["path"] / "data" / "mappings" / "right.toml").read_bytes() == right.read_bytes()
    pairs = zip(lengths(archive, first), lengths(archive, made), strict=True)
    assert all(new == pytest.approx(old * 0.3048) for old, new in pairs), "0.3048 m to the foot, exactly (ISO 31-1)"
    standing = archive.db.execute(
        "SELECT deposit, count(*) FROM records WHERE NOT replaced GROUP BY deposit"
    ).fetchall()
    assert [tuple(r) for r in standing] == [(made.entry["deposit"], count)]
    again = reread(archive, first.entry["deposit"], right, by=None, reason=None)
    assert again.entry is None
    with pytest.raises(Trouble, match="no originals of its own"):
        reread(archive, made.entry["deposit"], right, by=None, reason=None)


def test_the_originals_read_anew_give_what_is_archived(archive: Archive) -> None:
    """Deep fixity reads the originals again; a difference would be a finding, and there is none."""
    from archive.answers.rederive import rederive
    from archive.store.fixity import fixity

    made = ingest(archive, [KESTREL / "Messungen.csv"], FACTS, Choices(mapping=KESTREL / "mapping.toml"))
    assert made.entry is not None
    report = fixity(archive, "deep", reread=rederive)
    assert report.sound
    assert report.findings == []


def test_a_reader_that_knows_better_is_a_finding_and_no_damage(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    from archive.answers import rederive
    from archive.store.fixity import fixity

    ingest(archive, [KESTREL / "Messungen.csv"], FACTS, Choices(mapping=KESTREL / "mapping.toml"))
    real = rederive.Submission

    def better(*args: Any, **more: Any) -> Any:
        for one in real(*args, **more):
            labels = one["records"]["link_label"].to_pylist()
            at = one["records"].column_names.index("link_label")
            import pyarrow as pa

            yield one.replace(records=one["records"].set_column(at, "link_label", pa.array([f"{x}!" for x in labels])))

    monkeypatch.setattr(rederive, "Submission", better)
    report = fixity(archive, "deep", reread=rederive.rederive)
    assert report.sound
    assert len(report.findings) == report.records
    assert all("read otherwise" in f["message"] for f in report.findings)


def test_the_same_bytes_are_stored_once(archive: Archive, tmp_path: Path) -> None:
    """A file handed in again under another mapping: deposit.json says which deposit holds it. Redacted, none does."""
    import json

    from archive.store.events.redact import of_file, redact

    wrong = tmp_path / "wrong.toml"
    wrong.write_text((KESTREL / "mapping.toml").read_text().replace('unit = "ft"', 'unit = "m"'))
    export, right = KESTREL / "Messungen.csv", KESTREL / "mapping.toml"
    first = ingest(archive, [export], FACTS, Choices(mapping=wrong))
    second = ingest(archive, [export], FACTS, Choices(mapping=right))
    assert first.entry is not None
    assert second.entry is not None
    bags = [archive.root / r.entry["path"] for r in (first, second) if r.entry]
    assert [(b / "data" / "originals.zip").exists() for b in bags] == [True, False]
    told = json.loads((bags[1] / "data" / "deposit.json").read_text())["originals"]
    assert [o["kept_in"] for o in told] == [first.entry["deposit"]]
    assert [o.packed for o in archive.originals_of(second.entry["deposit"])] == [
        None,
        bags[0] / "data" / "originals.zip",
    ]
    redact(archive, of_file(archive, f"{first.entry['path']}/data/originals.zip"), by=None, reason=None)
    lines = [x for x in wrong.read_text().splitlines() if "Laufzeit 12" not in x]
    wrong.write_text("\n".join(lines))
    third = ingest(archive, [export], FACTS, Choices(mapping=wrong))
    assert third.entry is not None
    assert (archive.root / third.entry["path"] / "data" / "originals.zip").exists()


def test_a_converted_export_does_not_stand_for_the_export(archive: Archive, tmp_path: Path) -> None:
    """The open form names the export as its source, but does not hold its bytes: the export is kept when it comes."""
    export, mapping = KESTREL / "Messungen.csv", KESTREL / "mapping.toml"
    formats.write(formats.read(export, mapping=mapping), tmp_path / "converted.xml", "xml")
    ingest(archive, [tmp_path / "converted.xml"], FACTS)
    (tmp_path / "other.toml").write_text(mapping.read_text().replace('unit = "ft"', 'unit = "m"'))
    made = ingest(archive, [export], FACTS, Choices(mapping=tmp_path / "other.toml"))
    assert made.entry is not None
    with zipfile.ZipFile(archive.root / made.entry["path"] / "data" / "originals.zip") as packed:
        assert packed.read("Messungen.csv") == export.read_bytes()


def test_a_folder_of_hostile_files_and_a_good_one(
    archive: Archive, export: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each bad file costs itself; the good records are archived, and a line tells of each of the others."""
    monkeypatch.setenv(MEMORY, "1500")
    folder = tmp_path / "handed in"
    folder.mkdir()
    shutil.copy(export, folder / "good.xml")
    for name in hostile.FILES:
        if name != "one-letter.csv":
            hostile.write(folder, name)
    made = ingest(archive, [folder], FACTS)
    assert counted(made) == {"new": 8}
    assert made.set_aside == len(hostile.FILES) - 1
    assert made.entry is not None


def test_one_record_id_with_two_contents_in_one_submission_is_set_aside(archive: Archive, tmp_path: Path) -> None:
    """Open forms bring their ids along: an altered file beside the true one shuts nobody out without a word."""
    from archive import formats
    from tests.store.store_making import batch, rows

    def form(name: str, label: str, **more: Any) -> Path:
        formats.write([batch(rows(label, **more))], tmp_path / f"{name}.xml", "xml")
        return tmp_path / f"{name}.xml"

    files = [form("a", "L1"), form("b", "L1"), form("c", "L2"), form("d", "L1", shift=-15.0)]
    made = ingest(archive, files, FACTS)
    assert (made.counts["new"], made.counts["same_file"], made.set_aside) == (1, 1, 2)
    assert made.entry is not None
    reasons = archive.tables(made.entry["deposit"]).table("set_aside")["reason"].to_pylist()
    assert all("other content" in reason and "a.xml" in reason for reason in reasons)
    later = ingest(archive, files[2:3], FACTS)
    assert later.counts["conflicts"] == 1


def test_an_input_is_unpacked_once_and_recognised_once(
    archive: Archive, export: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is asked of it: which files are read with it, by which reader, and what it holds."""
    with zipfile.ZipFile(tmp_path / "week2.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(export, "a/export.xml")
    (tmp_path / "links.csv").write_text("Link,Length (m),Result\nA-1,20,PASS\nA-2,21,PASS\n")
    asked: list[str] = []
    unpacked: list[Path] = []

    def counting_recognised(entry: Any, among: Any = None) -> Any:
        asked.extend([entry.name] if among is None else [])
        return recognised(entry, among)

    def counting_entries(path: Path, *rest: Any) -> Any:
        unpacked.append(path)
        return entries(path, *rest)

    recognised, entries = reading.recognised, reading.entries
    monkeypatch.setattr(reading, "recognised", counting_recognised)
    monkeypatch.setattr(reading, "entries", counting_entries)
    made = ingest(archive, [tmp_path / "week2.zip", tmp_path / "links.csv"], FACTS)
    assert made.counts["new"] == 10
    assert asked == ["links.csv"], "an open form is known without asking the readers of layouts"
    assert unpacked == [tmp_path / "week2.zip", tmp_path / "links.csv"]
