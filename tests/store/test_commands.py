"""The commands that change and check an archive: words, exit codes, JSON, and one line for what a person can mend."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive import formats
from archive.cli import main
from archive.demo.simulator import simulate

Run = Callable[..., tuple[int, Any, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command: exit code, its JSON (or text), what it said on standard error."""

    def go(*words: object) -> tuple[int, Any, str]:
        monkeypatch.setattr(sys, "argv", ["muniment", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        out = json.loads(said.out) if "--json" in words and said.out else said.out
        return int(ended.value.code or 0), out, said.err

    return go


@pytest.fixture
def export(tmp_path: Path) -> Path:
    """An export of twelve simulated links in the open XML form."""
    formats.write(simulate(12, seed=5), tmp_path / "export.xml", "xml")
    return tmp_path / "export.xml"


@pytest.fixture
def archive(run: Run, tmp_path: Path) -> Path:
    assert run("init", tmp_path / "archive", "-q")[0] == 0
    return tmp_path / "archive"


def test_the_whole_life_of_a_deposit(run: Run, archive: Path, export: Path, tmp_path: Path) -> None:
    words = ("deposit", export, "--into", archive, "--job", "HARBOUR-2019-04", "--by", "R. Ostrander")
    code, plan, _ = run(*words, "--dry-run", "--json")
    assert (code, plan["deposit"], plan["new"], plan["dry_run"]) == (0, None, 12, True)
    assert list((archive / "deposits").iterdir()) == []
    code, made, _ = run(*words, "--json")
    assert code == 0, made
    for key in (
        "deposit", "new", "same_file", "reread", "same_content", "renditions", "conflicts", "relabelled", "retests",
        "copied_curves", "set_aside", "findings", "ledger_head",
    ):  # fmt: skip
        assert key in made
    assert made["new"] == 12
    assert made["by_name"] == "R. Ostrander"
    code, again, _ = run(*words, "--json")
    assert (code, again["deposit"], again["same_file"], again["ledger_head"]) == (0, None, 12, made["ledger_head"])
    code, receipt, _ = run("receipt", archive, made["deposit"], "--json")
    assert receipt["ledger_head"] == made["ledger_head"]
    once = ("dry_run", "healed", "schedules")  # said of the run, not of the deposit
    assert receipt == {k: v for k, v in made.items() if k not in once}
    for depth in ("count", "digest", "deep"):
        code, sound, _ = run("fixity", archive, "--depth", depth, "--expect", made["ledger_head"], "--json")
        assert (code, sound["sound"], sound["depth"]) == (0, True, depth)
        assert sound["ledger"]["head"] == made["ledger_head"]
        assert sound["findings"] == []
    record = f"{made['deposit']}/3"
    assert run("prove", archive, record, "-o", tmp_path / "proof.json", "-q")[0] == 0
    code, proof, _ = run("verify", tmp_path / "proof.json", "--expect", made["ledger_head"], "--json")
    assert (code, proof["verified"], proof["ledger_head"]) == (0, True, made["ledger_head"])
    text = (tmp_path / "proof.json").read_text()
    (tmp_path / "proof.json").write_text(text.replace("insertion_loss", "insertion_gain"))
    assert run("verify", tmp_path / "proof.json", "--json")[0] == 1


def test_what_is_done_to_it_later(run: Run, archive: Path, export: Path, tmp_path: Path) -> None:
    assert run("me", "A. Clerk")[0] == 0
    _, made, _ = run("deposit", export, "--into", archive, "--job", "J", "--json")
    assert made["by_name"] == "A. Clerk"
    first, second = f"{made['deposit']}/0", f"{made['deposit']}/1"
    code, amended, _ = run("amend", archive, "--job", "J", "--set", "site=Lantern Quay", "--reason", "x", "--json")
    assert (code, amended["changed"]) == (0, 12)
    table = tmp_path / "labels.csv"
    table.write_text(f"record,field,value\n{first},link_label,NEW-1\n{second},link_label,NEW-2\n")
    code, amended, _ = run("amend", archive, "--from", table, "--json")
    assert [c["new"] for c in amended["changes"]] == ["NEW-1", "NEW-2"]
    code, gone, _ = run("withdraw", archive, "--record", first, "--reason", "x", "--json")
    assert (code, gone["records"]) == (0, [first])
    assert run("hold", archive, "--job", "J", "--reason", "claim")[0] == 0
    code, _, err = run("redact", archive, "--name", "A. Clerk")
    assert code == 2
    assert "hold" in err
    assert run("hold", archive, "--job", "J", "--release")[0] == 0
    code, redacted, _ = run("redact", archive, "--name", "A. Clerk", "--by", "Somebody Else", "--json")
    assert code == 0
    assert redacted["people"] >= 6
    code, due, _ = run("hold", archive, "--due", "2100-01-01", "--json")
    assert due["retention"] == [{"job": "J", "retain_until": None, "basis": None, "over": False, "held": False}]
    code, regraded, _ = run(
        "regrade", archive, "--against", "tia-568.2-d/cat6/permanent-link", "--workers", "2", "--json"
    )
    assert regraded["records"] == 11, "the withdrawn one is out"
    assert code == (1 if regraded["changed"] else 0)
    code, copied, _ = run("export", archive, "--to", tmp_path / "copy", "--json")
    assert (code, copied["first"]) == (0, 0)
    victim = next(archive.glob("deposits/*/*/data/index.parquet"))
    victim.unlink()
    code, broken, _ = run("fixity", archive, "--json")
    assert (code, broken["sound"]) == (1, False)
    code, mended, _ = run("repair", archive, "--from", tmp_path / "copy", "--json")
    assert (code, mended["mended"]) == (0, [victim.relative_to(archive).as_posix()])
    assert run("fixity", archive, "--depth", "deep", "--json")[0] == 0


def test_keys_and_merge(run: Run, archive: Path, export: Path, tmp_path: Path) -> None:
    pytest.importorskip("cryptography")
    code, keys, _ = run("keys", "make", archive, "--json")
    assert (code, len(keys["keys"])) == (0, 1)
    assert run("deposit", export, "--into", archive, "--job", "J", "-q")[0] == 0
    _, sound, _ = run("fixity", archive, "--json")
    assert sound["ledger"]["signatures"] == {"signed": 2, "unsigned": 1}
    assert run("keys", "make", archive)[0] == 0
    code, keys, _ = run("keys", "retire", archive, "--key", keys["keys"][0]["key"], "--json")
    assert sum(k["retired"] is None for k in keys["keys"]) == 1
    assert run("init", tmp_path / "other")[0] == 0
    assert run("deposit", export, "--into", tmp_path / "other", "--job", "K", "-q")[0] == 0
    code, merged, _ = run("merge", archive, tmp_path / "other", "--json")
    assert (code, merged["deposits"], merged["same_file"]) == (0, 1, 12)
    assert run("fixity", archive, "--depth", "deep", "--json")[0] == 0


def test_a_rereading_refers_to_the_old_and_stores_nothing_twice(run: Run, archive: Path, export: Path) -> None:
    _, made, _ = run("deposit", export, "--into", archive, "--job", "J", "--json")
    code, again, _ = run("reread", archive, "--deposit", made["deposit"], "--json")
    assert (code, again["deposit"], again["same_file"]) == (0, None, 12), "nothing changed, so nothing is new"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("deposit", "{export}", "--into", "{tmp}/none", "--job", "J"), "no such archive"),
        (("deposit", "{export}", "--into", "{tmp}", "--job", "J"), "no archive"),
        (("deposit", "{tmp}/none.xml", "--into", "{archive}", "--job", "J"), "none.xml"),
        (("deposit", "{export}", "--into", "{archive}", "--job", "J", "--zone", "Europe/Lisboa"), "Europe/Lisbon"),
        (("deposit", "{export}", "--into", "{archive}"), "--job"),
        (("init", "{archive}"), "already"),
        (("receipt", "{archive}", "none"), "no deposit"),
        (("fixity", "{tmp}"), "no archive"),
        (("fixity", "{archive}", "--depth", "deeper"), "deeper"),
        (("prove", "{archive}", "none"), "no record"),
        (("verify", "{export}"), "no proof"),
        (("amend", "{archive}", "--set", "site=x"), "which records"),
        (("amend", "{archive}", "--record", "r", "--set", "site"), "FIELD=VALUE"),
        (("withdraw", "{archive}"), "nothing to withdraw"),
        (("redact", "{archive}"), "what is to go"),
        (("redact", "{archive}", "--name", "Nobody"), "in no table"),
        (("hold", "{archive}", "--due", "soon"), "not a date"),
        (("keys", "retire", "{archive}", "--key", "x"), "no key"),
        (("stamp", "{archive}"), "one of"),
        (("repair", "{archive}", "--from", "{tmp}"), "no copy"),
        (("merge", "{archive}", "{archive}"), "same archive"),
        (("export", "{archive}", "--to", "{export}"), "no copy"),
        (("regrade", "{archive}", "--against", "none"), "none"),
        (("reread", "{archive}", "--deposit", "none"), "no deposit"),
    ],
)
def test_what_a_person_can_mend_is_one_line_and_exit_code_2(
    run: Run, archive: Path, export: Path, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    names = {"archive": archive, "export": export, "tmp": tmp_path}
    before = {p: p.stat().st_mtime_ns for p in archive.rglob("*")}
    code, _, err = run(*(w.format(**names) for w in words))
    assert code == 2
    assert said in err
    lines = [line for line in err.splitlines() if not line.startswith(("Usage:", "Try ")) and line]
    assert len(lines) == 1
    after = {p: p.stat().st_mtime_ns for p in archive.rglob("*") if p.name != "aside"}
    assert after == {p: t for p, t in before.items() if p.name != "aside"}


def test_find_says_whether_there_is_more(run: Run, archive: Path, export: Path) -> None:
    run("deposit", export, "--into", archive, "--job", "J", "--by", "R. Ostrander")
    for most, shown, more in ((11, 11, True), (12, 12, False), (13, 12, False), (0, 12, False)):
        _, found, said = run("find", archive, "--most", most, "--json")
        assert (len(found["records"]), found["more"]) == (shown, more)
        _, text, said = run("find", archive, "--most", most)
        records = re.findall(r"\bre-[0-9a-f]{32}\b", text)
        assert (len(records), "shows all" in said) == (shown, more)


def test_find_and_a_receipt_name_a_conflict(run: Run, archive: Path, export: Path, tmp_path: Path) -> None:
    """One test with two verdicts, in two jobs: neither line may read as if it simply passed."""
    one, other = tmp_path / "one.xml", tmp_path / "other.xml"
    run("convert", export, "--to", one)
    text = one.read_text()
    other.write_text(text.replace('reported_verdict="pass"', 'reported_verdict="fail"'))
    assert other.read_text() != text
    run("deposit", one, "--into", archive, "--job", "J", "--by", "R. Ostrander", "--new")
    _, told, said = run("deposit", other, "--into", archive, "--job", "K", "--by", "R. Ostrander", "--new")
    assert "shows what is in conflict; compare each" in " ".join((told + said).split())
    _, found, _ = run("find", archive, "--json", "--most", 0)
    _, text, _ = run("find", archive, "--most", 0)
    against = [r for r in found["records"] if r["outcome"] == "in_conflict"]
    assert against
    assert len(re.findall(r"\bin conflict$", text, re.M)) == len(against)
