"""Every case of dedup in house.md: what the receipt counts, and which record is current."""

from __future__ import annotations

import hashlib
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from store_making import Rows, batch, deposit, rounded, rows

from archive import store
from archive.store import Archive
from archive.store.catalogue.standing_columns import link_states
from archive.store.deposits import Receipt
from archive.store.events import withdraw
from archive.store.fixity import fixity


def counted(receipt: Receipt) -> dict[str, int]:
    return {kind: n for kind, n in receipt.counts.items() if n}


def _catalogued(archive: Archive) -> list[tuple[Any, ...]]:
    archive.catch_up()
    return [tuple(r) for r in archive.db.execute("SELECT * FROM records ORDER BY row")]


def current_ones(archive: Archive) -> list[str]:
    """Addresses of current records as the catalogue holds them; worked out for each link alone, they are the same."""
    archive.catch_up()
    rows = [dict(r) for r in archive.db.execute("SELECT *, deposit || '/' || position AS address FROM records")]
    by_link: dict[Any, list[Any]] = {}
    for r in rows:
        by_link.setdefault(r["link"], []).append(r)
    for link, members in by_link.items():
        assert link is not None
        states = link_states(archive.db, members)
        assert [states[r["row"]].current for r in members] == [bool(r["current"]) for r in members]
    return sorted(r["address"] for r in rows if r["current"])


def address(receipt: Receipt, position: int = 0) -> str:
    assert receipt.entry is not None
    return f"{receipt.entry['deposit']}/{position}"


def test_a_new_record_stands(archive: Archive) -> None:
    made = deposit(archive, batch(rows()))
    assert counted(made) == {"new": 1}
    assert current_ones(archive) == [address(made)]


def test_the_same_file_read_the_same_way_is_nothing_new(archive: Archive) -> None:
    first = deposit(archive, batch(rows()))
    again = deposit(archive, batch(rows()))
    assert counted(again) == {"same_file": 1}
    assert again.entry is None
    assert archive.head() == first.head
    assert not list((archive.root / "aside").iterdir())


def test_a_file_that_is_new_beside_one_that_is_known(archive: Archive) -> None:
    deposit(archive, batch(rows()))
    both = batch(rows(), rows("2-TR2-A118", source="b" * 64, shift=3))
    made = deposit(archive, both)
    assert counted(made) == {"new": 1, "same_file": 1}
    assert archive.tables(made.entry["deposit"]).count == 1  # type: ignore[index]


def test_a_source_that_comes_in_parts_is_taken_in_whole(archive: Archive) -> None:
    deposit(archive, batch(rows("A-1", place="row 2")))
    second = deposit(archive, batch(rows("A-1", place="row 2"), rows("A-2", place="row 3", shift=0.7)))
    assert counted(second) == {"same_file": 1, "new": 1}
    assert len(current_ones(archive)) == 2


def test_another_mapping_is_a_rereading_and_stands(archive: Archive) -> None:
    deposit(archive, batch(rows("wrong column", mapping="1" * 64)))
    made = deposit(archive, batch(rows("2-TR2-A117", mapping="2" * 64)))
    assert counted(made) == {"reread": 1}
    assert current_ones(archive) == [address(made)]


def test_another_reader_that_reads_the_same_is_nothing_new(archive: Archive) -> None:
    first = deposit(archive, batch(rows(reader="tests 1")))
    made = deposit(archive, batch(rows(reader="tests 2")))
    assert counted(made) == {"same_content": 1}
    assert made.entry is None
    assert current_ones(archive) == [address(first)]


def test_the_same_content_in_another_layout(archive: Archive) -> None:
    first = deposit(archive, batch(rows()))
    made = deposit(archive, batch(rows(source="c" * 64, place="/results/link[1]", limit_found="other words")))
    assert counted(made) == {"same_content": 1}
    assert current_ones(archive) == [address(first)]


def test_the_same_content_twice_in_one_deposit(archive: Archive) -> None:
    made = deposit(archive, batch(rows(), rows(source="c" * 64, place="/results/link[1]")))
    assert counted(made) == {"new": 1, "same_content": 1}
    assert current_ones(archive) == [address(made)]


