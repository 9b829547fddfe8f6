"""A deposit at the desk from the drop to the receipt; what others do meanwhile; and what is left when it is killed."""

from __future__ import annotations

import json
import os
import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive import file_lock, store
from archive.store import Archive, memory
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from tests.room.clerk import Clerk, export, query, text_of
from tests.room.serving import ROOT, Answer, Room, muniment

JOB = "PIER-2026-03"
KILLING = str(ROOT / "tests" / "room" / "killing")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an empty archive and its user's settings."""
    folder = tmp_path_factory.mktemp("desk")
    env = {**os.environ, "MUNIMENT_CACHE": str(folder / "cache"), "MUNIMENT_CONFIG": str(folder / "config")}
    env["PYTHONPATH"] = os.pathsep.join((str(ROOT), str(ROOT / "archive" / "public")))
    muniment("init", str(folder / "archive"), env=env)
    muniment("me", "R. Ostrander", env=env)
    muniment("keys", "make", str(folder / "archive"), env=env)
    return folder


@pytest.fixture(scope="module")
def desk(place: Path, monkeypatch_module: pytest.MonkeyPatch) -> Iterator[Room]:
    """A room with a desk, whose children can be killed."""
    monkeypatch_module.setenv("DESK_KILL", str(place / "kill"))
    found = Room(place / "archive", place, "--desk", before=(KILLING,))
    yield found
    found.close()


@pytest.fixture(scope="module")
def monkeypatch_module() -> Iterator[pytest.MonkeyPatch]:
    with pytest.MonkeyPatch.context() as patch:
        yield patch


@pytest.fixture(scope="module")
def clerk(desk: Room) -> Clerk:
    return Clerk.at(desk)


def planned(clerk: Clerk, files: dict[str, bytes], **form: str) -> tuple[str, Answer]:
    """Hands files in up to the plan: the id of the dry run, and the page of the plan."""
    tray = ""
    for name, data in files.items():
        tray = json.loads(clerk.send_file(name, data, tray).body)["tray"]
    begun = clerk.send("/hand-in/dry-run", {"tray": tray, "job": JOB, **form})
    number = query(begun, "id")
    ended = clerk.ended(number)
    assert "Nothing was written." in text_of(ended), text_of(ended)
    return number, clerk.see(f"/hand-in/plan?id={number}")


def confirmed(clerk: Clerk, number: str, plan: Answer) -> str:
    """Confirms a plan: the id of the deposit's work."""
    return query(clerk.send("/hand-in/confirm", form_of(number, plan)), "id")


def form_of(number: str, plan: Answer) -> dict[str, str]:
    found = {name: re.search(rf'name="{name}" value="(\w+)"', plan.body) for name in ("plan", "head")}
    return {"id": number, **{name: match[1] for name, match in found.items() if match}}


def records(desk: Room) -> set[str]:
    """Labels of the job's records, asked of the archive itself."""
    rows = find(_caught_up(desk).db, Filters(job=JOB))
    return {r["link_label"] for r in rows}


def deposits(desk: Room) -> int:
    return int(_caught_up(desk).db.execute("SELECT count(*) FROM deposits").fetchone()[0])


def _caught_up(desk: Room) -> Archive:
    archive = store.open(desk.archive)
    archive.catch_up()
    return archive


