"""muniment rates --trend: limits, a change that was planted, a unit that drifts and a cable that is bad."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from archive import store
from archive.answers.rates import pictures
from archive.answers.rates.same_links import LEADING
from archive.answers.rates.source import Choice, CountingSource
from archive.answers.rates.trend import trend
from tests.rates import years
from tests.rates.test_rates import run, told
from tests.store import store_making as making

MONTHS, UNITS, LINKS = 15, 6, 5
DRIFT = -0.043


def _unit(number: int) -> dict[str, Any]:
    return making.with_id(
        "instruments", {"maker": "Petrel Metrology", "model": "P-40", "serial": f"D-{number}", "unit": "main"}
    )


def _test(label: str, day: str, job: str, unit: int, margin: float, **more: Any) -> dict[str, Any]:
    """One link by one unit, with its worst points and its leading margin."""
    made = making.rows(
        label,
        time=day,
        place=f"{job}/{label}/{unit}",
        job_id=job,
        local_instrument_id=_unit(unit)["instrument_id"],
        evidence="worst-points",
        **{"cable_type": "cat6/u-utp", "reported_verdict": "pass"} | more,
    )
    verdict = {"record_id": made["records"][0]["record_id"], "verdict": "not graded", "provisional": False}
    verdict |= {"limits_version": "t", "program": "tests", "leading_parameter": "next", "leading_pairing": "1-2/3-6"}
    verdict["leading_margin"] = round(margin, 2)
    gone: dict[str, Any] = {"sweeps": [], "readings": [], "wiremap": []}
    return {**made, **gone, "instruments": [_unit(unit), making.FAR], "verdicts": [verdict]}


@pytest.fixture(scope="module")
def drifting(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six units for fifteen months, two jobs a month each: D-3 drifts, cable B of 2020-Q2 is bad; from 2020-07 on one
    link in five fails at the first test."""
    archive = store.create(tmp_path_factory.mktemp("drift") / "certificates")
    draw = np.random.default_rng(17)
    listed = []
    for month in range(MONTHS):
        for unit in range(UNITS):
            for half in range(2):
                cable = "cat6/u-utp" if draw.random() < 0.5 else "cat6/f-utp"
                bad = cable == "cat6/f-utp" and 3 <= month < 6
                level = 4 + draw.normal(0, 0.15) + DRIFT * month * (unit == 3) - 1.5 * bad + 0.3 * unit
                day = f"{2020 + month // 12}-{month % 12 + 1:02d}-{10 + half:02d}T10:00"
                for link in range(LINKS):
                    fails = month >= 6 and draw.random() < 0.2
                    listed.append(
                        _test(
                            f"L{link}",
                            day,
                            f"J-{month:02d}-{unit}-{half}",
                            unit,
                            float(level + draw.normal(0, 0.1)),
                            cable_type=cable,
                            reported_verdict="fail" if fails else "pass",
                        )
                    )
    making.deposit(archive, making.batch(*listed), job=None)
    archive.db.close()
    return archive.root


def test_the_unit_that_drifts_is_named_and_the_bad_cable_is_no_unit(drifting: Path) -> None:
    found = told("rates", drifting, "--trend", "month")
    listed = {d["serial"]: d for d in found["drift"]}
    assert set(listed) == {f"D-{n}" for n in range(UNITS)}
    assert [s for s, d in listed.items() if d["told"]] == ["D-3"]
    assert listed["D-3"]["low"] <= DRIFT <= listed["D-3"]["high"] < 0
    assert [(c["cable_type"], c["period"]) for c in found["cables"]] == [("cat6/f-utp", "2020-Q2")]
    assert found["cables"][0]["low"] < -1.5 < found["cables"][0]["high"] or found["cables"][0]["effect_db"] < -1.2
    (sentence,) = (t for t in found["told"] if t.startswith("Unit D-3"))
    assert (
        "the instrument, not the cable" in sentence
        and f"recall {drifting.name} --serial D-3 --since 2020-01" in sentence
    )


def rechecked(folder: Path, again: bool, mended: bool = False) -> Path:
    """Three units for ten months, two jobs a month each, which differ by half a dB: too much for a drift of D-1 to be
    seen in them. again: the links of each job are tested by the next unit a month later; mended: after they failed,
    and are 3 dB better for it."""
    archive = store.create(folder / "certificates")
    draw = np.random.default_rng(3)
    listed = []
    for month in range(10):
        for unit in range(3):
            for half in range(2):
                level = 4 + draw.normal(0, 0.5)
                for link in range(LINKS):
                    own = level + draw.normal(0, 0.1)
                    job, label = f"J-{month:02d}-{unit}-{half}", f"{month}.{unit}.{half}-{link}"
                    first = {"reported_verdict": "fail"} if mended else {}
                    at = own + DRIFT * month * (unit == 1) + draw.normal(0, 0.05)
                    listed.append(_test(label, f"2020-{month + 1:02d}-{10 + half}T10:00", job, unit, at, **first))
                    if again:
                        other = (unit + 1) % 3
                        at = own + 3 * mended + DRIFT * (month + 1) * (other == 1) + draw.normal(0, 0.05)
                        listed.append(_test(label, f"2020-{month + 2:02d}-{10 + half}T10:00", job, other, at))
    making.deposit(archive, making.batch(*listed), job=None)
    archive.db.close()
    return archive.root