@pytest.mark.parametrize("rich_first", [True, False])
def test_a_rendition_with_other_rounding_the_richer_stands(archive: Archive, rich_first: bool) -> None:
    rich, poor = rows(), rounded(rows(source="d" * 64))
    first, second = (rich, poor) if rich_first else (poor, rich)
    a = deposit(archive, batch(first))
    b = deposit(archive, batch(second))
    assert counted(b) == {"renditions": 1}
    assert current_ones(archive) == [address(a if rich_first else b)]


def without_curves(made: Rows) -> Rows:
    """Only the reported worst case came along."""
    out = {**made, "sweeps": [], "axes": []}
    record_id = made["records"][0]["record_id"]
    out["records"] = [{**made["records"][0], "evidence": "worst-points"}]
    out["reported"] = [
        {"record_id": record_id, "parameter": "next", "kind": "worst_margin", "margin": 4.2, "verdict": "pass"}
    ]
    return out


@pytest.mark.parametrize("rich_first", [True, False])
def test_a_rendition_with_less_detail_never_displaces_a_full_sweep(archive: Archive, rich_first: bool) -> None:
    rich, poor = rows(), without_curves(rows(source="d" * 64))
    first, second = (rich, poor) if rich_first else (poor, rich)
    a = deposit(archive, batch(first))
    b = deposit(archive, batch(second))
    assert counted(b) == {"renditions": 1}
    assert current_ones(archive) == [address(a if rich_first else b)]


def test_other_values_of_one_test_are_a_conflict_and_none_stands(archive: Archive) -> None:
    a = deposit(archive, batch(rows()))
    b = deposit(archive, batch(rows(source="e" * 64, shift=2.0)))
    assert counted(b) == {"conflicts": 1}
    assert b.look
    assert current_ones(archive) == []
    withdraw(archive, records=[address(a)], by=None, reason="edited")
    assert current_ones(archive) == [address(b)]


def test_another_verdict_on_the_same_values_is_a_conflict(archive: Archive) -> None:
    deposit(archive, batch(rows(reported_verdict="fail")))
    b = deposit(archive, batch(rows(source="e" * 64, reported_verdict="pass")))
    assert counted(b) == {"conflicts": 1}


def test_the_same_test_under_another_label(archive: Archive) -> None:
    a = deposit(archive, batch(rows("2-TR2-A117")))
    b = deposit(archive, batch(rows("2-TR2-A118", source="f" * 64)))
    assert counted(b) == {"relabelled": 1}
    assert current_ones(archive) == [address(a)]
    withdraw(archive, records=[address(a)], by=None, reason="the label was wrong")
    assert current_ones(archive) == [address(b)]


def test_a_retest_stands_and_a_later_fail_stands_over_an_earlier_pass(archive: Archive) -> None:
    deposit(archive, batch(rows()))
    b = deposit(archive, batch(rows(source="b" * 64, time="2019-03-05T08:00", shift=1.5, reported_verdict="fail")))
    assert counted(b) == {"retests": 1}
    assert current_ones(archive) == [address(b)]


def test_test_time_decides_and_not_arrival(archive: Archive) -> None:
    late = deposit(archive, batch(rows(time="2019-03-05T08:00", shift=1.5)))
    deposit(archive, batch(rows(source="b" * 64, time="2019-03-04T10:15")))
    assert current_ones(archive) == [address(late)]


def test_a_later_test_of_less_evidence_does_not_displace_a_full_sweep(archive: Archive) -> None:
    full = deposit(archive, batch(rows()))
    deposit(archive, batch(without_curves(rows(source="b" * 64, time="2019-03-05T08:00"))))
    assert current_ones(archive) == [address(full)]


def test_copied_curves_are_told(archive: Archive) -> None:
    """The same curves under another label from another time: somebody may have copied a result."""
    a = deposit(archive, batch(rows("2-TR2-A117")))
    b = deposit(archive, batch(rows("2-TR2-A118", source="9" * 64, time="2019-03-04T11:40")))
    assert counted(b) == {"copied_curves": 1}
    assert b.entry is not None
    assert b.entry["decisions"]["copied_curves"] == [[0, address(a)]]


