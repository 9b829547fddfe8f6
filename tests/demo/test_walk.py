"""`muniment demo`: the whole flow over the invented job, as a person would type it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive.cli import cli
from archive.demo import folder, job, steps


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """The folder of a demo, what was told on the way, and the JSON document."""
    place = tmp_path_factory.mktemp("walk") / "demo"
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME"):
            patch.setenv(name, str(place.parent / name.lower()))
        result = CliRunner().invoke(cli, ["demo", str(place), "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return place, result.stderr, json.loads(result.stdout)


def test_every_step_is_told_with_its_command(walked):
    place, told, document = walked
    wanted = steps.steps(place)
    assert [s["command"][1:] for s in document["steps"]] == [list(s.argv) for s in wanted]
    told = " ".join(told.split())
    for step in wanted:
        assert step.title in told and f"$ muniment {step.argv[0]}" in told
    flow = [s.argv[0] for s in wanted]
    assert [c for c in flow if c in ("survey", "convert", "check", "grade", "deposit", "find", "claim")] == [
        *("survey", "convert", "check", "grade", "deposit", "deposit", "deposit", "find", "claim", "deposit", "claim")
    ]


def test_the_claim_file_to_open_is_there(walked):
    place, _, document = walked
    page = Path(document["claim_file"])
    assert page.is_relative_to(place / "claim") and page.suffix == ".html"
    text = page.read_text(encoding="utf-8")
    assert job.FAILING in text and job.SITE in text


def test_what_was_planted_is_told_on_the_way(walked):
    _, told, _ = walked
    check = told[told.index("Check it before") : told.index("Form an own verdict")]
    for label in (job.MISSING, job.LETTER_O[1], job.SHORT, job.FLIPPED):
        assert label in check, label
    grade = told[told.index("Form an own verdict") : told.index("Make an archive")]
    assert f"{job.FLIPPED}: fail, differs from the instrument" in grade
    assert "COPIED CURVES" in told
    progress = told[told.index("See what is still missing") : told.index("Years later")]
    assert job.MISSING in progress


def test_it_says_that_all_is_invented(walked):
    place, told, _ = walked
    assert "invented" in told.splitlines()[0]
    assert "INVENTED" in (place / "README.txt").read_text()


def test_the_demo_stands_where_it_stood_when_something_of_a_person_is_in_it(walked):
    place, _, _ = walked
    (place / "mine.txt").write_text("mine")
    before = {p: p.stat().st_mtime_ns for p in place.rglob("*") if p.is_file()}
    from archive.errors import Trouble

    with pytest.raises(Trouble):
        folder.prepare(place)
    (place / "mine.txt").unlink()
    before.pop(place / "mine.txt")
    assert {p: p.stat().st_mtime_ns for p in place.rglob("*") if p.is_file()} == before


def test_a_demo_that_goes_wrong_leaves_nothing_behind(tmp_path, monkeypatch):
    wrong = (steps.DemoStep("A step that fails.", ("survey", str(tmp_path / "nowhere"))),)
    monkeypatch.setattr(steps, "steps", lambda place: wrong)
    from archive.demo import exports

    monkeypatch.setattr(exports, "write", lambda place: (place / "file").write_text("x"))
    result = CliRunner().invoke(cli, ["demo", str(tmp_path / "demo")])
    assert result.exit_code != 0
    assert list((tmp_path / "demo").iterdir()) == []


def test_a_long_output_is_cut_and_says_so():
    step = steps.DemoStep("", ("x",), lines=3)
    assert steps.shown(step, "a\nb\nc\nd\ne\n") == ["a", "b", "c", "... and 2 lines more"]
    assert steps.shown(step, "a\nb\nc\nd\n") == ["a", "b", "c", "d"]
    only = steps.DemoStep("", ("x",), only=("b:",))
    assert steps.shown(only, "a:\n 1\nb:\n 2\n 3\nc:\n 4\nsum\n") == ["b:", " 2", " 3", "sum"]
