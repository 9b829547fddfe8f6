"""The commands check, rules and copies, as a person types them."""

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
from archive.validation import catalogue
from tests.validation import examples

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs the command line; exit code, standard output, standard error."""

    def call(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["muniment", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            main()
        said = capsys.readouterr()
        code = left.value.code
        return (code if isinstance(code, int) else 0), said.out, said.err

    return call


@pytest.fixture
def job(tmp_path: Path) -> Callable[..., Path]:
    """Writes an example as link record XML."""

    def make(*steps: dict[str, Any]) -> Path:
        formats.write([examples.batch({"do": list(steps)})], tmp_path / "job.xml", "xml", replace=True)
        return tmp_path / "job.xml"

    return make


LATER = {"record": {"label": "2-TR2-A118", "seconds": 900, "seed": 2}}


def test_a_clean_job(run: Run, job: Callable[..., Path]) -> None:
    code, out, err = run("check", job(LATER))
    assert code == 0
    assert "2 records, 0 set aside: 0 errors" in err
    assert "error:" not in out


def test_check_json_has_the_agreed_shape(run: Run, job: Callable[..., Path], tmp_path: Path) -> None:
    links = tmp_path / "links.csv"
    links.write_text("Link\n2-TR2-A117\n2-TR2-A199\n", encoding="utf-8")
    path = job(LATER, {"table": "records", "where": {"record_id": "r1"}, "set": {"limit_found": ""}})
    code, out, _ = run("check", path, "--schedule", links, "--json")
    said = json.loads(out)
    assert code == 1
    assert said["records"] == 2
    assert said["missing_links"] == ["2-TR2-A199"]
    assert said["unexpected_links"] == ["2-TR2-A118"]
    keys = {"rule", "severity", "record", "link", "where", "found", "expected", "message", "remedy"}
    assert all(keys <= set(f) for f in said["findings"])
    mine = next(f for f in said["findings"] if f["rule"] == "limit-missing")
    assert (mine["record"], mine["link"], mine["severity"]) == ("r1", "2-TR2-A117", "error")
    assert "week9/links.csv, row 118" in mine["where"]
    assert said["counts"]["limit-missing"] == 1
    assert {"sweep-stops-short"} <= {b["rule"] for b in said["could_not_look"]}
    assert said["faults"] == []


def test_repeats_are_capped_and_the_total_printed(run: Run, job: Callable[..., Path]) -> None:
    records = [{"record": {"label": f"2-TR2-C{n:03d}", "seconds": 600 * n, "seed": n}} for n in range(1, 9)]
    path = job(*records, {"table": "records", "set": {"operator_key": ""}})
    _, out, _ = run("check", path, "--most", 3, "--no-copies")
    assert "warning: operator-missing (9 findings)" in out
    assert out.count("Nobody is named who tested.") == 1, "what is the same for all is said once"
    assert "2-TR2-A117, 2-TR2-C001 to 008" in out
    _, none, _ = run("check", path, "--most", 0, "--no-copies")
    assert "  9 in all" in none
    assert "Nobody is named who tested." not in none
    _, out, _ = run("check", path, "--most", 3, "--no-copies", "--json")
    said = json.loads(out)
    assert sum(f["rule"] == "operator-missing" for f in said["findings"]) == 3
    assert said["counts"]["operator-missing"] == 9


def test_policy_and_today(run: Run, job: Callable[..., Path], tmp_path: Path) -> None:
    policy = tmp_path / "policy.toml"
    policy.write_text('[severity]\nmarginal-result = "error"\n', encoding="utf-8")
    path = job({"table": "records", "set": {"reported_marginal": True}})
    assert run("check", path)[0] == 0
    assert run("check", path, "--policy", policy)[0] == 1
    code, out, _ = run("check", path, "--today", "2025-01-01")
    assert code == 1
    assert "tested-in-the-future" in out


@pytest.mark.parametrize("ending", ["html", "pdf"])
def test_the_acceptance_report(run: Run, job: Callable[..., Path], tmp_path: Path, ending: str) -> None:
    links, report = tmp_path / "links.csv", tmp_path / f"acceptance.{ending}"
    links.write_text("Link\n2-TR2-A117\n2-TR2-A118\n2-TR2-A199\n", encoding="utf-8")
    assert run("check", job(LATER), "--schedule", links, "--report", report)[0] == 1
    data = report.read_bytes()
    if ending == "html":
        text = data.decode()
        assert "Not complete. 2 of 3 scheduled links have a result" in text
        assert "Missing: 2-TR2-A199" in text
    else:
        assert data.startswith(b"%PDF-")
        assert re.findall(rb"/Type\s*/Pages\s*/Count (\d+)", data) == [b"1"]
    assert not list(tmp_path.glob(".acceptance*"))


def test_sarif(run: Run, job: Callable[..., Path], tmp_path: Path) -> None:
    path = job({"table": "records", "set": {"limit_found": ""}})
    assert run("check", path, "--sarif", tmp_path / "out.sarif", "-q")[0] == 1
    said = json.loads((tmp_path / "out.sarif").read_text(encoding="utf-8"))
    assert said["version"] == "2.1.0"
    assert "limit-missing" in {r["ruleId"] for r in said["runs"][0]["results"]}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--report", "out.docx"], "expected a name that ends in .html or .pdf"),
        (["--today", "yesterday"], "expected a day such as"),
        (["--policy", "{bad}"], "zone-missing"),
        (["--schedule", "{odd}"], "link, cable number or label"),
    ],
)
def test_one_clear_line_and_nothing_done(
    run: Run, job: Callable[..., Path], tmp_path: Path, arguments: list[str], says: str
) -> None:
    (tmp_path / "bad.toml").write_text('[severity]\nzone-mising = "error"\n', encoding="utf-8")
    (tmp_path / "odd.csv").write_text("foo,bar\n1,2\n", encoding="utf-8")
    filled = [a.format(bad=tmp_path / "bad.toml", odd=tmp_path / "odd.csv") for a in arguments]
    code, out, err = run("check", job(), *filled)
    assert code == 2
    assert out == ""
    assert says in err
    assert len(err.splitlines()) == 1


def test_what_cannot_be_read_is_a_finding(run: Run, tmp_path: Path, job: Callable[..., Path]) -> None:
    path = job()
    text = path.read_text(encoding="utf-8")
    (tmp_path / "cut.xml").write_text(text[: len(text) // 2], encoding="utf-8")
    code, out, _ = run("check", path, tmp_path / "cut.xml", "--json")
    said = json.loads(out)
    assert code == 1
    assert said["set_aside"] >= 1
    aside = [f for f in said["findings"] if f["rule"] == "record-set-aside"]
    assert aside
    assert "cut.xml" in aside[0]["where"]


def test_rules(run: Run) -> None:
    code, out, _ = run("rules", "list", "--json")
    listed = json.loads(out)["rules"]
    assert code == 0
    assert [r["rule"] for r in listed] == list(catalogue.rules())
    assert all({"rule", "severity", "meaning", "why", "remedy", "source"} <= set(r) for r in listed)
    assert "sweep-stops-short" in run("rules")[1]
    assert json.loads(run("rules", "--json")[1])["rules"] == listed
    assert "Why:" in run("rules", "show", "sweep-stops-short")[1]
    assert json.loads(run("rules", "show", "sweep-stops-short", "--json")[1])["rule"] == "sweep-stops-short"
    code, _, err = run("rules", "show", "sweep-stops-shirt")
    assert code == 2
    assert "sweep-stops-short" in err


def test_copies(run: Run, job: Callable[..., Path]) -> None:
    code, out, _ = run("copies", job({"record": {"label": "2-TR2-A118", "seconds": 3600}}), "--json")
    said = json.loads(out)
    assert code == 1
    assert said["compared"] == 2
    assert 0 < said["false_alarm_rate"] <= 1e-4
    (pair,) = said["pairs"]
    assert {"a", "b", "kind", "score", "parameters"} <= set(pair)
    assert (pair["kind"], pair["score"]) == ("exact", 1.0)
    assert "not known" in said["note"]
    code, out, err = run("copies", job(LATER))
    assert (code, out) == (0, "")
    assert "2 records compared, 0 pairs." in err


def test_copies_names_the_archive_that_filters_need(run: Run, job: Callable[..., Path]) -> None:
    code, _, err = run("copies", job(), "--job", "HARBOUR-2025")
    assert code == 2
    assert "filters are for an archive" in err


def test_copies_of_an_archive(run: Run, job: Callable[..., Path], tmp_path: Path) -> None:
    """A copied result inside an archive is found, by job; one deposited twice is no copy."""
    path = job(
        {"record": {"label": "2-TR2-A118", "seconds": 3600}},
        LATER | {"record": {**LATER["record"], "label": "2-TR2-A119"}},
    )
    archive = tmp_path / "archive"
    assert run("init", archive)[0] == 0
    run("deposit", path, "--into", archive, "--job", "HARBOUR-2025", "--by", "a test")
    run("deposit", path, "--into", archive, "--job", "HARBOUR-2025", "--by", "a test")
    code, out, _ = run("copies", archive, "--job", "HARBOUR-2025", "--json")
    said = json.loads(out)
    assert code == 1
    assert said["compared"] == 3
    assert [{p["link_a"], p["link_b"]} for p in said["pairs"]] == [{"2-TR2-A117", "2-TR2-A118"}]
    code, out, _ = run("copies", archive, "--since", "2044-01-01", "--json")
    assert (code, json.loads(out)["compared"]) == (0, 0)
    code, out, error = run("copies", archive, "--job", "ANOTHER", "--json")
    assert (code, out) == (2, "") and "ANOTHER" in error


def test_check_of_a_job_in_an_archive(run: Run, job: Callable[..., Path], tmp_path: Path) -> None:
    """Over all deposits of a job, with the schedule that was deposited."""
    archive, links = tmp_path / "archive", tmp_path / "links.csv"
    links.write_text("Link\n2-TR2-A117\n2-TR2-A118\n2-TR2-A199\n", encoding="utf-8")
    assert run("init", archive)[0] == 0
    run("deposit", job(), "--into", archive, "--job", "HARBOUR-2025", "--schedule", links, "--by", "a test")
    later = [
        {"record": {"label": "2-TR2-A118", "seconds": 3600}},
        {"table": "sources", "set": {"source_id": "s2"}},
        {"table": "records", "set": {"source_id": "s2"}},
    ]
    run("deposit", job(*later), "--into", archive, "--job", "HARBOUR-2025", "--by", "a test")
    report = tmp_path / "acceptance.html"
    code, out, _ = run("check", archive, "--job", "HARBOUR-2025", "--report", report, "--json")
    said = json.loads(out)
    assert code == 1
    assert said["records"] == 2
    assert said["missing_links"] == ["2-TR2-A199"]
    assert "curves-under-two-links" in said["counts"]
    assert "2 of 3 scheduled links have a result" in report.read_text(encoding="utf-8")
    code, _, err = run("check", job(), "--job", "HARBOUR-2025")
    assert code == 2
    assert "--job is for an archive" in err


def test_a_bug_is_reported_as_a_bug(
    run: Run, job: Callable[..., Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A rule that breaks: lines, JSON, SARIF and the acceptance report all say that the program is at fault, and
    no finding blames the record for it."""
    from archive.validation.rules import job_rules, record_rules

    def broken(look: Any, limits: Any) -> Any:
        raise ZeroDivisionError("planted by a test")

    monkeypatch.delenv("MUNIMENT_TRACEBACK")
    monkeypatch.setitem(record_rules(), "skew-contradicts-delays", broken)
    monkeypatch.setitem(job_rules(), "link-retested", broken)
    path, log, page = job(LATER), tmp_path / "log.sarif", tmp_path / "page.html"
    code, out, err = run("check", path, "--sarif", log, "--report", page)
    assert code == 1
    assert "3 errors" in err  # of two records and of the job, each a bug
    flat = " ".join(out.split())
    for rule in ("skew-contradicts-delays", "link-retested"):
        assert f"a fault of this program, not of your data: the rule {rule} failed" in flat
    assert "skew-contradicts-delays (2 records): the rule failed by a fault of this program" in flat
    (invocation,) = json.loads(log.read_text())["runs"][0]["invocations"]
    assert invocation["executionSuccessful"] is False
    assert "Rules or stages that failed by a fault of the program, not of the records: 2" in page.read_text()
    said = json.loads(run("check", path, "--json")[1])
    assert {f["rule"] for f in said["faults"]} == {"skew-contradicts-delays", "link-retested"}
    assert {f["rule"] for f in said["findings"] if f["severity"] == "error"} == {"fault-of-this-program"}
    assert not {f["rule"] for f in said["findings"]} & {"skew-contradicts-delays", "link-retested"}
