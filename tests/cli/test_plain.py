"""Foreign text on standard output: nothing that a terminal obeys, one record one line, and --json exact."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from archive import formats
from archive.cli.common import say
from archive.cli.plain import one_line, plain
from archive.demo.simulator import simulate
from archive.tables import concat
from tests.cli.conftest import JOB, World
from tests.cli.person import ROOT, typed

FORGED = "A1\n1A-A05   2024-06-12T16:40:00  pass\t\x85\x9b2J\u202e\u2028z"
SHOWN = "A1\\n1A-A05   2024-06-12T16:40:00  pass\\t\\u0085\\u009b2J\\u202e\\u2028z"
OBEYED = [chr(c) for c in (*range(32), *range(0x7F, 0xA0), 0x61C, *range(0x2028, 0x202F), *range(0x2066, 0x206A))]


def test_an_escape_in_json_is_the_character() -> None:
    document = json.dumps(OBEYED, ensure_ascii=False)
    assert json.loads(plain(document)) == OBEYED
    assert not set(plain("".join(OBEYED))) & (set(OBEYED) - {"\t", "\n"})
    assert one_line(FORGED) == SHOWN


def test_a_message_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    say(f"set aside: {FORGED}")
    assert capsys.readouterr().err == f"set aside: {SHOWN}\n"


def test_what_is_set_aside_forges_no_line(forged: Path, tmp_path: Path) -> None:
    """A record that breaks a rule is set aside with its label; the file's name forges as well as the label does."""
    name = "a\n1A-A05 pass.csv"
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / name).write_text("nothing that anybody reads\n")
    (tmp_path / "in" / "good.xml").write_bytes(forged.read_bytes())
    archive = tmp_path / "archive"
    assert typed("init", archive).code == 0
    words = ("deposit", tmp_path / "in", "--into", archive, "--job", "J", "--by", "R. Ostrander")
    for command in (words, ("setaside", archive), ("survey", tmp_path / "in"), ("grade", tmp_path / "in")):
        said = typed(*command)
        assert said.code == 1, said
        assert not [x for x in (said.out + said.err).splitlines() if x.startswith("1A-A05")], said
    assert "a\\n1A-A05 pass.csv" in typed("setaside", archive).out


@pytest.fixture
def forged(tmp_path: Path) -> Path:
    """An export whose only label holds the end of a line and more."""
    week = concat(simulate(1, seed=3, category="cat5e"))
    records = week["records"]
    at = records.column_names.index("link_label")
    made = week.replace(records=records.set_column(at, records.schema.field(at), [[FORGED] * len(records)]))
    formats.write([made], tmp_path / "forged.csv", "csv")
    formats.write([made], tmp_path / "forged.xml", "xml")
    return tmp_path / "forged.xml"


def test_a_label_forges_no_line_and_stays_exact_in_json(forged: Path, tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    assert typed("init", archive).code == 0
    assert typed("deposit", forged, "--into", archive, "--job", "J", "--by", "R. Ostrander").code == 0
    (record,) = typed("find", archive, "--json").document["records"]
    kept = record["link"]
    assert "\n" in kept
    assert "\u202e" in kept
    said = {
        words[0]: typed(*words)
        for words in (
            ("find", archive),
            ("history", archive, kept),
            ("check", forged),
            ("grade", forged),
            ("sql", archive, "SELECT link_label FROM records"),
        )
    }
    for command, one in said.items():
        assert one_line(kept) in one.out, (command, one)
        assert not [x for x in one.out.splitlines() if x.startswith("1A-A05")], command
        assert not set(one.out + one.err) & (set(OBEYED) - {"\n"}), command
    assert all(x.startswith("    ") for x in said["find"].out.splitlines()[1:])


@pytest.mark.parametrize("job", ["", " ", "a\nb", "a\x1b[2J", "a\u202eb"])
def test_what_is_no_name_of_a_job_is_refused_everywhere(job: str, world: World) -> None:
    letter = world.root / "letter.txt"
    letter.write_text("Dear all\n")
    for words in (
        ("job", world.archive, job, "--set", "client=X", "--by", "R. Ostrander"),
        ("amend", world.archive, "--job", JOB, "--set", f"job_id={job}", "--by", "R. Ostrander"),
        ("attach", world.archive, letter, "--job", job, "--kind", "letter", "--by", "R. Ostrander"),
    ):
        assert "no name of a job" in typed(*words).line, words


def test_a_port_map_alone_is_set_aside_as_that(tmp_path: Path) -> None:
    archive, given = tmp_path / "archive", tmp_path / "in"
    given.mkdir()
    shutil.copy(ROOT / "fixtures" / "touchstone" / "four-pairs.toml", given)
    assert typed("init", archive).code == 0
    words = ("deposit", given, "--into", archive, "--job", "J", "--by", "R. Ostrander")
    assert "port map" in typed(*words).line
    for name in ("two-pairs-lower.s8p", "two-pairs-lower.toml"):
        shutil.copy(ROOT / "fixtures" / "touchstone" / name, given)
    said = typed(*words, "--json")
    assert (said.code, said.document["records"], said.document["set_aside"]) == (1, 1, 1)
    (row,) = typed("setaside", archive, "--json").document["set_aside"]
    assert (row["path"], "port map" in row["reason"]) == ("four-pairs.toml", True)


@pytest.mark.parametrize("what", ["<l a='{}'/>", "<l>{}</l>", "<{}/>", "<!--{}--><l/>"])
@pytest.mark.parametrize("root", ["l", 'link-records xmlns="urn:muniment:link-record:1"'])
def test_xml_beyond_the_bounds_of_its_parser_is_told_in_our_words(what: str, root: str, tmp_path: Path) -> None:
    path = tmp_path / "huge.xml"
    path.write_text(f"<{root}>{what.format('a' * 20_000_000)}</{root.split()[0]}>")
    for words in (("survey", path), ("check", path), ("grade", path)):
        said = typed(*words)
        assert said.code in (1, 2)
        assert "holds more in one place than is read" in " ".join((said.out + said.err).split())
        assert "HUGE" not in said.out + said.err