def test_from_the_drop_to_the_receipt(clerk: Clerk, desk: Room, place: Path) -> None:
    listed = b"Link;Floor\n1A-01;1\n1A-02;1\n1A-03;1\n"
    files = {"week 1/tests.xml": export(place, JOB, "1A-01", "1A-02"), "links.csv": listed, "minutes.pdf": b"no test"}
    number, plan = planned(clerk, files, site="Pier 3", zone="Europe/Lisbon")
    told = text_of(plan)
    assert plan.status == 200 and "2 new" in told and "Missing against the list of links: 1 1A-03" in told, told
    assert "minutes.pdf" in told and "could not be read" in told and not deposits(desk)
    for wrong in ({"plan": "0" * 64}, {"head": "0" * 64}):
        clerk.send("/hand-in/confirm", {**form_of(number, plan), **wrong}, status=422)
    first, second = (confirmed(clerk, number, plan) for _ in range(2))  # a double click
    assert first == second
    ended = clerk.ended(first)
    assert "Archived as deposit" in text_of(ended) and "done, with something to look at" in text_of(ended)
    assert deposits(desk) == 1 and records(desk) == {"1A-01", "1A-02"}
    deposit = re.search(r"deposit=([-0-9a-f]+)", ended.body)
    assert deposit is not None
    entry = max((desk.archive / "ledger").rglob("*.json")).read_text()
    assert '"ed25519"' in entry and '"confirmed"' in entry  # signed as the commands of this user sign
    page = clerk.see(f"/receipt?deposit={deposit[1]}")
    assert re.search(r"scheduled 3 .*= tested 2 \+ missing 1", text_of(page))
    receipt = clerk.see(f"/receipt/file?deposit={deposit[1]}&form=txt")
    assert receipt.headers["content-disposition"].startswith("attachment") and "sandbox" in str(receipt.headers)
    assert "week 1/tests.xml" in receipt.body and deposit[1] in receipt.body
    assert "This plan was confirmed" in text_of(clerk.see(f"/hand-in/plan?id={number}"))


def test_what_does_not_concern_it_may_come_to_the_ledger_meanwhile(clerk: Clerk, desk: Room, place: Path) -> None:
    number, plan = planned(clerk, {"a.xml": export(place, JOB, "2B-01")})
    desk.command("job", str(desk.archive), JOB, "--set", "crew=Crew 7")
    assert "1 entry has come to the ledger since" in text_of(clerk.see(f"/hand-in/plan?id={number}"))
    ended = text_of(clerk.ended(confirmed(clerk, number, plan)))
    assert "Archived as deposit" in ended and "1 entry came to the ledger between dry run and deposit" in ended
    assert "2B-01" in records(desk)


def test_two_desks_confirm_the_same_and_one_of_them_is_asked_again(clerk: Clerk, desk: Room, place: Path) -> None:
    """Two servers on one archive, as two clerks at the terminal: the second finds the first's records there."""
    other_room = Room(desk.archive, place, "--desk")
    try:
        other = Clerk.at(other_room)
        data = export(place, JOB, "3C-01", "3C-02")
        one, first = planned(clerk, {"x.xml": data})
        two, second = planned(other, {"y.xml": data, "z.xml": export(place, JOB, "3C-03")})
        before = deposits(desk)
        assert "Archived" in text_of(clerk.ended(confirmed(clerk, one, first)))
        late = confirmed(other, two, second)
        ended = text_of(other.ended(late))
        assert "Nothing was archived: by now it would come to something else" in ended and deposits(desk) == before + 1
        anew = other.see(f"/hand-in/plan?id={late}")
        told = text_of(anew)
        assert "It comes to something else than what was confirmed before" in told, told
        assert "new 3 then, 1 now" in told and "here already: the same file 0 then, 2 now" in told
        assert "Archived as deposit" in text_of(other.ended(confirmed(other, late, anew)))
        assert {"3C-01", "3C-02", "3C-03"} <= records(desk) and deposits(desk) == before + 2
    finally:
        other_room.close()


STEPS = {
    "before anything": ({"what": "mkdir", "part": "aside", "after": False}, False),
    "while the bag is written": ({"what": "fsync", "part": "tables", "after": False}, False),
    "before the bag has its place": ({"what": "rename", "part": "deposits", "after": False}, False),
    "before the entry": ({"what": "link", "part": "ledger", "after": False}, False),
    "after the entry": ({"what": "link", "part": "ledger", "after": True}, True),
}


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL there")
@pytest.mark.parametrize("stage", STEPS)
def test_a_killed_worker_leaves_the_archive_before_or_after(clerk: Clerk, desk: Room, place: Path, stage: str) -> None:
    order, committed = STEPS[stage]
    label = f"4D-0{list(STEPS).index(stage)}"
    number, plan = planned(clerk, {"k.xml": export(place, JOB, label)})
    before = deposits(desk)
    (place / "kill").write_text(json.dumps(order))
    killed = confirmed(clerk, number, plan)
    ended = clerk.ended(killed)
    assert not (place / "kill").exists() and "broken off" in text_of(ended), text_of(ended)
    assert ("The archive is as after it" in text_of(ended)) is committed
    assert ("The archive is as before" in text_of(ended)) is not committed
    assert (label in records(desk)) is committed and deposits(desk) == before + committed
    assert confirmed(clerk, number, plan) == killed  # one plan is one deposit
    if committed:
        return
    again = clerk.send("/running/again", {"id": killed})
    assert "Archived as deposit" in text_of(clerk.ended(query(again, "id")))
    assert label in records(desk) and deposits(desk) == before + 1


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL there")
def test_a_killed_server_is_started_again_and_finds_the_work(desk: Room, place: Path) -> None:
    first = Room(desk.archive, place, "--desk")
    clerk = Clerk.at(first)
    number, plan = planned(clerk, {"s.xml": export(place, JOB, "5E-01")})
    work = confirmed(clerk, number, plan)
    first.process.send_signal(signal.SIGKILL)
    first.process.wait(20)
    second = Room(desk.archive, place, "--desk")
    try:
        again = Clerk.at(second)
        assert "Archived as deposit" in text_of(again.ended(work)) and "5E-01" in records(desk)
        assert "Deposit" in text_of(again.see("/running"))
    finally:
        second.close()


