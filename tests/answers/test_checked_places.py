"""Plain files and an archive count the links of a job alike: one label at one place is one link."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, rows

from archive import formats, store
from archive.answers.intake import ingest
from archive.answers.progress import progress
from archive.cli import cli
from archive.store.deposits import DepositFacts
from archive.tables import with_id
from archive.vocabulary.link_counts import COUNTS

TODAY = date(2019, 4, 1)


@dataclass(frozen=True)
class Case:
    """tests: label, floor and space, in the order in which they were made; lines: of the schedule, below `head`.

    counts: some that must come out; says: what findings must say.
    """

    tests: tuple[tuple[str, str, str], ...]
    lines: tuple[str, ...]
    counts: dict[str, Any]
    says: tuple[str, ...] = ()
    head: str = "Run;Floor;Space;Due on"


TWO = ("A1;1;TR1;2019-03-01", "A1;2;TR1;2019-03-10", "A2;1;;")
CASES = {
    "a label at two places, one of them tested": Case(
        (("A1", "2", "tr1"), ("A2", "1", "TR1")),
        TWO,
        {"scheduled": 3, "tested": 2, "missing": ["A1"], "unexpected": [], "late": ["A1"]},
        ("The link A1 at floor 1, space TR1 of the schedule has no result", "A1 at floor 1, space TR1 was due on"),
    ),
    "a label at two places, both tested": Case(
        (("A1", "2", "TR1"), ("A1", "1", ""), ("A2", "", "")),
        TWO,
        {"scheduled": 3, "tested": 3, "missing": [], "unexpected": [], "retested": 0, "late": ["A1"]},
    ),
    "tested at a place that is not scheduled": Case(
        (("A1", "3", "TR1"), ("A1", "1", "TR1")),
        TWO,
        {"tested": 2, "missing": ["A1", "A2"], "unexpected": ["A1"]},
        ("The link A1 at floor 3, space TR1 is not in the schedule; A1 at floor 2, space TR1 is, and is missing",),
    ),
    "a label without a place": Case(
        (("A1", "", ""), ("A2", "", "")),
        TWO,
        {"tested": 2, "in_doubt": 1, "missing": ["A1", "A1"], "unexpected": [], "further_sides": 1},
        ("The tests of A1 at no stated place do not say enough", "2 places at which this label is scheduled"),
    ),
    "a later test without a place": Case(
        (("A1", "1", "TR1"), ("A1", "", ""), ("A2", "1", "")),
        TWO,
        {"tested": 2, "in_doubt": 1, "missing": ["A1"], "retested": 1},
    ),
    "two places of which the schedule knows nothing": Case(
        (("A1", "1", "TR1"), ("A1", "2", "TR1"), ("A2", "1", "")),
        ("A1", "A2", "A3"),
        {"scheduled": 3, "tested": 3, "missing": ["A3"], "unexpected": [], "further_sides": 1},
        head="Run",
    ),
    "no places at all": Case(
        (("A1", "", ""), ("A1", "", ""), ("A9", "", "")),
        ("A1", "A2"),
        {"scheduled": 2, "tested": 2, "missing": ["A2"], "unexpected": ["A9"], "retested": 1, "in_doubt": 0},
        ("The link A2 of the schedule has no result", "The link A9 is not in the schedule"),
        head="Run",
    ),
    "no schedule": Case(
        (("A1", "1", ""), ("A1", "2", "TR1"), ("A1", "2", ""), ("A1", "", "TR1"), ("A2", "", "")),
        (),
        {"scheduled": None, "tested": 4, "in_doubt": 1, "retested": 1, "missing": [], "unexpected": []},
        ("they may be of any of 2 links of this label",),
    ),
}


def _exports(folder: Path, case: Case) -> Path:
    made = []
    for n, (label, floor, space) in enumerate(case.tests):
        place = with_id("places", {k: v for k, v in (("floor", floor), ("space", space)) if v})
        more = {"local_place_id": place["place_id"]} if floor or space else {}
        one = rows(label, shift=0.3 * n, place=f"row {n}", time=f"2019-03-04T10:{n:02d}", **more)
        made.append({**one, "places": [place]} if more else one)
    folder.mkdir()
    formats.write([batch(*made)], folder / "job.xml", "xml")
    return folder


@pytest.mark.parametrize("name", CASES)
def test_check_of_files_agrees_with_the_progress_of_the_same_deposited(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    case = CASES[name]
    exports, links = _exports(tmp_path / "exports", case), tmp_path / "s.csv"
    links.write_text("\n".join([case.head, *case.lines]) + "\n", encoding="utf-8")
    given = ["--schedule", str(links)] if case.lines else []
    result = CliRunner().invoke(cli, ["check", str(exports), *given, "--today", TODAY.isoformat(), "--json"])
    assert result.exit_code in (0, 1), result.output
    document = json.loads(result.stdout)

    archive = store.create(tmp_path / "archive")
    ingest(archive, [exports, links] if given else [exports], DepositFacts(job="J", by="R. Ostrander"))
    filed = progress(archive, "J", today=TODAY)

    def counts(found: dict[str, Any]) -> dict[str, Any]:
        return {n: sorted(found[n]) if isinstance(found[n], list) else found[n] for n in COUNTS}

    checked = counts(document)
    assert {n: checked[n] for n in case.counts} == case.counts
    assert checked == counts(filed.plain())
    for sums in filed.counts.sums():
        left, right = (sum(n for _, n in side) for side in sums)
        assert left == right > 0
    messages = "\n".join(f["message"] for f in document["findings"])
    assert [words for words in case.says if words not in messages] == []
