"""The command contract: exit codes, one JSON document on standard output, its keys, the ids and the help.

Checked against what was promised to everybody who scripts these commands, written down here as a table.
"""

# ruff: noqa: F811 (fixtures that are imported by name)

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

from tests.cli.conftest import FAILED, JOB, World, built, world  # noqa: F401 - fixtures
from tests.cli.person import Said, in_shell, typed


def names(text: str) -> list[str]:
    return text.split()


RECORD = names(
    "record link job site tested_local tested_at limit cable_type reported verdict marginal provisional standing"
)
DEPOSIT = names(
    "deposit new same_file reread same_content renditions conflicts relabelled retests copied_curves set_aside "
    "findings ledger_head"
)
FINDING = names("rule severity record link where found expected message remedy")
GRADE = names("link limit verdict marginal provisional within_resolution agrees covers_mhz worst parameters")
WORST = names("parameter pairing end frequency_mhz value limit margin_db")
RATES = names("links passed rate low high first_time_rate marginal_share provisional_share")
CHECK = names("records findings missing_links unexpected_links")
PROGRESS = names("scheduled tested passing failing marginal missing unexpected late")
A, M = "{archive}", "{exports}"

# words; exit code; keys of the document; the list whose rows are looked at, and their keys
PROMISED: list[tuple[str, int, list[str], str, list[str]]] = [
    (f"survey {M}", 1, ["files"], "files", names("path layout records evidence encoding unmapped")),
    ("survey {good}", 0, ["files"], "files", ["path"]),
    (f"convert {M} --to {{new}}", 1, names("records set_aside files cells"), "", []),
    ("convert {good} --to {new}", 0, names("records set_aside files cells"), "", []),
    (f"check {M} --schedule {{schedule}}", 1, CHECK, "findings", FINDING),
    (f"grade {M}", 1, ["records"], "records", GRADE),
    ("grade {good}", 0, ["records"], "records", GRADE),
    ("grade {good} --against tia-568.2-d/cat6a/permanent-link", 1, ["records"], "records", GRADE),
    ("deposit {good} --into {archive} --job J --dry-run", 1, [*DEPOSIT, "elsewhere"], "", []),
    (f"deposit {{good}} --into {A} --job {JOB} --dry-run", 0, DEPOSIT, "", []),
    (f"receipt {A} {{deposit}}", 0, DEPOSIT, "", []),
    (f"setaside {A}", 1, ["set_aside"], "set_aside", ["path", "reason", "remedy"]),
    (f"job {A} {JOB}", 0, ["job", "site", "zone", "contractor", "crew", "required_limit"], "", []),
    (f"progress {A} --job {JOB}", 1, PROGRESS, "", []),
    (f"find {A}", 0, ["records"], "records", RECORD),
    (f"find {A} --link nowhere", 1, ["records"], "", []),
    (f"history {A} {FAILED}", 0, names("link standing why entries"), "entries", names("kind when record by what")),
    (f"claim {A} {FAILED} --no-record --out {{new}}", 0, ["link", "standing", "files", "sealed"], "", []),
    (f"rates {A} --by cable_type", 0, ["rows"], "rows", ["cable_type", *RATES]),
    (f"rates {A} --by year,site", 0, ["rows"], "rows", ["year", "site", *RATES]),
    (f"copies {A}", 1, names("pairs compared false_alarm_rate"), "pairs", names("a b kind score parameters")),
    (f"recall {A} --serial {{serial}}", 1, ["records"], "records", RECORD),
    (f"fixity {A}", 0, names("sound depth checked_against deposits files damaged ledger"), "", []),
    (f"reindex {A}", 0, [], "", []),
    (f"prove {A} {{deposit}}/0 -o {{new}}", 0, [], "", []),
    ("rules list", 0, ["rules"], "rules", names("rule severity meaning why remedy source")),
    ("rules show link-missing", 0, names("rule severity meaning why remedy source"), "", []),
    ("limits list", 0, ["limits"], "", []),
    ("limits show tia-568.2-d/cat6/channel --at 1,100", 0, names("limit edition source parameters"), "", []),
    ("mapping list", 0, [], "", []),
    (f"sql {A} {{query}}", 0, ["columns", "rows"], "", []),
    ("schema xml -o {new}", 0, ["files"], "", []),
    ("me", 0, ["name"], "", []),
]  # fmt: skip


def words(line: str, at: World, tmp_path: Path) -> list[str]:
    """A line of the table as a person would type it."""
    known = {
        "archive": at.archive,
        "exports": at.exports,
        "good": at.good,
        "schedule": at.schedule,
        "new": tmp_path / "new",
        "deposit": at.receipt["deposit"],
        "serial": serial(at),
        "query": "SELECT count(*) AS n FROM records",
    }
    return [word.format(**known) for word in line.split()]


