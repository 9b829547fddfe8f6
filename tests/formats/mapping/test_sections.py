"""Texts of sections in brackets, with names and values and curves that nothing but their section stands above.

Layouts and numbers are invented; what a draft reads is compared with what was written.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import archive.formats
from archive.formats.draft import draft
from archive.formats.recognition import Entry

_CURVES = [
    ("insertion loss", "12", ""),
    ("insertion loss", "36", ""),
    ("NEXT", "12-36", "local"),
    ("NEXT", "12-36", "remote"),
    ("NEXT", "36-45", "local"),
]
_MHZ = [1.0 + 8 * k for k in range(25)]


def _values(quantity: str, link: int) -> list[float]:
    if quantity == "NEXT":
        return [round(75 - 15 * math.log10(f) + (k % 3) * 0.3 + link / 10, 2) for k, f in enumerate(_MHZ)]
    return [round(0.02 * math.sqrt(f) * (40 + link) / 2, 2) for f in _MHZ]


def _points(quantity: str, link: int, mark: str) -> str:
    return "".join(f"{f:g}{mark}{v}\n" for f, v in zip(_MHZ, _values(quantity, link), strict=True))


def _head(link: int, name: str = "label") -> str:
    return f"{name}=2B-C{link:02d}\ntested=2021-05-{link:02d} 10:11:00\nresult={'FAIL' if link == 3 else 'PASS'}\n"


def plain(links: int) -> str:
    """A section for each link, and one for each curve of it."""
    out = "[FILE]\nmodel=Whimbrel Q7\nserial=Q7-00172\n"
    for i in range(1, links + 1):
        out += "[LINK]\n" + _head(i, "id")
        for q, p, e in _CURVES:
            end = f"end={e}\n" if e else ""
            out += f"[CURVE]\nquantity={q}\npair={p}\n{end}unit=dB\n" + _points(q, i, ";")
    return out


def blanks(links: int) -> str:
    """As plain, with blanks between the numbers."""
    return plain(links).replace(";", "   ")


def numbered(links: int) -> str:
    """The label of the link in its bracket, numbers in those of the curves."""
    out = ""
    for i in range(1, links + 1):
        out += f"[Link 2B-C{i:02d}]\ntested=2021-05-{i:02d} 10:11:00\nresult={'FAIL' if i == 3 else 'PASS'}\n"
        for n, (q, p, e) in enumerate(_CURVES, 1):
            end = f"end={e}\n" if e else ""
            out += f"[Sweep {n}]\nquantity={q}\npair={p}\n{end}" + _points(q, i, ",")
    return out


def _sections(links: int, section: Callable[[str, str, str], str], mark: str) -> str:
    """A section for each link, and one for each curve that begins as `section` says."""
    out = ""
    for i in range(1, links + 1):
        out += "[LINK]\n" + _head(i)
        out += "".join(section(q, p, e) + _points(q, i, mark) for q, p, e in _CURVES)
    return out


def named(links: int) -> str:
    """What a curve is stands in its bracket."""
    return _sections(links, lambda q, p, e: f"[{' '.join(x for x in (q, p, e) if x)}]\n", ";")


def _labelled(quantity: str, pair: str, end: str) -> str:
    return f"[CURVE]\nquantity={quantity}\npair={pair}\n" + (f"end={end}\n" if end else "")


def headed(links: int) -> str:
    """Headings above the points of each section."""
    return _sections(links, lambda q, p, e: _labelled(q, p, e) + "MHz\tdB\n", "\t")


def alone(links: int) -> str:
    """A file of one link."""
    del links
    out = "[LINK]\n" + _head(1, "link id")
    for q, p, e in _CURVES:
        end = f"end={e}\n" if e else ""
        out += f"[CURVE]\nquantity={q}\npair={p}\n{end}" + _points(q, 1, "\t")
    return out


_PARAMETERS = {"insertion loss": "insertion_loss", "NEXT": "next"}
_PAIRS = {"12": "1-2", "36": "3-6", "12-36": "1-2/3-6", "36-45": "3-6/4-5"}


@pytest.mark.parametrize("made", [plain, blanks, numbered, named, headed, alone], ids=lambda f: f.__name__)
def test_a_draft_reads_what_was_written(made: Callable[[int], str], tmp_path: Path) -> None:
    links = 1 if made is alone else 6
    path, mapping = tmp_path / "export.txt", tmp_path / "drafted.toml"
    path.write_text(made(links))
    drafted = draft(Entry(path, path.name))
    mapping.write_text(drafted.text)
    assert all(f["confidence"] >= 0.9 for f in drafted.fields), drafted.text
    found: dict[Any, Any] = {}
    verdicts = {}
    for batch in archive.formats.read(path, mapping=mapping):
        assert not batch["set_aside"].num_rows
        assert all(s["cells_read"] == s["cells_mapped"] + s["cells_extra"] + s["cells_ignored"] for s in _told(batch))
        label = {r["record_id"]: r["link_label"] for r in batch["records"].to_pylist()}
        verdicts |= {r["link_label"]: r["reported_verdict"] for r in batch["records"].to_pylist()}
        axes = {a["axis_id"]: a["frequencies_mhz"] for a in batch["axes"].to_pylist()}
        for s in batch["sweeps"].to_pylist():
            assert axes[s["axis_id"]] == _MHZ
            found[label[s["record_id"]], s["parameter"], s["pairing"], s["end"]] = s["values"]
    assert found == {
        (f"2B-C{i:02d}", _PARAMETERS[q], _PAIRS[p], e or None): _values(q, i)
        for i in range(1, links + 1)
        for q, p, e in _CURVES
    }
    assert verdicts == {f"2B-C{i:02d}": "fail" if i == 3 else "pass" for i in range(1, links + 1)}


def _told(batch: Any) -> list[dict[str, Any]]:
    return [s for s in batch["sources"].to_pylist() if s["cells_read"] is not None]


def test_rows_whose_quantity_nobody_knows_are_counted_once(tmp_path: Path) -> None:
    """Labels that hold for many rows are counted where they stand, and not again for each row that is lost."""
    path, mapping = tmp_path / "export.txt", tmp_path / "drafted.toml"
    path.write_text(plain(4))
    text = draft(Entry(path, path.name)).text
    mapping.write_text(text.replace('"NEXT" = "next"', '"never" = "next"'))
    read = list(archive.formats.read(path, mapping=mapping))
    (told,) = [s for b in read for s in _told(b)]
    points = 4 * 3 * len(_MHZ)
    assert told["cells_extra"] >= 2 * points
    assert told["cells_mapped"] > 0
    assert told["cells_read"] == told["cells_mapped"] + told["cells_extra"] + told["cells_ignored"]
    assert told["cells_read"] == sum(len(line.replace("=", ";").split(";")) for line in plain(4).splitlines()) - sum(
        "=" in line for line in plain(4).splitlines()
    )
