"""The leading margin: what separates good links from poor ones, and the same from stored grades."""

import json

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from click.testing import CliRunner

from archive import formats
from archive.cli.commands.grade import command
from archive.demo.simulator import simulate
from archive.grading import grade
from archive.grading.leading import COLUMNS, with_leading
from archive.tables import identical
from tests.grading.making import CAT6A, CLASS_EA, batch, find, grades, record, verdict

LEADING = ("return_loss", "next", "ps_next", "acr_n", "ps_acr_n", "acr_f", "ps_acr_f", "elfext", "ps_elfext")


@pytest.mark.parametrize("limit", [CAT6A, CLASS_EA])
def test_the_smallest_of_return_loss_and_crosstalk_leads(limit):
    part = record(limit)
    find(part, "return_loss", "remote", "4-5")["values"][700] -= 2.4
    graded = grade(batch(part))
    found = verdict(graded)
    margins = {row["parameter"]: row["margin"] for row in grades(graded, kind="overall")}
    assert found["leading_margin"] == min(margins[name] for name in LEADING if name in margins)
    assert (found["leading_parameter"], found["leading_end"], found["leading_pairing"]) == (
        "return_loss",
        "remote",
        "4-5",
    )
    assert found["leading_frequency_mhz"] == part["axes"][0]["frequencies_mhz"][700]
    assert found["leading_margin"] == pytest.approx(found["leading_value"] - found["leading_limit"], abs=1e-8)
    assert found["margin"] <= found["leading_margin"]
    assert limit != CAT6A or found["parameter"] == "insertion_loss", "at 1 MHz every link has about the same margin"


def test_insertion_loss_stands_beside_it_where_its_limit_is_high_enough():
    found = verdict(grade(batch(record(CAT6A, margin=5.0))))
    assert found["parameter"] == "insertion_loss" and found["margin"] < 2
    assert found["insertion_loss_margin"] == pytest.approx(5.0, abs=0.05)


@pytest.mark.parametrize("parameter", ["insertion_loss", "next"])
def test_of_a_link_that_fails_the_worst_failing_parameter_leads(parameter):
    part = record(CAT6A)
    end, pairing, off = (None, "4-5", 40.0) if parameter == "insertion_loss" else ("local", "3-6/4-5", -40.0)
    find(part, parameter, end, pairing)["values"][900] += off
    found = verdict(grade(batch(part)))
    assert found["verdict"] == "fail"
    for name in ("parameter", "pairing", "end", "frequency_mhz", "value", "limit", "margin"):
        assert found[f"leading_{name}"] == found[name]


def test_without_its_parameters_there_is_none_and_that_is_said(tmp_path):
    part = record(CAT6A)
    part["sweeps"] = [row for row in part["sweeps"] if row["parameter"] == "insertion_loss"]
    graded = grade(batch(part))
    assert all(verdict(graded)[name] is None for name in COLUMNS)
    path = tmp_path / "loss.xml"
    formats.write([batch(part)], path, "xml")
    result = CliRunner().invoke(command, [str(path)], catch_exceptions=False)
    assert "no leading margin: neither return loss nor crosstalk was graded" in result.stdout
    assert json.loads(CliRunner().invoke(command, [str(path), "--json"]).stdout)["records"][0]["leading"] is None


def test_stored_grades_give_the_same_leading_margins():
    good, bad, edge = (record(CAT6A, record_id=f"re-{i}", link=f"re-{i}") for i in range(3))
    find(bad, "next", "local", "3-6/4-5")["values"][500] -= 30
    find(edge, "return_loss", "local", "1-2")["values"][500] -= 4
    points = {
        "records": [{"record_id": "re-3", "limit_found": CAT6A, "evidence": "worst-points"}],
        "reported": [
            {"record_id": "re-3", "kind": "worst_value", "end": "local", "parameter": "next", "pairing": "1-2/3-6"}
            | {"frequency_mhz": 100.0, "value": 3.0}
        ],
    }
    graded = grade(batch(good, bad, edge, points), [CAT6A, "tia-568.2-d/cat6a/channel", "ieee-802.3/1000base-t"])
    names = [*COLUMNS, "insertion_loss_margin"]
    older = graded["verdicts"].drop_columns(names)
    again = with_leading(older, graded["grades"])
    assert identical(again.select(names).combine_chunks(), graded["verdicts"].select(names).combine_chunks())
    assert pc.sum(pc.is_valid(again["leading_margin"])).as_py() > 9


def test_json_has_the_leading_margin_beside_the_worst(tmp_path):
    path = tmp_path / "links.xml"
    formats.write([batch(record(CAT6A))], path, "xml")
    result = CliRunner().invoke(command, [str(path), "--json"], catch_exceptions=False)
    (found,) = json.loads(result.stdout)["records"]
    assert found["worst"]["parameter"] == "insertion_loss" and found["leading"]["parameter"] in LEADING
    assert found["leading"]["margin_db"] > found["worst"]["margin_db"]
    assert found["leading"]["insertion_loss_margin_db"] > found["worst"]["margin_db"]
    assert set(found["margins"]) == {row["parameter"] for row in found["overall"] if row["margin"] is not None}
    (left_out,) = found["left_out"]
    assert left_out.keys() == {"parameter", "points", "from_mhz", "to_mhz", "rule"}
    assert (left_out["parameter"], left_out["rule"]) == ("return_loss", "insertion loss below 3 dB (C)")


def test_the_leading_margin_ranks_links_that_were_made_worse_first():
    """Every tenth simulated link that passes has 3 dB less NEXT. How often does such a link come before another?"""
    links = next(simulate(60, 20261, category="cat6a"))
    spoilt = set(links["records"].column("record_id").to_pylist()[::10])
    rows = links["sweeps"].to_pylist()
    for row in rows:
        if row["record_id"] in spoilt and row["parameter"] == "next":
            row["values"] = [None if v is None else round(v - 3.0, 1) for v in row["values"]]
    sweeps = pa.Table.from_pylist(rows, schema=links["sweeps"].schema)
    found = [v for v in grade(links.replace(sweeps=sweeps), CAT6A)["verdicts"].to_pylist() if v["verdict"] == "pass"]
    worse, others = ([v for v in found if (v["record_id"] in spoilt) == bad] for bad in (True, False))
    assert len(worse) == len(spoilt) == 6 and len(others) > 50
    before = {
        name: np.mean([a[name] < b[name] for a in worse for b in others]) for name in ("leading_margin", "margin")
    }
    assert before["leading_margin"] > 0.95
    assert before["margin"] < 0.8
