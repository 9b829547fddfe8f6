"""Generated batches for property tests: every table, unusual text, nulls and empty strings, odd numbers.

Everything here is invented by chance; nothing is a measurement.
"""

from __future__ import annotations

import math
import struct
from typing import Any

import numpy as np
from hypothesis import strategies as st

from archive.tables import Batch, Column, axis_row, ordered, tables

# Characters that break one form or another: controls, line ends of Unicode, non-characters, what spreadsheets
# execute, what CSV and XML quote, combining and right-to-left marks, beyond the first plane.
ODD = list("\0\x01\x08\t\n\x0b\x0c\r\x1b\x1f\x7f\x85\x9f\xa0\xad\u2028\u2029\u202e\u200b\ufeff\ufffd\ufffe\uffff\ufdd0")
ODD += ["\U0001f600", "\U0001fffe", "\U0010ffff", "e\u0301", "\u05d0", "\u3000"]
ODD += list("=+-@\"'<>&;,\\{}|%\u221e ")
ODD += [
    "\\N",
    "\\E",
    "\\u{41}",
    "&amp;",
    "]]>",
    "<![CDATA[",
    "NaN",
    "-",
    "=1+1",
    "\r\n",
]

characters = st.characters(exclude_categories=("Cs",))
texts = st.lists(st.one_of(st.sampled_from(ODD), characters), max_size=6).map("".join)
"""Any text that UTF-8 can hold, the empty one too."""

ODD_NUMBERS = [0.0, -0.0, 5e-324, -5e-324, 1.7976931348623157e308, 2.2250738585072014e-308, 0.1, 1 / 3, 1e-6, 9.99e-7]
ODD_NUMBERS += [1e10, 9999999999.999998, 1e15, 1e16, 1e17, 123456789012345680.0, 1e21, 1e22, 1e23, 35.4, 70.0, -48.2]

numbers = st.one_of(
    st.sampled_from(ODD_NUMBERS),
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-2000, 2000).map(lambda n: n / 10),
    st.integers(0, 2**64 - 1).map(lambda bits: struct.unpack("<d", struct.pack("<Q", bits))[0]).filter(math.isfinite),
)
"""Any finite double."""

whole = st.one_of(st.integers(-5, 300), st.integers(-(2**63), 2**63 - 1))
instants = st.integers(-62_135_596_800_000, 253_402_300_799_999)

SIZES = [1, 2, 3, 5, 17, 400, 5000]
"""Points of a sweep."""


def cells(column: Column) -> st.SearchStrategy[Any]:
    """Cells of a column, null too where it may be."""
    kind = {
        "text": texts,
        "key": texts,
        "real": numbers,
        "int": whole,
        "bool": st.booleans(),
        "instant": instants,
        "reals": st.lists(numbers, max_size=4),
        "ints": st.lists(whole, max_size=4),
        "texts": st.lists(texts, max_size=4),
    }
    some = st.sampled_from(sorted(column.words)) if column.kind == "word" else kind[column.kind]
    return st.one_of(st.none(), some) if column.nullable else some


def rows(name: str, **fixed: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Rows of one table; fixed: columns with a strategy of their own."""
    return st.fixed_dictionaries(
        {c.name: fixed[c.name] if c.name in fixed else cells(c) for c in tables()[name].columns}
    )


@st.composite
def axes(draw: st.DrawFn) -> list[dict[str, Any]]:
    """One to four different axes, of MHz or km."""
    out = {}
    for _ in range(draw(st.integers(1, 4))):
        kind = draw(st.sampled_from(["frequencies_mhz", "distances_km"]))
        points = draw(st.sampled_from(SIZES))
        step = draw(st.sampled_from([1.0, 0.1, 1.25, 1 / 3, 1e-5]))
        start = draw(st.sampled_from([0.0, 1.0, -2.0, 1e-9]))
        row = axis_row((start + step * np.arange(points)).tolist(), kind)
        out[row["axis_id"]] = row
    return list(out.values())


@st.composite
def sweep(draw: st.DrawFn, record_id: str, given: list[dict[str, Any]]) -> dict[str, Any]:
    """A sweep over one of the axes, with missing points, censored points and odd numbers."""
    axis = draw(st.sampled_from(given))
    points = len(axis["frequencies_mhz"] if axis.get("frequencies_mhz") is not None else axis["distances_km"])
    chance = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    step = draw(st.sampled_from([0.1, 0.01, None]))
    curve = chance.uniform(-5, 90, points)
    values: list[float | None] = (curve if step is None else np.round(curve / step) * step).tolist()
    for _ in range(draw(st.integers(0, min(points, 6)))):
        values[draw(st.integers(0, points - 1))] = draw(st.one_of(st.none(), numbers))
    which = st.one_of(st.none(), st.lists(st.integers(0, points - 1), max_size=4))
    return draw(
        rows(
            "sweeps",
            record_id=st.just(record_id),
            axis_id=st.just(axis["axis_id"]),
            values=st.just(values),
            above=which,
            below=which,
        )
    )


@st.composite
def batches(draw: st.DrawFn, most_records: int = 4) -> Batch:
    """A sound batch in order, with rows in any table."""
    given = draw(axes())
    ids = draw(st.lists(texts, max_size=most_records, unique=True))
    built: dict[str, list[dict[str, Any]]] = {"axes": given, "records": []}
    for record_id in ids:
        built["records"].append(draw(rows("records", record_id=st.just(record_id))))
    for name, table in tables().items():
        if name in ("axes", "records"):
            continue
        if table.level == "record":
            listed = []
            for record_id in ids:
                one = sweep(record_id, given) if name == "sweeps" else rows(name, record_id=st.just(record_id))
                listed += draw(st.lists(one, max_size=2))
            built[name] = listed
        else:
            key = table.key
            built[name] = draw(
                st.lists(rows(name), max_size=2, unique_by=(lambda r, k=key: r[k]) if key else None)  # type: ignore[misc]
            )
    for row in built["records"]:
        row["tested_at"] = _instant(row["tested_at"])
    return ordered(Batch.from_rows(built))


def _instant(milliseconds: int | None) -> Any:
    if milliseconds is None:
        return None
    import pyarrow as pa

    return pa.scalar(milliseconds, type=pa.timestamp("ms", tz="UTC"))