def test_a_stop_leaves_the_archive_as_it_was(
    clerk: Clerk, desk: Room, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two others hold the turns, so that it is stopped while it waits; the page says that nothing was archived."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(place / "cache"))  # that of the desk's user, not of this test's
    folder = memory.folder(store.open(desk.archive).id)
    assert folder is not None
    (folder / "desk" / "work").mkdir(parents=True, exist_ok=True)
    held = [file_lock.lock(folder / "desk" / "work" / f"turn-{n}") for n in range(2)]
    try:
        tray = query(clerk.upload({"t.xml": export(place, JOB, "6F-01")}), "tray")
        number = query(clerk.send("/hand-in/dry-run", {"tray": tray, "job": JOB}), "id")
        until = time.monotonic() + 60
        while "Others run before it" not in (page := text_of(clerk.see(f"/running/one?id={number}"))):
            assert time.monotonic() < until, page
            time.sleep(0.1)
        assert "waiting for its turn" in page
        clerk.send("/running/stop", {"id": number})
        ended = text_of(clerk.ended(number))
    finally:
        for file in held:
            file.close()
    assert "stopped" in ended and "Nothing of it was archived" in ended
    again = clerk.send("/running/again", {"id": number})
    assert "Look over the plan" in text_of(clerk.ended(query(again, "id")))


def test_what_fails_says_why_and_what_to_do(clerk: Clerk, place: Path) -> None:
    tray = query(clerk.upload({"t.xml": export(place, JOB, "7G-01")}), "tray")
    begun = clerk.send("/hand-in/dry-run", {"tray": tray, "job": JOB, "zone": "Moon/Crater"})
    told = text_of(clerk.ended(query(begun, "id")))
    assert "failed" in told and "Moon/Crater" in told and "what happened" in told
    clerk.send("/hand-in/dry-run", {"tray": tray, "job": ""}, status=422)
    assert clerk.see("/running/one?id=../../x").status == 404
    clerk.send("/running/stop", {"id": "../" * 5}, status=404)


def test_a_list_of_links_is_handed_in_by_itself(clerk: Clerk) -> None:
    listed = b"Cable;Storey\n8H-01;2\n8H-02;2\n"
    tray = json.loads(clerk.send_file("what was to be built.csv", listed).body)["tray"]
    option = re.search(r'<option value="([0-9a-f]{20})">', clerk.see(f"/hand-in/tray?tray={tray}").body)
    assert option is not None
    form = {"tray": tray, "job": "PIER-2026-04", "site": "Pier 4", "new": "yes", "schedule": option[1]}
    begun = clerk.send("/hand-in/dry-run", {**form, "column_link_label": "Cable", "whole_schedule": "yes"})
    number = query(begun, "id")
    clerk.ended(number)
    plan = clerk.see(f"/hand-in/plan?id={number}")
    assert "Missing against the list of links: 2 8H-01, 8H-02" in text_of(plan), text_of(plan)
    assert "Archived as deposit" in text_of(clerk.ended(confirmed(clerk, number, plan)))
    shown = text_of(clerk.see("/look-after/schedule?job=PIER-2026-04"))
    assert "2 links of PIER-2026-04 were to be built" in shown and "8H-02" in shown