def serial(at: World) -> str:
    return re.findall(r'<instrument [^>]*?serial="([^"]+)"', (at.exports / "week1.xml").read_text())[0]


@pytest.mark.parametrize("line", PROMISED, ids=lambda line: line[0].format_map(Blank()))
def test_one_document_with_the_keys_that_are_promised(
    built: World,
    tmp_path: Path,
    line: tuple[str, int, list[str], str, list[str]],
) -> None:
    what, code, keys, listed, of_rows = line
    said = typed(*words(what, built, tmp_path), "--json")
    assert said.code == code, said
    document = said.document
    assert set(keys) <= set(document)
    if listed:
        assert document[listed], "there is something in the list, so that its keys are checked"
    for row in document[listed] if listed else ():
        assert set(of_rows) <= set(row)
    quiet = typed(*words(what.replace("{new}", "{new}-2"), built, tmp_path), "--json", "-q")
    assert quiet.code == code
    assert set(quiet.document) == set(document)


class Blank(dict[str, str]):
    def __missing__(self, name: str) -> str:
        return name


def document(*typed_words: object, code: int = 0) -> Any:
    said = typed(*typed_words, "--json")
    assert said.code == code, said
    return said.document


EXPORT = """\
Run,Date,Tester serial,Length (m),Result,Colour of jacket
A1,2019-03-04 10:11,40-00317,42.1,PASS,blue
A2,2019-03-04 10:13,40-00317,40.7,FAIL,red
"""
"""An invented export with one column that means nothing to a cabling record: it is kept."""


def test_cells_are_accounted_for(built: World, tmp_path: Path) -> None:
    (tmp_path / "links.csv").write_text(EXPORT)
    said = document("convert", tmp_path / "links.csv", "--to", tmp_path / "out")
    assert said["records"] == 2
    assert said["cells"] == {"read": 12, "mapped": 10, "extras": 2, "ignored": 0}
    cells = document("convert", built.exports, "--to", tmp_path / "all", code=1)["cells"]
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"]
    line = typed("convert", tmp_path / "links.csv", "--to", tmp_path / "none", "--no-draft").line
    assert "links.csv" in line
    assert "mapping" in line
    assert not (tmp_path / "none").exists()


def test_a_drafted_mapping_says_where_from_whereto_how_sure_and_why(tmp_path: Path) -> None:
    export = tmp_path / "links.csv"
    export.write_text(EXPORT)
    said = typed("mapping", "draft", export, "--json")
    assert {"layout", "fields", "unplaced"} <= set(said.document)
    assert said.document["unplaced"] == ["Colour of jacket"]
    assert len(said.document["fields"]) == 5
    for field in said.document["fields"]:
        assert {"from", "to", "unit", "confidence", "reason"} <= set(field)
        assert 0 <= field["confidence"] <= 1
        assert field["reason"]
    said = typed("mapping", "draft", export, "-o", tmp_path / "made.toml", "-q")
    assert (said.code, said.out) == (0, "")
    assert document("mapping", "try", tmp_path / "made.toml", export)


def test_check_names_links_by_their_labels(built: World) -> None:
    said = document("check", built.exports, "--schedule", built.schedule, code=1)
    assert (said["missing_links"], said["unexpected_links"]) == (["01-1A-A10"], ["01-1A-A09"])
    assert said["records"] == 10
    assert {f["severity"] for f in said["findings"]} <= {"error", "warning", "information"}
    rules = {r["rule"]: r["severity"] for r in document("rules", "list")["rules"]}
    for finding in said["findings"]:
        assert finding["rule"] in rules, "every finding is explained by the catalogue"


def test_grade_in_detail(built: World) -> None:
    records = document("grade", built.exports, code=1)["records"]
    assert [r["verdict"] for r in records if r["link"] == FAILED] == ["fail", "pass"]
    for record in records:
        assert set(WORST) <= set(record["worst"])
        for row in record["parameters"]:
            keys = {"parameter", "pairing", "end", "worst_margin", "worst_value", "verdict", "provisional"}
            assert keys <= set(row)
    failed = next(r for r in records if r["verdict"] == "fail")
    assert failed["worst"]["margin_db"] < 0
    assert failed["agrees"] is True