def test_copied_curves_of_another_instrument(archive: Archive) -> None:
    deposit(archive, batch(rows("2-TR2-A117")))
    other = rows("2-TR2-A118", source="9" * 64)
    unit = {**other["instruments"][0], "serial": "40-99999", "instrument_id": "in-99"}
    other["instruments"] = [unit, other["instruments"][1]]
    other["records"][0]["local_instrument_id"] = "in-99"
    assert counted(deposit(archive, batch(other))) == {"copied_curves": 1}


def test_two_tests_a_whole_offset_apart_are_one(archive: Archive) -> None:
    """The same export once in local time and once in another zone."""
    deposit(archive, batch(rows(time="2019-03-04T10:15")))
    b = deposit(archive, batch(rows(source="8" * 64, time="2019-03-04T11:15")))
    assert counted(b) == {"renditions": 1}
    assert len(current_ones(archive)) == 1


def test_flat_curves_tell_nothing(archive: Archive) -> None:
    """Curves of one value only, as of an instrument that measured nothing, are no copies of each other."""
    flat = rows("A")
    for sweep in flat["sweeps"]:
        sweep["values"] = [0.0] * len(sweep["values"])
    other = rows("B", source="7" * 64, time="2019-03-04T12:00")
    other["sweeps"] = [{**s, "record_id": other["records"][0]["record_id"]} for s in flat["sweeps"]]
    assert counted(deposit(archive, batch(flat, other))) == {"new": 2}


def test_a_withdrawn_record_does_not_come_back(archive: Archive) -> None:
    a = deposit(archive, batch(rows()))
    withdraw(archive, records=[address(a)], by=None, reason="wrong job")
    assert current_ones(archive) == []
    again = deposit(archive, batch(rows(source="5" * 64)))
    assert counted(again) == {"same_content": 1}
    assert current_ones(archive) == []


def test_the_same_label_in_another_job_is_another_link(archive: Archive) -> None:
    a = deposit(archive, batch(rows("1")), job="ONE")
    b = deposit(archive, batch(rows("1", source="4" * 64, time="2020-01-01T09:00", shift=1)), job="TWO")
    assert counted(b) == {"new": 1}
    assert current_ones(archive) == sorted([address(a), address(b)])


def test_the_same_label_at_the_same_site_is_one_link_over_all_jobs(archive: Archive) -> None:
    deposit(archive, batch(rows("1")), job="ONE", site="Lantern Quay 4")
    again = rows("1", source="4" * 64, time="2020-01-01T09:00", shift=1)
    b = deposit(archive, batch(again), job="TWO", site="Lantern Quay 4")
    assert counted(b) == {"retests": 1}


def test_the_database_can_be_thrown_away(archive: Archive) -> None:
    """What was decided stands in the ledger; a database derived anew says the same."""
    from archive.store import catalogue

    test_copied_curves_are_told(archive)
    test_other_values_of_one_test_are_a_conflict(archive)
    before = _catalogued(archive)
    catalogue.forget(archive.id)
    fresh = Archive(archive.root, archive.settings)
    assert _catalogued(fresh) == before


def test_other_values_of_one_test_are_a_conflict(archive: Archive) -> None:
    deposit(archive, batch(rows("X", source="3" * 64, time="2021-01-01T10:00", shift=7)))
    b = deposit(archive, batch(rows("X", source="2" * 64, time="2021-01-01T10:00", shift=8)))
    assert counted(b) == {"conflicts": 1}


# --- one record id, two contents -----------------------------------------------------------------------------------


def same_id(label: str = "2-TR2-A117", *, shift: float = 0.0, verdict: str = "pass", **more: Any) -> Any:
    """A record under the id of another: an open form that somebody altered keeps the ids it had."""
    made = rows(label, shift=shift, **more)
    made["records"][0]["reported_verdict"] = verdict
    return made


