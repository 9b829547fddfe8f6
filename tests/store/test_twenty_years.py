"""Twenty years of an archive, told in order: what a records clerk does to it, what happens to it, and what is left.

Everything in it is invented; the links are simulated. Each step is a command that a person types.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from archive import formats
from archive.cli import main
from archive.demo.simulator import simulate
from archive.store import clock
from archive.tables import Batch, schema

JOB, SITE = "HARBOUR-2019-04", "Lantern Quay 4"
KESTREL = Path(__file__).resolve().parents[2] / "fixtures" / "exports" / "whimbrel-rows"

Run = Callable[..., tuple[int, Any]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    def go(*words: object) -> tuple[int, Any]:
        monkeypatch.setattr(sys, "argv", ["muniment", *map(str, words), "--json"])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        assert "Traceback" not in said.err, said.err
        return int(ended.value.code or 0), json.loads(said.out) if said.out else said.err

    return go


@pytest.fixture
def it_is(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Sets the clock of the machine."""

    def set_clock(day: str) -> None:
        at = datetime.fromisoformat(f"{day}T09:00").replace(tzinfo=UTC)
        monkeypatch.setattr(clock, "now", lambda: at)

    return set_clock


def measured(labels: list[str], day: str, serial: str, seed: int) -> Batch:
    """Full sweeps of some links, tested one after the other on one day with one instrument."""
    made = next(simulate(len(labels), seed=seed, configuration="permanent-link"))
    records, units = made["records"], made["instruments"]
    times = [f"{day}T{8 + i // 12:02d}:{i % 12 * 5:02d}" for i in range(len(labels))]
    names = pa.array([f"{i}-{serial}" for i in units["instrument_id"].to_pylist()])
    changed: dict[str, Any] = {
        "record_id": pa.array([f"{r}-{serial}-{day}" for r in records["record_id"].to_pylist()]),
        "link_label": pa.array(labels),
        "tested_found": pa.array(times),
        "tested_local": pa.array(times),
    }
    for name in ("job_id", "tested_at", "utc_offset_min", "zone_basis", "source_id", "source_place"):
        changed[name] = pa.nulls(len(labels), schema("records").field(name).type)
    for end in ("local", "remote"):
        ids = records[f"{end}_instrument_id"].to_pylist()
        changed[f"{end}_instrument_id"] = pa.array([f"{i}-{serial}" for i in ids])
    rename = dict(zip(records["record_id"].to_pylist(), changed["record_id"].to_pylist(), strict=True))
    tables = {name: table for name, table in made.items() if name not in ("sources", "jobs")}
    for name, table in tables.items():
        if name != "records" and "record_id" in table.column_names:
            column = pa.array([rename[r] for r in table["record_id"].to_pylist()], pa.string())
            tables[name] = table.set_column(table.column_names.index("record_id"), "record_id", column)
    for name, column in changed.items():
        at = tables["records"].column_names.index(name)
        tables["records"] = tables["records"].set_column(at, name, column)
    units = units.set_column(units.column_names.index("instrument_id"), "instrument_id", names)
    serials = pa.array([f"{serial}-{unit}" for unit in units["unit"].to_pylist()])
    tables["instruments"] = units.set_column(units.column_names.index("serial"), "serial", serials)
    return Batch(tables)