def test_the_receipt_counts(built: World, world: World) -> None:
    made = built.receipt
    assert (made["new"], made["retests"], made["copied_curves"], made["set_aside"]) == (8, 1, 1, 1)
    assert re.fullmatch("[0-9a-f]{64}", made["ledger_head"])
    again = document("deposit", world.good, "--into", world.archive, "--job", JOB, "--by", "R. Ostrander")
    assert again["deposit"] is None, "all of it is there already"
    assert again["same_file"] + again["same_content"] == 2


def test_find_history_and_progress_agree(built: World) -> None:
    records = document("find", built.archive, "--link", FAILED)["records"]
    assert [r["standing"] for r in records] == [True, False], "newest first"
    assert [r["verdict"] for r in records] == ["pass", "fail"]
    said = document("history", built.archive, FAILED)
    assert (said["link"], said["standing"]) == (FAILED, records[0]["record"])
    assert {r["record"] for r in records} <= {e["record"] for e in said["entries"]}
    said = document("progress", built.archive, "--job", JOB, code=1)
    assert (said["scheduled"], said["tested"], said["passing"], said["failing"]) == (9, 9, 9, 0)
    assert (said["missing"], said["unexpected"], said["late"]) == (["01-1A-A10"], ["01-1A-A09"], ["01-1A-A10"])


def test_failing_links_alone_are_no_reason_to_look_at_a_deposit(built: World, tmp_path: Path) -> None:
    import muniment

    failing = document("find", built.archive, "--verdict", "fail")["records"][0]["record"]
    (batch,) = muniment.read(built.exports / "week1.xml")
    batch.select([failing]).write(tmp_path / "failing.xml")
    assert typed("grade", tmp_path / "failing.xml").code == 1
    assert typed("init", tmp_path / "other").code == 0
    said = typed("deposit", tmp_path / "failing.xml", "--into", tmp_path / "other", "--job", "J", "--by", "N", "--json")
    assert "error" not in said.document["findings"]
    assert said.code == 0


def test_intervals_of_a_rate_are_wider_than_wilsons_by_jobs(built: World) -> None:
    from statsmodels.stats.proportion import proportion_confint

    (row,) = document("rates", built.archive, "--by", "category")["rows"]
    low, high = proportion_confint(row["passed"], row["links"], 0.05, "wilson")
    assert row["rate"] == pytest.approx(row["passed"] / row["links"], abs=1e-12)
    assert (row["wilson_low"], row["wilson_high"]) == pytest.approx((low, high), abs=1e-9)
    assert row["low"] < low and high <= row["high"]  # links of one job go together
    assert row["method"]
    assert row["first_time_rate"] < row["rate"]


def test_copies(built: World) -> None:
    said = document("copies", built.archive, code=1)
    (pair,) = said["pairs"]
    labels = {r["record"]: r["link"] for r in document("find", built.archive)["records"]}
    assert {labels[pair["a"]], labels[pair["b"]]} == {"01-1A-A03", "01-1A-A09"}
    assert said["compared"] == 10


