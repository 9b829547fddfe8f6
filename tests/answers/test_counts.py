"""One way to count: every document of ten random jobs says the same numbers, and those that were planted.

The numbers that are expected are counted here, from what was planted of each link, without a look at the program.
"""

from __future__ import annotations

import datetime as dt
import json
import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import muniment
import pytest
from click.testing import CliRunner

from archive import schemas, store
from archive.answers.book import gather as book
from archive.answers.book.job_sections import summary
from archive.answers.claim.gather import gather as claim
from archive.answers.jobs import state
from archive.answers.progress import progress
from archive.answers.records import places, read
from archive.answers.wording import ENGLISH
from archive.cli import cli
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.tables import Batch
from archive.validation.job import JobCheck
from archive.vocabulary.link_counts import COUNTS, LISTED, OUTCOMES
from tests.store import store_making as making

JOB = "HARBOUR-2019-04"
CAT6, CAT6A = "tia-568.2-d/cat6/permanent-link", "tia-568.2-d/cat6a/permanent-link"
DUE, TODAY = "2019-03-10", dt.date(2019, 4, 1)


@dataclass
class Planted:
    """A job. expected: labels by count; second: records that come in a second deposit."""

    records: list[making.Rows] = field(default_factory=list)
    second: list[making.Rows] = field(default_factory=list)
    schedule: list[dict[str, Any]] = field(default_factory=list)
    expected: dict[str, list[str]] = field(default_factory=lambda: {name: [] for name in COUNTS})
    required: str = ""
    number: int = 0

    def record(self, label: str, verdict: str | None = "pass", **more: Any) -> making.Rows:
        """A test with whole curves of its own and this program's verdict."""
        self.number += 1
        ours = {"provisional": False, "marginal": None, "limit_id": CAT6} | more.pop("ours", {})
        day, minute = more.pop("day", 4), self.number
        time = f"2019-03-{day:02d}T{8 + minute // 60:02d}:{minute % 60:02d}"
        plan = {"time": time, "shift": 0.3 * self.number, "place": f"row {self.number}"} | more
        made = making.rows(label, **plan)
        key = {"record_id": made["records"][0]["record_id"], "limits_version": "tests", "program": "tests"}
        made["verdicts"] = [{**key, "verdict": verdict, **ours}]
        return made

    def alone(self, label: str, verdict: str | None, **more: Any) -> making.Rows:
        """A test of which only the instrument's verdict came along."""
        made = self.record(label, "not graded", evidence="verdict-only", reported_verdict=verdict, **more)
        return {**made, "sweeps": [], "readings": [], "wiremap": []}

    def link(
        self, label: str, counts: tuple[str, ...], *records: making.Rows, second: tuple[making.Rows, ...] = ()
    ) -> None:
        """A link of these tests, and the counts that it must be in."""
        self.records.extend(records)
        self.second.extend(second)
        for name in counts:
            self.expected[name].append(label)


def _passes(job: Planted, label: str) -> None:
    job.link(label, ("tested", "passing"), job.record(label))


def _marginal(job: Planted, label: str) -> None:
    job.link(label, ("tested", "passing", "marginal"), job.record(label, ours={"marginal": True}))


def _fails_from_memory(job: Planted, label: str) -> None:
    made = job.record(label, "fail", ours={"provisional": True}, reported_verdict="pass")
    job.link(label, ("tested", "failing", "provisional"), made)


def _does_not_reach(job: Planted, label: str) -> None:
    job.link(label, ("tested", "not_graded"), job.record(label, "not graded", reported_verdict="pass"))


def _instrument(verdict: str | None, name: str) -> Callable[[Planted, str], None]:
    def plant(job: Planted, label: str) -> None:
        more = ("by_instrument",) if verdict else ()
        job.link(label, ("tested", name, *more), job.alone(label, verdict))

    return plant


def _fixed(job: Planted, label: str) -> None:
    later = job.record(label, day=5)
    job.link(label, ("tested", "passing", "retested"), job.record(label, "fail"), second=(later,))


def _lesser_fail(job: Planted, label: str) -> None:
    """A later test of less evidence never displaces a full sweep."""
    counts = ("tested", "passing", "retested", "later_lesser_fails")
    job.link(label, counts, job.record(label), second=(job.alone(label, "fail", day=6),))


