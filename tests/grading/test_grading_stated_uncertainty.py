"""Uncertainties that a record states itself, and accuracy that is one unit's: what the verdict says of them.

Probabilities are checked against the normal distribution of Python's statistics (JCGM 106:2012, specific risk). All
records are invented.
"""

from __future__ import annotations

import statistics

import pytest

from archive import formats
from archive.grading import grade, load_accuracy
from tests.grading.making import CAT6A, batch, record, verdict


def stated(width, parameter="next", record_id="re-1", **named):
    row = {"record_id": record_id, "parameter": parameter, "kind": "overall", "uncertainty": width}
    return {**row, **named}


def graded(*rows, k=2.0, margin=0.4, accuracy=None):
    part = record(CAT6A, margin=margin, coverage_factor=k)
    part["reported"] = list(rows)
    out = grade(batch(part), accuracy=accuracy)
    return verdict(out), [r for r in out["grades"].to_pylist() if r["kind"] == "worst_margin"]


def beyond(margin, width, k=2.0):
    return statistics.NormalDist(margin, width / k).cdf(0.0)


def test_an_uncertainty_of_the_record_is_stated_with_its_verdict():
    found, rows = graded(stated(1.0), stated(2.0, "return_loss"))
    widths = {"next": 1.0, "return_loss": 2.0}
    wanted = max(beyond(r["margin"], widths[r["parameter"]]) for r in rows if r["parameter"] in widths)
    assert found["wrong_probability"] == pytest.approx(wanted, abs=1e-9)
    assert found["decision"].startswith(
        "simple acceptance; uncertainty as the record states it (k = 2), not stated for every value of insertion loss,"
    )
    assert "probability of a false accept at the most critical worst margin" in found["decision"]
    assert (found["marginal"], found["marginal_basis"]) == (True, "uncertainty as the record states it")


def test_a_record_that_states_no_factor_has_no_probability():
    found, _ = graded(stated(1.0), k=None)
    assert found["wrong_probability"] is None
    assert "without a coverage factor" in found["decision"] and found["decision"].endswith("no probability")


def test_an_uncertainty_speaks_only_of_the_pair_end_and_frequency_that_it_names():
    _, rows = graded(stated(1.0))
    row = next(r for r in rows if r["parameter"] == "next" and r["end"] == "remote")
    exact = {"end": "remote", "pairing": row["pairing"], "frequency_mhz": row["frequency_mhz"]}
    alone, _ = graded(stated(1.0, **exact))
    assert alone["wrong_probability"] == pytest.approx(beyond(row["margin"], 1.0), abs=1e-9)
    elsewhere, _ = graded(stated(1.0, **{**exact, "frequency_mhz": 333.25}))
    assert elsewhere["decision"] == "simple acceptance; uncertainty not stated"
    assert elsewhere["wrong_probability"] is None and elsewhere["marginal"] is None


@pytest.mark.parametrize("frequency", [1e300, -1e300, -5.0])
def test_a_frequency_that_is_none_fits_nothing(frequency):
    found, _ = graded(stated(1.0, frequency_mhz=frequency))
    assert found["decision"] == "simple acceptance; uncertainty not stated"


def test_of_several_the_largest_counts():
    both, _ = graded(stated(0.2), stated(1.5))
    large, _ = graded(stated(1.5))
    assert both["wrong_probability"] == large["wrong_probability"] > 0


def test_other_records_of_the_batch_state_nothing():
    one, other = record(CAT6A, coverage_factor=2.0), record(CAT6A, record_id="re-2", link="1A-02")
    one["reported"] = [stated(1.0)]
    found = {v["record_id"]: v["decision"] for v in grade(batch(one, other))["verdicts"].to_pylist()}
    assert "as the record states it" in found["re-1"]
    assert found["re-2"] == "simple acceptance; uncertainty not stated"