def test_fixity_in_three_depths(built: World, world: World) -> None:
    head = built.receipt["ledger_head"]
    for depth in ("count", "digest", "deep"):
        said = document("fixity", built.archive, "--depth", depth, "--expect", head)
        assert (said["sound"], said["depth"], said["damaged"]) == (True, depth, [])
        assert (said["ledger"]["entries"], said["ledger"]["head"], said["ledger"]["chain"]) == (2, head, "ok")
        assert head in said["checked_against"]
    victim = next(world.archive.glob("deposits/*/*/data/tables/sweeps*.parquet"))
    data = bytearray(victim.read_bytes())
    data[len(data) // 2] ^= 1
    victim.chmod(0o600)
    victim.write_bytes(data)
    said = document("fixity", world.archive, code=1)
    assert said["sound"] is False
    assert [d["path"] for d in said["damaged"]] == [victim.relative_to(world.archive).as_posix()]
    assert said["damaged"][0]["what"]
    assert document("fixity", built.archive, "--expect", "0" * 64, code=1)["sound"] is False


# --- ids ---------------------------------------------------------------------------------------------------------

LIMITS = names("""
tsb-67/cat5/channel tsb-67/cat5/basic-link tia-568.2-d/cat5e/channel tia-568.2-d/cat6/permanent-link
tia-568.2-d/cat6a/channel iso-11801-1/class-d/channel iso-11801-1/class-ea/permanent-link-2
iso-11801-1/class-ea/permanent-link-3 iso-11801-1/class-f/channel ieee-802.3/1000base-t
""")
PARAMETERS = names("""
insertion_loss return_loss next ps_next acr_n ps_acr_n fext acr_f ps_acr_f ps_anext ps_anext_average ps_aacr_f
ps_aacr_f_average tcl eltctl coupling_attenuation propagation_delay delay_skew loop_resistance resistance_unbalance
resistance_unbalance_between_pairs length optical_loss optical_return_loss
""")


@pytest.mark.parametrize("limit", LIMITS)
def test_the_ids_of_limits(limit: str) -> None:
    said = document("limits", "show", limit, "--at", "1,100,31.25")
    assert said["limit"] == limit
    assert limit in [row["limit"] for row in document("limits", "list")["limits"]]
    known = vocabulary().parameters()
    assert set(said["parameters"]) & set(PARAMETERS)
    for parameter, line in said["parameters"].items():
        assert parameter in known
        assert line["sense"] in ("max", "min")
        if "at" in line and line["range_mhz"]:
            assert set(line["at"]) == {"1", "100", "31.25"}, "keys as typed"
            low, high = line["range_mhz"]
            for f, value in line["at"].items():
                assert (value is not None) == (low <= float(f) <= high), (parameter, f)


def test_a_bare_permanent_link_names_both_candidates() -> None:
    line = typed("limits", "show", "iso-11801-1/class-ea/permanent-link").line
    for number in "23":
        assert f"iso-11801-1/class-ea/permanent-link-{number}" in line


def test_values_of_limits_are_not_rounded() -> None:
    """Insertion loss of a category 5e channel, ANSI/TIA-568-B.2 as printed: 1.967 sqrt(f) + 0.023 f + 0.05/sqrt(f) per
    100 m times 1.02 and four connectors of 0.04 sqrt(f): 24.0 dB at 100 MHz in its table."""
    said = document("limits", "show", "tia-568.2-d/cat5e/channel", "--at", "100")
    loss = said["parameters"]["insertion_loss"]["at"]["100"]
    assert round(loss, 1) == 24.0
    assert loss != round(loss, 2)


def test_the_words_of_parameters_pairs_and_ends(built: World) -> None:
    assert set(PARAMETERS) <= set(vocabulary().parameters())
    rows = [r for record in document("grade", built.good)["records"] for r in record["parameters"]]
    assert {r["end"] for r in rows} <= {"local", "remote", "local-remote", "remote-local", None}
    for row in rows:
        for pair in (row["pairing"] or "").split("/"):
            assert pair in ("1-2", "3-6", "4-5", "7-8", ""), row
        if row["parameter"] == "next":
            first, second = row["pairing"].split("/")
            assert first < second, "for NEXT, which is symmetric, the lower pair comes first"
    record = document("find", built.archive)["records"][0]
    assert record["cable_type"] == "cat5e/u-utp/awg24/solid"


def vocabulary() -> Any:
    from archive import vocabulary

    return vocabulary


# --- the parquet form ---------------------------------------------------------------------------------------------


def test_parquet_is_readable_by_anything(built: World, tmp_path: Path) -> None:
    """Read with DuckDB, which knows nothing of us."""
    import duckdb

    out = tmp_path / "out"
    assert typed("convert", built.good, "--to", out, "--form", "parquet", "-q").code == 0
    columns = {
        "records": ["record_id", "link_label", "tested_local", "tested_at", "reported_verdict", "evidence"],
        "readings": ["record_id", "quantity", "subject", "value"],
        "sweeps": ["record_id", "parameter", "end", "pairing", "origin", "axis_id", "values"],
        "axes": ["axis_id", "frequencies_mhz"],
    }
    for table, wanted in columns.items():
        assert set(wanted) <= set(pq.read_schema(out / f"{table}.parquet").names)
    for table, column in (("sweeps", "values"), ("axes", "frequencies_mhz")):
        kind = pq.read_schema(out / f"{table}.parquet").field(column).type
        assert str(kind).startswith(("list<", "large_list<")) and "double" in str(kind)
    rows = duckdb.sql(
        f"""SELECT r.link_label, s.parameter, len(s."values") AS n, len(a.frequencies_mhz) AS m
        FROM '{out}/records.parquet' r JOIN '{out}/sweeps.parquet' s USING (record_id)
        JOIN '{out}/axes.parquet' a USING (axis_id)"""
    ).fetchall()
    assert {r[0] for r in rows} == {"01-1A-A01", "01-1A-A02"}
    assert {r[1] for r in rows} <= set(PARAMETERS)
    assert all(n == m for _, _, n, m in rows)
    quantities = duckdb.sql(f"SELECT DISTINCT quantity FROM '{out}/readings.parquet'").fetchall()
    assert {q for (q,) in quantities} <= {*PARAMETERS, "temperature"}


# --- help ---------------------------------------------------------------------------------------------------------


def commands() -> list[tuple[str, ...]]:
    """Every command, and every command of a group, by walking the program itself."""
    import click

    from archive.cli import cli

    out: list[tuple[str, ...]] = []
    for name in cli.list_commands(click.Context(cli)):
        found = cli.get_command(click.Context(cli), name)
        out.append((name,))
        if isinstance(found, click.Group):
            out += [(name, below) for below in found.commands]
    return out


PROMISED_COMMANDS = names("""
demo init survey mapping convert check grade deposit receipt reread setaside job attach progress find history claim book
rates regrade copies recall sql amend withdraw hold redact fixity repair export merge prove verify keys stamp reindex
limits rules schema inbox health dispose calibrations
""")


def test_the_commands_that_are_promised_are_there() -> None:
    there = {" ".join(c) for c in commands()}
    assert set(PROMISED_COMMANDS) <= there
    assert {f"mapping {n}" for n in ("draft", "try", "list")} <= there
    assert {f"limits {n}" for n in ("list", "show", "plot", "confirm")} <= there
    assert {f"rules {n}" for n in ("list", "show")} <= there


@pytest.mark.parametrize("command", commands(), ids=" ".join)
def test_help_says_what_for_and_gives_an_example(command: tuple[str, ...]) -> None:
    said = typed(*command, "--help")
    assert said.code == 0
    assert "Example:" in said.out
    assert "\\u" not in said.out  # nothing that a terminal would obey came through the help
    assert f"muniment {command[0]}" in said.out.split("Example:")[1]
    if command[0] not in ("keys", "mapping", "limits") or len(command) > 1:
        assert "--json" in said.out
        assert "-q, --quiet" in said.out


@pytest.mark.parametrize("command", [c for c in commands() if "me" not in c], ids=" ".join)
def test_no_command_takes_a_word_or_option_that_it_does_not_know(command: tuple[str, ...]) -> None:
    assert "--no-such-option" in typed(*command, "--no-such-option").line


CHANGE = names("deposit amend withdraw hold redact reread attach regrade merge stamp inbox dispose calibrations")


@pytest.mark.parametrize("command", CHANGE)
def test_whoever_changes_an_archive_can_say_who_and_why(command: str) -> None:
    text = typed(command, "--help").out
    assert "--by" in text
    assert "--reason" in text


HEAVY = names("numpy pyarrow lxml duckdb pandas matplotlib typst xmlschema jinja2 babel tomlkit")


@pytest.mark.parametrize("command", [(), ("deposit",), ("limits", "show")], ids=lambda c: " ".join(c) or "muniment")
def test_help_loads_nothing_heavy(command: tuple[str, ...]) -> None:
    before = (
        f"import atexit; atexit.register(lambda: print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr))"
    )
    said = in_shell(*command, "--help", before=before)
    assert said.code == 0
    assert said.err.strip() == "[]"


def test_usage_without_a_command() -> None:
    assert typed("--version").code == 0
    assert "Usage" in typed().err + typed().out
    assert typed().code == 2
    assert "nosuch" in typed("nosuch").line


# --- messages go to standard error --------------------------------------------------------------------------------

QUIET: list[Callable[[World, Path], Said]] = [
    lambda w, t: typed("survey", w.good, "-q"),
    lambda w, t: typed("check", w.good, "-q"),
    lambda w, t: typed("init", t / "a", "-q"),
    lambda w, t: typed("setaside", w.archive, "-q"),
    lambda w, t: typed("progress", w.archive, "--job", JOB, "-q"),
    lambda w, t: typed("find", w.archive, "-q"),
    lambda w, t: typed("history", w.archive, FAILED, "-q"),
    lambda w, t: typed("fixity", w.archive, "-q"),
    lambda w, t: typed("receipt", w.archive, w.receipt["deposit"], "-q"),
]


@pytest.mark.parametrize("run", QUIET)
def test_quiet_says_nothing_on_standard_error(run: Callable[[World, Path], Said], built: World, tmp_path: Path) -> None:
    assert run(built, tmp_path).err == ""


def test_the_python_doors(built: World, tmp_path: Path) -> None:
    import muniment

    (batch,) = muniment.read(built.good)
    assert len(batch) == 2
    assert batch.check() is not None
    assert batch.grade()["verdicts"].num_rows
    batch.write(tmp_path / "again.xml")
    assert json.loads(typed("survey", tmp_path / "again.xml", "--json").out)["files"][0]["records"] == 2
    assert len(list(muniment.open(built.archive).entries())) == 2
    for door in (muniment.read, muniment.open):
        assert door.__doc__ and "Errors" in door.__doc__
