"""Whatever stands in a user's file, it is read or told in one line: the right keys with wrong things in them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from archive.errors import Trouble
from archive.limits import confirm, own
from archive.limits.file_tables import LimitTable, LineTable, ScalarTable, SegmentTable

LIMIT = "tia-568.2-d/cat6a/permanent-link"
scalars = st.one_of(
    st.none().map(lambda _: ""),
    st.booleans(),
    st.integers(-3, 1200),
    st.floats(),
    st.sampled_from(
        ["19", "24 - 5*lg(f)", "next", "cable", "n*f", "A", "C", "required", "straight over f", LIMIT, "pair"]
    ),
    st.text(max_size=5),
)
anything = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)


def _tables(kind: Any, *without: str) -> st.SearchStrategy[dict[str, Any]]:
    keys = {field.encode_name for field in msgspec.structs.fields(kind)} - {*without}
    return st.dictionaries(st.sampled_from(sorted(keys)), anything, max_size=5)


pieces = st.lists(_tables(SegmentTable), max_size=3)
lines = st.dictionaries(
    st.sampled_from(["next", "insertion_loss", "acr_n", "nxt"]),
    st.one_of(
        _tables(LineTable),
        st.builds(lambda t, p: {**t, "pieces": p}, _tables(LineTable), pieces),
        st.builds(lambda t: {"range_mhz": [1, 100], "formula": "19", **t}, _tables(LineTable)),
    ),
    max_size=3,
)
numbers = st.dictionaries(st.sampled_from(["delay_skew", "length", "x"]), _tables(ScalarTable), max_size=2)
files = st.builds(
    lambda head, parts, rest: {**rest, **head, **parts},
    st.just({"id": "a", "title": "t", "by": "b"}),
    st.fixed_dictionaries({"lines": lines, "scalars": numbers}),
    st.builds(
        lambda rest, terms: {**rest, "terms": terms} if terms else rest,
        _tables(LimitTable, "lines", "scalars"),
        st.dictionaries(
            st.sampled_from(["cable", "a"]), st.one_of(anything, st.fixed_dictionaries({"steps": anything}))
        ),
    ),
)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(files)
def test_own(monkeypatch: pytest.MonkeyPatch, table: dict[str, Any]) -> None:
    monkeypatch.setattr(own, "read_toml", lambda *_, **__: table)
    try:
        limit = own.load_own("own.toml")
    except Trouble as trouble:
        assert "\n" not in str(trouble)
        return
    assert limit.own and limit.id == "own/a"
    for line in limit.lines.values():
        line.at([1.0, 100.0]), line.confidence, line.grid()


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines, numbers, anything, anything, anything)
def test_confirmation(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, lines: Any, numbers: Any, confirms: Any, terms: Any, band: Any
) -> None:
    table = {"limit": LIMIT, "by": "b", "on": "2026-11-20", "document": "d", "lines": lines, "scalars": numbers}
    table |= {"confirms": confirms, "terms": terms, "range_mhz": band}
    (tmp_path / "c.toml").write_text("x", encoding="utf-8")
    monkeypatch.setattr(confirm, "read_toml", lambda *_, **__: table)
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")
    try:
        confirm.confirm(LIMIT, tmp_path / "c.toml")
    except Trouble as trouble:
        assert "\n" not in str(trouble)
        assert not list((tmp_path / "data").rglob("*.aside"))
