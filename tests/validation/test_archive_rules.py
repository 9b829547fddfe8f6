"""Rules that commands raise over an archive: each is in the catalogue, fires and stays silent.

"rederived-otherwise" is tested beside the reading anew, in tests/store/test_intake.py, "read-otherwise-than-before"
beside the shelf of mappings, in tests/answers/test_shelf.py; "local-time-not-unique", which
depositing raises too, here.
"""

# ruff: noqa: F811 (fixtures that are imported by name)

from __future__ import annotations

import re
from pathlib import Path

import pytest

from archive import formats
from archive.answers.zone import in_utc, zone
from archive.tables import Batch
from archive.validation import catalogue
from tests.cli.conftest import World, built  # noqa: F401 - fixture
from tests.cli.person import typed
from tests.validation import good

CODE = Path(catalogue.__file__).resolve().parents[1]


def test_unit_recalled(built: World, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The unit of the job's tests, and one that tested nothing."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path))
    serials = {u["serial"] for b in formats.read(built.good) for u in b["instruments"].to_pylist()}
    said = typed("recall", built.archive, "--serial", sorted(serials)[0], "--json")
    (finding,) = said.document["findings"]
    rule = catalogue.rule("unit-recalled")
    assert (said.code, finding["rule"], finding["severity"]) == (1, rule.name, rule.severity)
    assert finding["found"] == f"{len(said.document['records'])} links"
    assert finding["remedy"] == rule.remedy
    silent = typed("recall", built.archive, "--serial", "none of these", "--json")
    assert (silent.code, silent.document["findings"]) == (0, [])


@pytest.mark.parametrize(("local", "fires"), [("2019-10-27T01:30:00", True), ("2019-10-27T04:30:00", False)])
def test_local_time_not_unique(local: str, fires: bool) -> None:
    """The hour that Lisbon had twice in 2019 (IANA time zone database), and one that it had once."""
    record = {**good.rows()["records"][0], "tested_local": local, "tested_at": None, "utc_offset_min": None}
    found = in_utc(Batch.from_rows({"records": [record]}), zone("Europe/Lisbon"))["findings"].to_pylist()
    rule = catalogue.rule("local-time-not-unique")
    assert [(f["rule"], f["severity"]) for f in found] == ([(rule.name, rule.severity)] if fires else [])


def test_no_code_names_a_rule_outside_the_catalogue() -> None:
    """Every rule that stands as a word in the code, in any room, is in the catalogue."""
    named = set()
    for path in CODE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        named |= set(re.findall(r'"rule": "([a-z-]+)"', text))
        named |= set(re.findall(r'(?:finding|spoken|rule|job_rule)\(\s*"([a-z]+(?:-[a-z]+)+)"', text))
    assert len(named) > 80
    assert named - set(catalogue.rules()) == set()