def test_a_drift_that_jobs_hide_is_seen_on_links_that_other_units_tested_too(tmp_path: Path) -> None:
    alone = {d["serial"]: d for d in told("rates", rechecked(tmp_path / "a", False), "--trend", "month")["drift"]}
    assert not any(d["told"] or d["same_links"] or d["same_links_slope"] for d in alone.values())
    found = told("rates", rechecked(tmp_path / "b", True), "--trend", "month")
    both = {d["serial"]: d for d in found["drift"]}
    assert [s for s, d in both.items() if d["told"]] == ["D-1"]
    assert all(d["same_links"] == 2 * 10 * 2 * LINKS for d in both.values())  # its own, and those it tested after
    assert both["D-1"]["same_links_low"] < DRIFT < both["D-1"]["same_links_high"] < 0
    assert both["D-1"]["high"] - both["D-1"]["low"] < (alone["D-1"]["high"] - alone["D-1"]["low"]) / 4
    (sentence,) = (t for t in found["told"] if t.startswith("Unit D-1"))
    assert "On 200 links that other units tested too it is -0.0" in sentence


def test_links_that_were_mended_in_between_say_nothing_of_units(tmp_path: Path) -> None:
    found = told("rates", rechecked(tmp_path, True, mended=True), "--trend", "month")
    assert found["drift"] and all(d["same_links"] == 0 and not d["told"] for d in found["drift"])


def test_the_change_of_the_rate_is_found_where_it_is(drifting: Path) -> None:
    found = told("rates", drifting, "--trend", "month")
    assert [p["period"] for p in found["points"]] == [f"{2020 + m // 12}-{m % 12 + 1:02d}" for m in range(MONTHS)]
    assert all(p["low"] <= p["rate"] <= p["high"] and p["n"] == UNITS * 2 * LINKS for p in found["points"])
    change = found["change"]
    assert change["period"] in ("2020-06", "2020-07", "2020-08") and change["p"] <= 0.05
    assert change["before"] == 1.0 and 0.7 < change["after"] < 0.9
    assert found["alarms"] and {a["kind"] for a in found["alarms"]} <= {"point", "smoothed"}
    assert found["expected_false_alarms"] > 0


def test_few_jobs_set_no_limits(drifting: Path) -> None:
    found = told("rates", drifting, "--trend", "month", "--until", "2020-03")
    assert len(found["points"]) == 3 and found["alarms"] == [] and found["change"] is None
    assert all(p["limit_low"] is None for p in found["points"])
    assert any("need 6 periods" in n for n in found["notes"])
    assert found["drift"] == []


def test_nothing_is_told_of_an_archive_in_which_no_unit_drifts(of_years: Path) -> None:
    found = told("rates", of_years, "--trend", "quarter")
    assert [a["period"] for a in found["alarms"]] == [years.BAD_QUARTER]
    assert found["drift"] and not any(d["told"] for d in found["drift"])
    rows = [m for m in found["margins"] if m["parameter"] == "next"]
    assert len(rows) == len(found["points"]) and all(m["p5"] <= m["median"] for m in rows)


def test_medians_are_those_of_duckdb(drifting: Path) -> None:
    """An independent count: medians of each job from the raw tables of the bag."""
    import duckdb

    raw = duckdb.execute(
        f"SELECT r.job_id, median(v.leading_margin) FROM '{drifting}/deposits/*/*/data/tables/records.parquet' r "
        f"JOIN '{drifting}/deposits/*/*/data/tables/verdicts.parquet' v USING (record_id) GROUP BY 1 ORDER BY 1"
    ).fetchall()
    from archive.answers.rates.units import _medians

    source = CountingSource.of(store.open(drifting))
    mine = sorted((r["job"], r["margin"]) for r in _medians(source, Choice(), LEADING))
    assert mine == [(job, pytest.approx(margin)) for job, margin in raw]
    assert len(mine) == MONTHS * UNITS * 2


def test_it_is_drawn_and_printed(drifting: Path, tmp_path: Path) -> None:
    out = tmp_path / "trend.svg"
    result = run("rates", drifting, "--trend", "quarter", "--plot", out)
    assert result.exit_code == 0 and out.stat().st_size < 60_000
    assert "Unit D-3 loses" in result.stdout and "false alarms expected" in result.stdout
    sheet = pictures.of_trend(trend(store.open(drifting), "month")).svg()
    assert "changed at 2020-0" in sheet
    for words in (["--by", "year"], ["--what-failed"], ["--compare", "none"], ["--margin", "colour"]):
        assert run("rates", drifting, "--trend", "month", *words).exception is not None
    assert run("rates", drifting, "--margin", "next").exception is not None
