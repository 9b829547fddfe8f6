"""The index of labels: the same whether it grew entry by entry or was made anew, and what it finds against plain
Python over every label."""

from __future__ import annotations

import random
import sqlite3

import pytest

from archive.store.catalogue import link_labels
from archive.store.catalogue.database import in_memory
from archive.store.catalogue.standing_columns import fold, refresh

COLUMNS = "row, deposit, position, link_label, link_key, kind, tested_local, evidence, reported_verdict, medium"


def put(db: sqlite3.Connection, row: int, label: str, day: str = "2019-05-02") -> None:
    values = (row, "d", row, label, f"site\nx\n{label}", "new", day, "full-sweep", "pass", "copper")
    db.execute(f"INSERT INTO records({COLUMNS}) VALUES({', '.join('?' * 10)})", values)


def held(db: sqlite3.Connection) -> list[tuple[object, ...]]:
    return sorted(tuple(r) for r in db.execute("SELECT row, folded, label, former FROM link_labels"))


@pytest.fixture
def db() -> sqlite3.Connection:
    return in_memory()


def grown(db: sqlite3.Connection, labels: list[str]) -> None:
    for row, label in enumerate(labels, 1):
        put(db, row, label)
        refresh(db)


LABELS = ["1A-A01", "1A-A02", "2-TR2-A117", "b 7", "B-07", "Ö/12", "---", "o0", "ends-77"]


def test_it_is_the_same_grown_or_made_anew(db: sqlite3.Connection):
    grown(db, LABELS)
    anew = in_memory()
    for row, label in enumerate(LABELS, 1):
        put(anew, row, label)
    refresh(anew)
    assert held(db) == held(anew) and len(held(db)) == len(LABELS)


def test_a_corrected_label_is_found_by_both_and_its_old_link_no_more(db: sqlite3.Connection):
    grown(db, LABELS)
    db.execute("INSERT INTO amendments VALUES(9, 1, 'link_label', '1A-A01', '3C-Z09')")
    db.execute("UPDATE records SET link_label = '3C-Z09' WHERE row = 1")
    db.execute("UPDATE records SET link_key = 'site' || char(10) || 'x' || char(10) || '3C-Z09' WHERE row = 1")
    refresh(db)
    assert [(h.row, h.label, h.former) for h in link_labels.holding(db, fold("3c-z09") or "")] == [(1, "3C-Z09", 0)]
    assert [(h.row, h.label, h.former) for h in link_labels.holding(db, fold("1a-a01") or "")] == [(1, "1A-A01", 1)]
    refresh(db)
    assert len(held(db)) == len(LABELS) + 1


def test_a_link_stands_by_its_current_record(db: sqlite3.Connection):
    put(db, 1, "1A-A01", "2019-05-02")
    put(db, 2, "1A-A01", "2021-05-02")
    put(db, 3, "1A-A01", "2020-05-02")
    db.execute("UPDATE records SET kind = 'retests', former = 1 WHERE row > 1")
    refresh(db)
    assert [h[0] for h in held(db)] == [2]


def test_what_is_found_is_what_a_walk_over_all_labels_finds(db: sqlite3.Connection):
    """Against plain Python: every folded label that begins with it, or holds it."""
    rng = random.Random(23)
    labels = sorted(
        {f"{rng.randint(0, 9)}{rng.choice('AB')}-{rng.choice('ACF')}{rng.randint(0, 99):02d}" for _ in range(300)}
    )
    for row, label in enumerate(labels, 1):
        put(db, row, label)
    refresh(db)
    folded = {label: fold(label) or "" for label in labels}
    for typed in ("a", "aa", "aa1", "1ac", "b5", "aa12", "9bf99", "7", "zzz", "c77"):
        assert [h.label for h in link_labels.beginning(db, typed)] == sorted(
            (x for x in labels if folded[x].startswith(typed)), key=lambda x: (folded[x], x)
        )
        assert {h.label for h in link_labels.holding(db, typed)} == {x for x in labels if typed in folded[x]}


def test_what_was_typed_is_found_letter_by_letter(db: sqlite3.Connection):
    grown(db, [*LABELS, 'x"y-1', "1a-a013"])
    assert {h.label for h in link_labels.literally(db, "a-A01")} == {"1A-A01", "1a-a013"}
    assert [h.label for h in link_labels.literally(db, '"y-')] == ['x"y-1']
    assert not list(link_labels.literally(db, "AA01"))


def test_many_labels_are_found_by_an_index_and_not_by_a_walk(db: sqlite3.Connection):
    def plan(question: str) -> str:
        return " ".join(r[3] for r in db.execute("EXPLAIN QUERY PLAN " + question))

    grown(db, LABELS)
    assert "SEARCH link_labels USING INDEX link_labels_folded" in plan(
        "SELECT row FROM link_labels WHERE folded >= 'a' AND folded < 'b' ORDER BY folded, label"
    )
    asked: list[str] = []
    db.set_trace_callback(asked.append)
    list(link_labels.holding(db, "aa1"))
    assert "label_grams MATCH" in asked[0]
