"""muniment grade, as a person and a program use it."""

import json

import pytest
from click.testing import CliRunner

from archive import formats
from archive.cli.commands.grade import command
from archive.errors import Trouble
from tests.grading.making import CAT5, CAT6A, CLASS_EA_LINK, batch, record

COPIED = ("link", "limit", "verdict", "marginal", "provisional", "within_resolution", "agrees", "covers_mhz", "worst")


@pytest.fixture
def files(tmp_path):
    def write(*parts, name="links.xml"):
        path = tmp_path / name
        formats.write([batch(*parts)], path, "xml")
        return str(path)

    return write


def run(*arguments):
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False)


def test_json_has_the_shape_of_the_contract(files):
    path = files(record(CAT6A, reported_verdict="pass"))
    result = run(path, "--json")
    assert result.exit_code == 0
    (found,) = json.loads(result.stdout)["records"]
    assert set(COPIED) <= found.keys()
    assert (found["link"], found["limit"], found["verdict"], found["agrees"]) == ("1A-01", CAT6A, "pass", True)
    assert found["covers_mhz"] == [1.0, 500.0]
    point = {"frequency_mhz", "value", "limit", "margin_db"}
    assert point | {"parameter", "pairing", "end"} <= found["worst"].keys()
    for entry in found["parameters"]:
        assert {"parameter", "pairing", "end", "verdict", "provisional"} <= entry.keys()
        assert point <= entry["worst_margin"].keys() and point <= entry["worst_value"].keys()
    first: dict = {}
    for entry in found["parameters"]:
        first.setdefault(entry["parameter"], entry["worst_margin"]["margin"])
        assert entry["worst_margin"]["margin"] >= first[entry["parameter"]]
    assert found["worst"]["margin_db"] == min(
        first[p] for p in first if p not in ("propagation_delay", "delay_skew", "length")
    )


def test_exit_codes(files):
    good, bad = record(CAT5, record_id="re-1"), record(CAT5, margin=-2, record_id="re-2", link="1A-02")
    assert run(files(good, name="good.xml")).exit_code == 0
    result = run(files(good, bad, name="both.xml"))
    assert result.exit_code == 1
    assert "1 pass, 1 fail, 0 not graded" in result.stderr
    unknown = record(CAT5)
    unknown["records"][0]["limit_found"] = "nobody knows"
    assert run(files(unknown, name="unknown.xml")).exit_code == 1
    flipped = record(CAT5, reported_verdict="fail")
    assert run(files(flipped, name="flipped.xml")).exit_code == 1


def test_words_say_everything_that_must_not_be_overlooked(files):
    result = run(files(record(CLASS_EA_LINK, margin=5, reported_verdict="fail")))
    assert "provisional (limit from memory, to be verified against the standard)" in " ".join(result.stdout.split())
    assert "differs from the instrument" in result.stdout and "the instrument says fail" in result.stdout
    assert "1-500 MHz covered" in result.stdout
    assert "PS NEXT" in result.stdout  # a single record is shown with its parameters


def test_several_limits_and_applications(files):
    path = files(record(CAT6A))
    result = run(path, "--against", CAT5, "--against", CAT6A, "--application", "10gbase-t", "--json")
    found = json.loads(result.stdout)["records"]
    assert [r["limit"] for r in found] == [CAT5, CAT6A, "ieee-802.3/10gbase-t"]


def test_own_limits_and_accuracy_come_from_files(files, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(f'id = "harbour"\ntitle = "Harbour"\nby = "A. Person"\nlike = "{CAT5}"\n', encoding="utf-8")
    accuracy = tmp_path / "accuracy.toml"
    accuracy.write_text('source = "letter"\n[accuracy]\nnext = 50\ninsertion_loss = 50\n', encoding="utf-8")
    result = run(
        files(record(CAT5)), "--own", str(own), "--against", "own/harbour", "--accuracy", str(accuracy), "--json"
    )
    (found,) = json.loads(result.stdout)["records"]
    assert (found["limit"], found["verdict"], found["marginal"]) == ("own/harbour", "pass", True)


def test_bad_usage_is_one_line_and_nothing_is_read(files, tmp_path):
    for arguments in (
        (files(record(CAT5)), "--against", "tia-568.2-d/cat6a/chanel"),
        (str(tmp_path / "missing.xml"),),
        (files(record(CAT5), name="b.xml"), "--application", "carrier-pigeon"),
    ):
        with pytest.raises(Trouble) as trouble:
            run(*arguments)
        assert "\n" not in str(trouble.value)


def test_quiet_prints_only_what_needs_a_look(files):
    good, bad = record(CAT5, record_id="re-1"), record(CAT5, margin=-2, record_id="re-2", link="1A-02")
    result = run(files(good, bad), "-q")
    assert "1A-02" in result.stdout and "1A-01" not in result.stdout and result.stderr == ""