def test_a_file_counts_before_the_record_and_the_record_where_the_file_is_silent(tmp_path):
    path = tmp_path / "accuracy.toml"
    path.write_text('source = "certificate"\ncoverage_factor = 2\n[accuracy]\nnext = 0.5\n', encoding="utf-8")
    found, rows = graded(stated(9.0), stated(2.0, "return_loss"), accuracy=load_accuracy(path))
    widths = {"next": 0.5, "return_loss": 2.0}
    wanted = max(beyond(r["margin"], widths[r["parameter"]]) for r in rows if r["parameter"] in widths)
    assert found["wrong_probability"] == pytest.approx(wanted, abs=1e-9)
    assert (
        "accuracy.toml: certificate (k = 2); beside it uncertainty as the record states it (k = 2)"
        in (found["decision"])
    )


def test_a_guarded_decision_takes_the_uncertainty_of_the_record(tmp_path):
    path = tmp_path / "accuracy.toml"
    text = 'source = "policy"\ndecision = "guarded"\nguard_band = 1.0\n[accuracy]\ndelay_skew = 0.1\n'
    path.write_text(text, encoding="utf-8")
    near, _ = graded(stated(1.0, "return_loss"), accuracy=load_accuracy(path))
    assert near["verdict"] == "not graded"
    assert near["reason"].startswith("guarded acceptance: return loss within the guard band")
    far, _ = graded(stated(1.0, "return_loss"), margin=5.0, accuracy=load_accuracy(path))
    assert far["verdict"] == "pass"


@pytest.mark.parametrize(
    ("local", "remote", "speaks"),
    [("A", "B", True), ("A", None, True), ("A", "C", False), (None, None, False), ("A", "unknown", False)],
)
def test_accuracy_of_named_units_is_of_tests_by_these_units_alone(tmp_path, local, remote, speaks):
    path = tmp_path / "accuracy.toml"
    text = 'source = "certificates"\ncoverage_factor = 2\nserials = ["A", "B"]\n[accuracy]\nnext = 1.0\n'
    path.write_text(text, encoding="utf-8")
    part = record(CAT6A, margin=0.4, local_instrument_id=local, remote_instrument_id=remote)
    part["instruments"] = [{"instrument_id": i, "serial": i if i != "unknown" else None} for i in ("A", "B", "C")]
    part["instruments"].append({"instrument_id": "unknown"})
    found = verdict(grade(batch(part), accuracy=load_accuracy(path)))
    assert (found["wrong_probability"] is not None) is speaks
    assert ("certificates" in found["decision"]) is speaks


MAPPING = """
[mapping]
layout = "buoy-worst"
language = 1

[cells]
decimal = "."

[[file]]
kind = "delimited"
delimiter = ","

[[file.table]]
rows = "links"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "NEXT Value", to = "reported.next.value[worst_value]" },
  { from = "NEXT At", to = "reported.next.frequency[worst_value]" },
  { from = "NEXT U", to = "reported.next.uncertainty[worst_value]" },
  { from = "k", to = "records.coverage_factor" },
  { from = "Delay", to = "readings.propagation_delay" },
  { from = "Delay U", to = "reported.propagation_delay.uncertainty" },
]
"""
EXPORT = "Link,NEXT Value,NEXT At,NEXT U,k,Delay,Delay U\nA-1,41.2,250,1.3,2,412,6\nA-2,40.1,251,,,420,\n"


def test_a_mapping_reads_uncertainties_and_every_form_keeps_them(tmp_path):
    (tmp_path / "buoy.toml").write_text(MAPPING, encoding="utf-8")
    (tmp_path / "links.csv").write_text(EXPORT, encoding="utf-8")
    (read,) = formats.read_all([str(tmp_path / "links.csv")], mapping=str(tmp_path / "buoy.toml"))
    assert not read["set_aside"].num_rows
    for name, form in (("", ""), ("out.xml", "xml"), ("csv", "csv"), ("parquet", "parquet")):
        if form:
            formats.write([read], str(tmp_path / name), form)
            (read,) = formats.read_all([str(tmp_path / name)])
        facts = {r["record_id"]: r for r in read["records"].to_pylist()}
        assert {r["link_label"]: r["coverage_factor"] for r in facts.values()} == {"A-1": 2.0, "A-2": None}
        assert sorted(
            (facts[r["record_id"]]["link_label"], r["parameter"], r["uncertainty"] or 0.0)
            for r in read["reported"].to_pylist()
        ) == [("A-1", "next", 1.3), ("A-1", "propagation_delay", 6.0), ("A-2", "next", 0.0)]