def test_twenty_years(run: Run, it_is: Callable[[str], None], tmp_path: Path) -> None:
    archive, copy = tmp_path / "certificates", tmp_path / "second copy"
    floor1 = [f"1-TR1-A{n:02d}" for n in range(1, 13)]
    floor2 = [f"2-TR2-A{n:02d}" for n in range(1, 9)]
    floor3 = [f"3-TR3-A{n:02d}" for n in range(1, 7)]

    # March 2019. A new archive, a job, the list of what is to be built.
    it_is("2019-03-01")
    assert run("me", "R. Ostrander")[0] == 0
    assert run("init", archive)[0] == 0
    (tmp_path / "links.csv").write_text("link\n" + "\n".join(floor1 + floor2 + floor3) + "\n")

    # The first instrument: twelve links, two of which failed somebody's eye and were tested again the same day.
    it_is("2019-03-05")
    formats.write([measured(floor1, "2019-03-04", "40-1", 1)], tmp_path / "week1.xml", "xml")
    twice = [measured(floor1[:2], "2019-03-04", "40-1", 2)]
    twice[0] = _later(twice[0], "2019-03-04T16:")
    formats.write(twice, tmp_path / "evening.xml", "xml")
    words = ("--into", archive, "--job", JOB, "--site", SITE, "--zone", "Europe/Lisbon")
    _, week1 = run(
        "deposit", tmp_path / "week1.xml", tmp_path / "evening.xml", *words, "--schedule", tmp_path / "links.csv"
    )
    assert (week1["new"], week1["retests"], week1["set_aside"]) == (12, 2, 0)
    receipt_on_paper = week1["ledger_head"]

    # The second and the third instrument: another layout of the open form, and a layout of their own.
    it_is("2019-03-12")
    formats.write([measured(floor2, "2019-03-11", "50-2", 3)], tmp_path / "week2.zip", "csv")
    _, week2 = run("deposit", tmp_path / "week2.zip", *words)
    assert week2["new"] == 8
    wrong = tmp_path / "whimbrel.toml"
    wrong.write_text((KESTREL / "mapping.toml").read_text().replace('unit = "ft"', 'unit = "m"'))
    _, annexe = run("deposit", KESTREL / "Messungen.csv", "--into", archive, "--job", "ANNEXE", "--mapping", wrong)
    assert annexe["new"] > 0
    code, so_far = run("progress", archive, "--job", JOB)
    assert code == 1
    assert sorted(so_far["missing"]) == floor3
    assert run("export", archive, "--to", copy)[0] == 0

    # Three weeks late, the subcontractor's files, from a fourth instrument.
    it_is("2019-04-02")
    formats.write([measured(floor3, "2019-03-13", "60-4", 4)], tmp_path / "late.xml", "xml")
    _, late = run("deposit", tmp_path / "late.xml", *words)
    assert late["new"] == 6
    _, complete = run("progress", archive, "--job", JOB)
    # Two links have tests that contradict each other as cables do: each side counts.
    assert (complete["scheduled"], complete["missing"], complete["in_doubt"]) == (26, [], 4)
    assert complete["tested"] - complete["further_sides"] == 26

    # A month later somebody sees that the annexe's lengths are three times too long: feet were taken for metres.
    it_is("2019-05-06")
    code, anew = run(
        "reread", archive, "--deposit", annexe["deposit"], "--mapping", KESTREL / "mapping.toml", "--reason", "feet"
    )
    assert anew["reread"] == annexe["records"]

    # 2021: room TR2 becomes TR7. One event, eight links, nothing rewritten.
    it_is("2021-09-01")
    _, found = run("find", archive, "--job", JOB, "--most", "0")
    by_label = {r["link"]: r["record"] for r in found["records"] if r["standing"]}
    table = tmp_path / "renamed.csv"
    lines = [f"{by_label[label]},link_label,{label.replace('TR2', 'TR7')}" for label in floor2]
    table.write_text("record,field,value\n" + "\n".join(lines) + "\n")
    _, amended = run("amend", archive, "--from", table, "--reason", "TR2 is now TR7")
    assert amended["changed"] == 8
    code, former = run("find", archive, "--link", "2-TR2-A03")
    assert code == 0
    assert former["records"], "found by its former name"

    # 2022: a colleague hands in a file in which a label was edited. It is told, and does not count.
    it_is("2022-02-02")
    text = (tmp_path / "week1.xml").read_text()
    (tmp_path / "corrected.xml").write_text(text.replace('"1-TR1-A05"', '"1-TR1-A99"').replace('-2019-03-04"', '-bis"'))
    code, edited = run("deposit", tmp_path / "corrected.xml", *words)
    assert edited["relabelled"] == 1
    assert edited["same_content"] == 11
    _, both = run("find", archive, "--link", "1-TR1-A99")
    assert [r["standing"] for r in both["records"]] == [False]
    assert run("withdraw", archive, "--record", both["records"][0]["record"], "--reason", "edited by mistake")[0] == 0

    # 2026: graded again against another edition of the standard. What stood stays; what changed is told.
    it_is("2026-11-25")
    _, regraded = run("regrade", archive, "--against", "tia-568-b/cat6a/permanent-link", "--job", JOB)
    assert regraded["records"] == 26 + 2
    assert run("export", archive, "--to", copy)[0] == 0

    # 2030: a damaged disk. The damage is named, and mended from the second copy.
    it_is("2030-06-01")
    victim = next((archive / "deposits").glob(f"*/{week2['deposit']}/data/tables/sweeps-*.parquet"))
    victim.chmod(0o644)
    data = victim.read_bytes()
    victim.write_bytes(data[:5000] + bytes([data[5000] ^ 4]) + data[5001:])
    code, broken = run("fixity", archive)
    assert code == 1
    assert [d["path"] for d in broken["damaged"]] == [victim.relative_to(archive).as_posix()]
    code, mended = run("repair", archive, "--from", copy)
    assert (code, mended["left"]) == (0, [])
    shutil.rmtree(archive / "aside" / "damaged")

    # 2033: the depositor asks that the name be taken out.
    it_is("2033-03-03")
    code, redacted = run("redact", archive, "--name", "R. Ostrander", "--by", "A. Clerk", "--reason", "request")
    assert code == 0
    assert redacted["still_in"] == []
    assert not [p for p in archive.rglob("people.*") if b"R. Ostrander" in p.read_bytes()]

    # 2039: link 2-TR7-A03 fails, twenty years after it was certified. The claim file proves itself.
    it_is("2039-03-11")
    out = tmp_path / "claim"
    code, _ = run("claim", archive, "2-TR7-A03", "--job", JOB, "--out", out, "--reason", "letter of 3 March")
    assert code in (0, 1)
    code, verified = run("verify", out / "data" / "proof.json")
    assert (code, verified["verified"]) == (0, True)
    _, told = run("history", archive, "2-TR7-A03", "--job", JOB)
    assert told["standing"] == by_label["2-TR2-A03"]
    kinds = {e["kind"] for e in told["entries"]}
    assert len(kinds) >= 3, kinds

    # Everything is as it was, and today's ledger continues the head on the receipt of 2019.
    code, sound = run("fixity", archive, "--depth", "deep", "--expect", receipt_on_paper)
    assert code == 0, sound["damaged"]
    assert (sound["sound"], sound["deposits"]) == (True, 6)
    _, proof = run("prove", archive, by_label["1-TR1-A05"], "--since", receipt_on_paper)
    (tmp_path / "proof.json").write_text(json.dumps(proof))
    code, verified = run("verify", tmp_path / "proof.json", "--expect", receipt_on_paper)
    assert (code, verified["verified"]) == (0, True)


def _later(batch: Batch, hour: str) -> Batch:
    """The same tests in the evening."""
    records = batch["records"]
    times = pa.array([f"{hour}{i * 5:02d}" for i in range(len(batch))])
    for name in ("tested_found", "tested_local"):
        records = records.set_column(records.column_names.index(name), name, times)
    tables = {**dict(batch.items()), "records": records}
    for name, table in tables.items():
        if "record_id" in table.column_names:
            column = pa.array([f"{r}-evening" for r in table["record_id"].to_pylist()], pa.string())
            tables[name] = table.set_column(table.column_names.index("record_id"), "record_id", column)
    return Batch(tables)