def _conflict(job: Planted, label: str) -> None:
    first = job.record(label)
    number = job.number
    job.number -= 1
    other = job.record(label, shift=0.3 * number + 0.7, source="b" * 64)
    job.link(label, ("tested", "in_conflict"), first, second=(other,))


def _doubt(job: Planted, label: str) -> None:
    """Two tests of one label that contradict each other as cables do: each side counts once, in doubt."""
    six, more = job.record(label), job.record(label, cable_type="cat6a/f-utp/awg23/solid", day=8)
    job.link(label, ("tested", "tested", "in_doubt", "in_doubt"), six, more)


def _copied(job: Planted, label: str) -> None:
    original = f"{label}-original"
    first = job.record(original)
    job.link(original, ("tested", "passing"), first)
    copy = job.record(label, shift=0.3 * job.number, day=7)
    job.link(label, ("tested", "passing", "copied"), copy)


def _two_families(job: Planted, label: str) -> None:
    """Passes the one limit and fails the other: what the job requires decides, else it fails."""
    six = job.record(label, "pass", ours={"limit_id": CAT6})
    more = job.record(label, "fail", ours={"limit_id": CAT6A}, limit_found="TIA 568.2-D Cat 6A permanent link")
    job.link(label, ("tested", "retested", "passing" if job.required else "failing"), six, more)


KINDS: tuple[Callable[[Planted, str], None], ...] = (
    _passes,
    _marginal,
    _fails_from_memory,
    _does_not_reach,
    _instrument("pass", "passing"),
    _instrument("fail", "failing"),
    _instrument(None, "not_graded"),
    _fixed,
    _lesser_fail,
    _conflict,
    _doubt,
    _copied,
    _two_families,
)


def planted(seed: int) -> Planted:
    """A random job of 12 to 20 links."""
    chance = random.Random(seed)
    job = Planted(required=CAT6 if seed % 3 == 0 else "")
    kinds = [chance.choice(KINDS) for _ in range(chance.randint(8, 14))] + [
        _passes,
        _copied,
        _conflict,
        _doubt,
        _two_families,
    ]
    for n, kind in enumerate(kinds):
        kind(job, f"2-TR2-A{n:03d}")
    if seed % 4 == 3:  # a job without a schedule
        return job
    there = dict.fromkeys(r["records"][0]["link_label"] for r in job.records)
    for label in there:
        sides = job.expected["tested"].count(label)
        if chance.random() < 0.15:
            job.expected["unexpected"] += [label] * sides
            continue
        job.expected["further_sides"] += [label] * (sides - 1)
        due = chance.choice([None, "2019-03-01", DUE])
        job.schedule.append({"schedule_id": label, "link_label": label, "due_on": due})
        job.expected["scheduled"].append(label)
        if due == "2019-03-01":
            job.expected["late"].append(label)
    for n in range(chance.randint(0, 3)):
        label = f"2-TR2-M{n:03d}"
        job.schedule.append({"schedule_id": label, "link_label": label, "due_on": DUE})
        for name in ("scheduled", "missing", "late"):
            job.expected[name].append(label)
    return job


