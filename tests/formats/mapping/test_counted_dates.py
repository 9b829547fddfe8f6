"""Times that an export writes as numbers: seconds and milliseconds since 1970, days of spreadsheets.

Outside check: datetime.fromtimestamp of Python and pandas.to_datetime, which count the same. The worked example of
25569 for 1 January 1970 follows from both and is common practice.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import archive.formats
from archive.formats.base import dates
from archive.formats.draft import draft
from archive.formats.recognition import Entry

_NUMBERS = st.integers(int(datetime(1980, 1, 2, tzinfo=UTC).timestamp()), int(datetime(2099, 12, 30).timestamp()))


@given(_NUMBERS)
def test_seconds_and_milliseconds_are_those_of_python(seconds: int) -> None:
    want = datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None).isoformat()
    assert dates.read(str(seconds), "seconds since 1970") == dates.When(want, 0)
    assert dates.read(f"{seconds}000", "milliseconds since 1970") == dates.When(want, 0)
    assert dates.read(f"{seconds}250", "milliseconds since 1970") == dates.When(f"{want}.250", 0)


@given(st.integers(29_221, 73_000), st.integers(1, 86_399))
def test_days_are_those_of_pandas(day: int, second: int) -> None:
    whole = pd.to_datetime(day, unit="D", origin="1899-12-30")
    assert dates.read(str(day), "days since 1900") == dates.When(whole.date().isoformat())
    found = dates.read(f"{day + second / 86_400:.8f}", "days since 1900")
    assert found == dates.When((whole + pd.Timedelta(seconds=second)).isoformat())


@pytest.mark.parametrize("cell", ["2019", "0", "x", "-5", "99999999999", "20190107", "1e300", "nan", ""])
def test_numbers_that_are_no_time_are_none(cell: str) -> None:
    for pattern in dates.counts():
        assert dates.read(cell, pattern) is None


@pytest.mark.parametrize(
    ("heading", "cells", "want"),
    [
        ("Tested", ["1546848044", "1546848100", "1546848160"], "2019-01-07T08:00:44"),
        ("Date", ["1546848044123", "1546848100000", "1546848160000"], "2019-01-07T08:00:44.123"),
        ("Test date", ["43472.33384259", "43472.5", "43473.25"], "2019-01-07T08:00:44"),
        ("Test date", ["43472", "43473", "43474"], "2019-01-07"),
    ],
)
def test_a_draft_knows_them_under_a_heading_of_a_date(
    heading: str, cells: list[str], want: str, tmp_path: Path
) -> None:
    path = tmp_path / "export.csv"
    lines = [f"Link label;{heading};Length (m)"]
    lines += [f"2B-C0{i};{cell};{41 + i}.5" for i, cell in enumerate(cells)]
    path.write_text("\n".join(lines) + "\n")
    made = draft(Entry(path, path.name))
    found = next(f for f in made.fields if f["from"] == heading)
    assert found["to"] == "records.tested_found"
    (tmp_path / "m.toml").write_bytes(made.text.encode())
    batch = next(iter(archive.formats.read(path, mapping=tmp_path / "m.toml")))
    first = batch["records"].to_pylist()[0]
    assert first["tested_local"] == want
    assert (first["tested_at"] is not None) == (not cells[0].startswith("43"))


def test_six_digits_of_a_time_of_day_are_no_days(tmp_path: Path) -> None:
    path = tmp_path / "export.csv"
    path.write_text("Link label;Time\n" + "".join(f"2B-C0{i};{c}\n" for i, c in enumerate(("063000", "064500"))))
    assert not any("since" in line for line in draft(Entry(path, path.name)).text.splitlines())


def test_a_mapping_may_name_them_beside_other_patterns() -> None:
    assert dates.fault("seconds since 1970") == ""
    assert dates.fault("seconds since 1970|DD.MM.YYYY") == ""
    assert dates.fault("seconds since then")
    assert dates.read("07.01.2019", "seconds since 1970|DD.MM.YYYY") == dates.When("2019-01-07")