def counting(archive: Archive) -> list[str]:
    archive.catch_up()
    found = archive.db.execute("SELECT link_label FROM records WHERE current ORDER BY row")
    return [r[0] for r in found]


@pytest.mark.parametrize("first", ["true", "altered"])
def test_an_altered_record_does_not_shut_the_true_one_out(archive: Archive, first: str) -> None:
    true, altered = same_id(), same_id(shift=-15.0, verdict="fail")
    one, two = (true, altered) if first == "true" else (altered, true)
    deposit(archive, batch(one))
    made = deposit(archive, batch(two))
    assert made.counts["conflicts"] == 1 and made.counts["same_file"] == 0
    assert made.entry is not None and made.look
    assert counting(archive) == []
    withdraw(archive, records=[f"{made.entry['deposit']}/0"], by=None, reason="altered")
    assert counting(archive) == ["2-TR2-A117"]


def test_one_id_with_many_labels_is_one_conflict(archive: Archive) -> None:
    deposits = [deposit(archive, batch(same_id(f"L{n}"))) for n in range(6)]
    assert [d.counts["conflicts"] for d in deposits] == [0, 1, 1, 1, 1, 1]
    assert counting(archive) == []
    addresses = [f"{d.entry['deposit']}/0" for d in deposits if d.entry is not None]
    withdraw(archive, records=addresses[:1], by=None, reason="wrong")
    assert counting(archive) == [], "five contents are left"
    withdraw(archive, records=addresses[1:5], by=None, reason="wrong")
    assert counting(archive) == ["L5"]
    assert fixity(store.open(archive.root), "deep").sound


def test_one_id_twice_in_one_deposit(archive: Archive) -> None:
    made = deposit(archive, [batch(same_id()), batch(same_id()), batch(same_id(shift=-15.0))])
    assert (made.counts["new"], made.counts["same_file"], made.counts["conflicts"]) == (1, 1, 1)
    assert counting(archive) == []


def test_a_text_alone_makes_another_content(archive: Archive) -> None:
    """The hash that finds equal content leaves out the words of the limit and the cable."""
    deposit(archive, batch(same_id()))
    made = deposit(archive, batch(same_id(cable_type="cat6a/f-utp/awg23/solid")))
    assert made.counts["conflicts"] == 1


def test_the_same_file_under_another_job_is_told(archive: Archive) -> None:
    def of(job: str) -> Any:
        made = same_id(job_id=job, tested_at=datetime(2019, 3, 4, 10, 15, tzinfo=UTC), zone_basis="job")
        made["records"][0]["utc_offset_min"] = 0 if job == "ONE" else 60
        return batch(made)

    deposit(archive, of("ONE"), job="ONE")
    made = deposit(archive, of("TWO"), job="TWO")
    assert made.entry is None and made.counts["same_file"] == 1
    assert [(e["job"], e["records"]) for e in made.plain()["elsewhere"]] == [("ONE", 1)]
    assert "elsewhere" not in deposit(archive, of("ONE"), job="ONE").plain()


@pytest.mark.parametrize("packed", [False, True])
def test_another_reading_of_the_same_bytes_is_no_conflict(archive: Archive, tmp_path: Path, packed: bool) -> None:
    """A later state of a reader finds more in the same file."""
    data = b"invented,cells\n"
    source = tmp_path / ("export.zip" if packed else "export.csv")
    if packed:
        with zipfile.ZipFile(source, "w") as into:
            into.writestr("week 2/export.csv", data)
    else:
        source.write_bytes(data)
    digest = hashlib.sha256(data).hexdigest()
    before, after = (batch(same_id(source=digest, cable_type=c)) for c in (None, "cat6/u-utp/awg23/solid"))
    deposit(archive, before, originals=[(source, source.name)])
    made = deposit(archive, after, originals=[(source, source.name)])
    assert (made.counts["reread"], made.counts["conflicts"]) == (1, 0)
    assert made.entry is not None
    states = archive.db.execute("SELECT replaced, current FROM records ORDER BY row").fetchall()
    assert [tuple(s) for s in states] == [(1, 0), (0, 1)]