@pytest.fixture(scope="module", params=range(10))
def job(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A random job, and its archive."""
    place = tmp_path_factory.mktemp("counted")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(place / "cache"))
        patch.setenv("XDG_DATA_HOME", str(place / "data"))
        plan = planted(request.param)
        archive = store.create(place / "archive")
        making.deposit(archive, making.batch(*plan.records), job=JOB)
        if plan.second:
            making.deposit(archive, making.batch(*plan.second), job=JOB)
        if plan.schedule:
            making.deposit(
                archive, Batch.from_rows({"schedule": [{**r, "job_id": JOB} for r in plan.schedule]}), job=JOB
            )
        if plan.required:
            state(archive, JOB, [f"required_limit={plan.required}"], by="tests")
        yield plan, archive


def told(*words: object) -> dict[str, Any]:
    """The JSON of a command."""
    result = CliRunner().invoke(cli, [*map(str, words), "--json"])
    assert result.exit_code in (0, 1), result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def numbers(document: dict[str, Any]) -> dict[str, Any]:
    """The counts of a document, lists of labels in alphabetical order."""
    return {name: sorted(v) if isinstance(v := document[name], list) else v for name in COUNTS}


def expected(plan: Planted) -> dict[str, Any]:
    """The same as planted."""
    found: dict[str, Any] = {n: sorted(ls) if n in LISTED else len(ls) for n, ls in plan.expected.items()}
    return found if plan.schedule else {**found, "scheduled": None}


def test_every_document_says_the_same_numbers(job: tuple[Planted, Archive]) -> None:
    plan, archive = job
    root, wanted = archive.root, expected(plan)
    last = archive.db.execute("SELECT deposit FROM deposits ORDER BY number DESC").fetchone()[0]
    assert numbers(progress(archive, JOB, today=TODAY).plain()) == wanted
    documents = {
        "progress": told("progress", root, "--job", JOB),
        "receipt": told("receipt", root, last),
        "find": told("find", root, "--job", JOB, "--most", 0),
        "rates": told("rates", root, "--job", JOB),
        "check": told("check", root, "--job", JOB),
        "python": muniment.counts(root, JOB),
    }
    assert {name: numbers(d) for name, d in documents.items()} == dict.fromkeys(documents, wanted)


def test_the_printed_documents_say_them_too(job: tuple[Planted, Archive], tmp_path: Path) -> None:
    plan, archive = job
    wanted = {n: len(v) if isinstance(v, list) else v for n, v in expected(plan).items()}
    facts = book.gather(archive, JOB)
    in_book = dict(summary(facts, ENGLISH).blocks[2].rows)
    report = tmp_path / "acceptance.html"
    told("check", archive.root, "--job", JOB, "--report", report)
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", report.read_text(encoding="utf-8")))
    sums = [f"tested {wanted['tested']} = passing {wanted['passing']} + failing {wanted['failing']} + "]
    if plan.schedule:
        sums.append(f"scheduled {wanted['scheduled']} + not scheduled {wanted['unexpected']}")
    printed = CliRunner().invoke(cli, ["progress", str(archive.root), "--job", JOB]).output
    for line in sums:
        assert line in text and line in printed
    assert in_book["passing"] == str(wanted["passing"]) and in_book["in conflict"] == str(wanted["in_conflict"])
    assert in_book["missing"] == (str(wanted["missing"]) if plan.schedule else "-")


def test_the_sums_add_up(job: tuple[Planted, Archive]) -> None:
    sums = progress(job[1], JOB).counts.sums()
    assert len(sums) == (2 if job[0].schedule else 1)
    for left, right in sums:
        assert sum(n for _, n in left) == sum(n for _, n in right) > 0


def test_a_claim_and_the_records_found_say_what_the_link_came_to(job: tuple[Planted, Archive]) -> None:
    plan, archive = job
    found = told("find", archive.root, "--job", JOB, "--most", 0)["records"]
    for label in plan.expected["tested"][::4]:
        outcome = next(name for name in OUTCOMES if label in plan.expected[name])
        counted = claim(archive, label, job=JOB)[0].counted
        assert counted is not None and counted.outcome == outcome
        standing = {r["outcome"] for r in found if r["link"] == label and r["standing"]}
        assert standing == ({outcome} if outcome != "in_conflict" else set()) or len(standing) == 2


def test_a_job_that_is_only_checked_counts_in_the_same_way(job: tuple[Planted, Archive]) -> None:
    """Records without an archive: all but conflicts and doubts, which only an archive knows, and copies, which the
    for in curves of more points than these."""
    plan, archive = job
    batches = list(read(archive, places(archive, Filters(job=JOB)).values()))
    rows = [{**r, "job_id": JOB} for r in plan.schedule]
    check = JobCheck(schedule=Batch.from_rows({"schedule": rows})["schedule"] if rows else None, today=TODAY)
    for batch in batches:
        check.add(batch)
    counts = check.finish(lambda _: batches).summary.counts
    unsure = {*plan.expected["in_conflict"], *plan.expected["in_doubt"]} | (
        set(plan.expected["tested"]) if plan.required else set()
    )
    for name in set(COUNTS) - {"copied"}:
        assert set(counts.of(name)) - unsure == set(plan.expected[name]) - unsure, name


def test_the_counts_that_are_declared_are_those_that_are_made() -> None:
    declared = schemas.load("counts.toml")
    assert tuple(declared["counts"]) == COUNTS
    for line in declared["sums"].values():
        assert set(line["left"]) | set(line["right"]) <= set(COUNTS)
