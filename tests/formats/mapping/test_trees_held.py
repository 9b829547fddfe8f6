"""XML and JSON whose records stand deep, whose pairs stand in two attributes, whose lists are below zero, and so on.

Layouts and numbers are invented; what a draft reads is compared with what was written. Whatever a mapping does with the
cells of a tree, each is counted once.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

import archive.formats
from archive.formats.draft import draft
from archive.formats.recognition import Entry

_PAIRS = ["1-2", "3-6", "4-5", "7-8"]
_COMBINATIONS = [(a, b) for i, a in enumerate(_PAIRS) for b in _PAIRS[i + 1 :]]
_MHZ = [1.0 + 8 * k for k in range(20)]


def _next(link: int, which: int, end: str) -> list[float]:
    lift = link / 10 + which / 5 + (end == "remote") * 0.4
    return [round(75 - 15 * math.log10(f) + (k % 3) * 0.3 + lift, 2) for k, f in enumerate(_MHZ)]


def _loss(link: int, which: int) -> list[float]:
    return [round(0.02 * math.sqrt(f) * (40 + link + which), 2) for f in _MHZ]


def _length(link: int, pair: int) -> float:
    return round(31.5 + link + pair * 0.4, 1)


def _loop(link: int, pair: int) -> float:
    return round(5.25 + link * 0.11 + pair * 0.07, 2)


def _drafted(path: Path) -> Any:
    return draft(Entry(path, path.name))


def _read(path: Path, mapping: str) -> dict[str, list[dict[str, Any]]]:
    """The rows of all tables; every cell is counted once."""
    kept = path.with_suffix(".toml")
    kept.write_text(mapping)
    rows: dict[str, list[dict[str, Any]]] = {}
    for batch in archive.formats.read(path, mapping=kept):
        for name, table in batch.items():
            rows.setdefault(name, []).extend(table.to_pylist())
    for told in (s for s in rows["sources"] if s["cells_read"] is not None):
        assert told["cells_mapped"] >= 0
        assert told["cells_read"] == told["cells_mapped"] + told["cells_extra"] + told["cells_ignored"]
    return rows


def _told(rows: dict[str, list[dict[str, Any]]]) -> dict[str, int]:
    (told,) = [s for s in rows["sources"] if s["cells_read"] is not None]
    return {k: told[f"cells_{k}"] for k in ("read", "mapped", "extra", "ignored")}


def _sweeps(rows: dict[str, list[dict[str, Any]]]) -> dict[Any, list[float]]:
    label = {r["record_id"]: r["link_label"] for r in rows["records"]}
    axes = {a["axis_id"]: a["frequencies_mhz"] for a in rows["axes"]}
    assert all(axes[s["axis_id"]] == _MHZ for s in rows["sweeps"])
    return {(label[s["record_id"]], s["parameter"], s["pairing"], s["end"]): s["values"] for s in rows["sweeps"]}


def _readings(rows: dict[str, list[dict[str, Any]]]) -> dict[Any, float]:
    label = {r["record_id"]: r["link_label"] for r in rows["records"]}
    return {(label[x["record_id"]], x["quantity"], x["subject"]): round(x["value"], 6) for x in rows["readings"]}


def _names(links: int) -> list[str]:
    return [f"3A-{i:03d}" for i in range(1, links + 1)]


def _curves(links: int) -> dict[Any, list[float]]:
    """What every layout below holds."""
    out: dict[Any, list[float]] = {}
    for i, name in enumerate(_names(links), 1):
        out |= {(name, "insertion_loss", p, None): _loss(i, k) for k, p in enumerate(_PAIRS)}
        out |= {
            (name, "next", f"{a}/{b}", e): _next(i, k, e)
            for e in ("local", "remote")
            for k, (a, b) in enumerate(_COMBINATIONS)
        }
    return out


def _scalars(links: int) -> dict[Any, float]:
    named = list(enumerate(_names(links), 1))
    lengths = {(n, "length", p): _length(i, k) for i, n in named for k, p in enumerate(_PAIRS)}
    return lengths | {(n, "loop_resistance", p): _loop(i, k) for i, n in named for k, p in enumerate(_PAIRS)}


def _points(values: list[float]) -> str:
    return "".join(f'<Pt mhz="{f}" db="{v}"/>' for f, v in zip(_MHZ, values, strict=True))


def store(links: int, one: str, other: str) -> str:
    """Cabinets with labels around links with labels; a combination in two attributes; kinds and units in children."""
    out = '<Store build="2.8"><Estate name="North">'
    for i, name in enumerate(_names(links), 1):
        out += '<Cabinet tag="CAB3A">' if i == 1 else '</Cabinet><Cabinet tag="CAB4A">' if i == links // 2 else ""
        verdict = "fail" if i == 2 else "pass"
        out += f'<Run tag="{name}" started="2021-09-{i:02d}T10:34:28+01:00" outcome="{verdict}"><Copper>'
        for k, p in enumerate(_PAIRS):
            out += (
                f'<Pair pins="{p}"><Length val="{_length(i, k)}" unit="m"/>'
                f'<Ohmic kind="loop" val="{round(_loop(i, k) * 1000)}" unit="mOhm"/></Pair>'
            )
        out += "<Through>"
        out += "".join(f'<Curve of="loss" pins="{p}">{_points(_loss(i, k))}</Curve>' for k, p in enumerate(_PAIRS))
        out += "</Through>"
        for said, end in (("near", "local"), ("far", "remote")):
            out += f'<Seen from="{said}">'
            for k, (a, b) in enumerate(_COMBINATIONS):
                out += f'<Curve of="NEXT" {one}="{a}" {other}="{b}">{_points(_next(i, k, end))}</Curve>'
            out += "</Seen>"
        out += "</Copper></Run>"
    return out + "</Cabinet></Estate></Store>"


@pytest.mark.parametrize(
    ("one", "other"), [("pins", "against"), ("pins", "with"), ("disturbing", "disturbed"), ("pins", "victim")]
)
def test_the_innermost_labelled_element_is_the_record(one: str, other: str, tmp_path: Path) -> None:
    path = tmp_path / "export.xml"
    path.write_text(store(8, one, other))
    drafted = _drafted(path)
    assert all(f["confidence"] >= 0.9 for f in drafted.fields if f["to"] != "records.tested_found"), drafted.text
    rows = _read(path, drafted.text)
    assert not rows.get("set_aside")
    assert _sweeps(rows) == _curves(8)
    assert _readings(rows) == _scalars(8)
    assert [r["reported_verdict"] for r in rows["records"]] == ["fail" if i == 1 else "pass" for i in range(8)]


def test_a_pair_of_its_own_beside_the_two_of_a_combination(tmp_path: Path) -> None:
    """Rows of one table: quantities of pairs with one attribute, of combinations with two others."""
    path = tmp_path / "export.xml"
    text = store(8, "disturbing", "disturbed").replace("</Through>", "").replace('<Seen from="near">', "")
    path.write_text(text.replace("<Through>", '<Seen from="near">'))
    found = _sweeps(_read(path, _drafted(path).text))
    assert {k[:3]: v for k, v in found.items() if k[3] != "remote"} == {
        k[:3]: v for k, v in _curves(8).items() if k[3] != "remote"
    }


def test_pairs_whose_order_counts_are_unsure_without_words(tmp_path: Path) -> None:
    path = tmp_path / "export.xml"
    text = store(6, "pins", "with").replace("NEXT", "FEXT")
    path.write_text(text)
    unsure = [f for f in _drafted(path).fields if f["to"] in ("row.disturbing", "row.disturbed")]
    assert unsure and all(f["confidence"] < 0.9 for f in unsure)
    path.write_text(text.replace(" with=", " disturbed="))
    sure = [f for f in _drafted(path).fields if f["to"] in ("row.disturbing", "row.disturbed")]
    assert sure and all(f["confidence"] >= 0.9 for f in sure)


def bundle(links: int, margins: str, value: str) -> str:
    """Curves and margins by the names of what they are of, four and five levels deep."""
    runs = {}
    for i, name in enumerate(_names(links), 1):
        curves = {
            "il": {p.replace("-", ""): {"f": _MHZ, "dB": _loss(i, k)} for k, p in enumerate(_PAIRS)},
            "next": {
                said: {
                    f"{a}-{b}".replace("-", "", 1)[:2] + "-" + b.replace("-", ""): {"f": _MHZ, "dB": _next(i, k, end)}
                    for k, (a, b) in enumerate(_COMBINATIONS)
                }
                for said, end in (("near", "local"), ("far", "remote"))
            },
        }
        worst = {
            "next": {"near": {value: -1.5 - i, "at_mhz": 33.0, "pair": "12-45"}},
            "rl": {"far": {value: 2.5 + i, "at_mhz": 57.0, "pair": ["12", "36", "45", "78"][i % 4]}},
        }
        runs[name] = {
            "when": f"2025-01-{i:02d} 06:52:00",
            "status": "FAIL" if i == 2 else "PASS",
            margins: worst,
            "curves": curves,
        }
    return json.dumps({"app": "Sorrel", "project": "Dock", "runs": runs})


@pytest.mark.parametrize(("margins", "value"), [("margins", "db"), ("headroom", "db"), ("margin", "value")])
def test_every_level_that_says_something_is_read(margins: str, value: str, tmp_path: Path) -> None:
    path = tmp_path / "export.json"
    path.write_text(bundle(8, margins, value))
    rows = _read(path, _drafted(path).text)
    assert not rows.get("set_aside")
    assert _sweeps(rows) == _curves(8)
    label = {r["record_id"]: r["link_label"] for r in rows["records"]}
    found = {
        (label[x["record_id"]], x["parameter"], x["end"]): (x["kind"], x["value"], x["margin"], x["pairing"])
        for x in rows["reported"]
    }
    want = {}
    for i, name in enumerate(_names(8), 1):
        want[name, "next", "local"] = ("worst_margin", None, -1.5 - i, "1-2/4-5")
        want[name, "return_loss", "remote"] = ("worst_margin", None, 2.5 + i, _PAIRS[i % 4])
    assert found == want


def lines(links: int, orders: list[list[int]], sign: int) -> str:
    """A link on each line, its lists of four in the order that another list gives; losses below zero where sign is."""
    out = ""
    for i, name in enumerate(_names(links), 1):
        order = orders[i % len(orders)]
        link = {
            "id": name,
            "result": "F" if i == 2 else "P",
            "order": [_PAIRS[k].replace("-", "") for k in order],
            "length_m": [_length(i, k) for k in order],
            "loopOhm": [_loop(i, k) for k in order],
            "freqMHz": _MHZ,
            "att": {f"p{p.replace('-', '')}": [sign * v for v in _loss(i, k)] for k, p in enumerate(_PAIRS)},
        }
        for name_, end in (("nextA", "local"), ("nextB", "remote")):
            link[name_] = {
                f"p{a.replace('-', '')}p{b.replace('-', '')}": [sign * v for v in _next(i, k, end)]
                for k, (a, b) in enumerate(_COMBINATIONS)
            }
        out += json.dumps(link) + "\n"
    return out


@pytest.mark.parametrize("order", [[0, 1, 2, 3], [2, 0, 1, 3]])
@pytest.mark.parametrize("sign", [1, -1])
def test_lists_below_zero_and_lists_in_the_order_that_is_said(order: list[int], sign: int, tmp_path: Path) -> None:
    path = tmp_path / "export.jsonl"
    path.write_text(lines(8, [order], sign))
    drafted = _drafted(path)
    assert all(f["confidence"] >= 0.9 for f in drafted.fields), drafted.text
    rows = _read(path, drafted.text)
    assert not rows.get("set_aside")
    assert not rows.get("jobs")
    assert _sweeps(rows) == _curves(8)
    assert _readings(rows) == _scalars(8)


def test_lists_in_an_order_that_changes_are_not_placed(tmp_path: Path) -> None:
    path = tmp_path / "export.jsonl"
    path.write_text(lines(8, [[0, 1, 2, 3], [2, 0, 1, 3]], 1))
    rows = _read(path, _drafted(path).text)
    assert not rows.get("readings") and not rows.get("jobs")
    assert _sweeps(rows) == _curves(8)


def french(links: int) -> str:
    """Units in the words of another language, of lists around the records too."""
    khz = " ".join(f"{f * 1000:g}" for f in _MHZ)
    out = f'<recette><frequences unite="kHz">{khz}</frequences><liens>'
    for i, name in enumerate(_names(links), 1):
        out += f"<lien><repere>{name}</repere><verdict>conforme</verdict><paires>"
        for k, p in enumerate(_PAIRS):
            out += f'<paire nom="{p}"><longueur unite="cm">{round(_length(i, k) * 100)}</longueur>'
            loop = f"{round(_loop(i, k) * 1000)}"
            out += f'<resistanceBoucle unite="mohm">{loop}</resistanceBoucle></paire>'
        out += '</paires><courbes unite="dB">'
        for k, p in enumerate(_PAIRS):
            out += f'<affaiblissement paire="{p}">{" ".join(map(str, _loss(i, k)))}</affaiblissement>'
        out += "</courbes></lien>"
    return out + "</liens></recette>"


def test_units_in_words_of_other_languages(tmp_path: Path) -> None:
    path = tmp_path / "export.xml"
    path.write_text(french(8))
    drafted = _drafted(path)
    assert all(f["confidence"] >= 0.9 for f in drafted.fields if f["from"] != "."), drafted.text
    rows = _read(path, drafted.text)
    assert _readings(rows) == _scalars(8)
    assert _sweeps(rows) == {k: v for k, v in _curves(8).items() if k[1] == "insertion_loss"}
    assert not rows.get("extras")


_TREE = """<export state="odd" kind="odd">
<run tag="A1"><part who="first"><curve of="nonsense" pair="1-2"><pt f="1" v="2"/><pt f="2" v="3"/></curve>
<curve of="next" pair="odd"><pt f="1" v="2"/><pt f="2" v="3"/></curve></part>
<part who="second"><curve of="next" pair="12-36"><pt f="1" v="52"/><pt f="2" v="53"/></curve></part></run>
<run tag="A2"><part who="third"><curve of="nonsense" pair="1-2"><pt f="1" v="2"/></curve></part></run>
</export>"""


def _mapping(tables: str) -> str:
    return f'[mapping]\nlayout = "x"\nlanguage = 1\n[[file]]\nkind = "xml"\nrecord = "export/run"\n{tables}'


_LABELS = '[[file.table]]\nrows = "labels"\nfields = [{ from = "@tag", to = "records.link_label" }, %s]\n'
_POINTS = """[[file.table]]
rows = "points"
each = "part/curve/pt"
fields = [
  { from = "@f", to = "row.frequency" }, { from = "@v", to = "row.value" },
  { from = "../@of", to = "row.parameter" }, { from = "../@pair", to = "row.pairing" },
  { from = "../../@who", to = "records.comment" },
]
"""


def test_cells_above_rows_are_counted_once(tmp_path: Path) -> None:
    """Also where they say otherwise than the first, where their rows are lost, and where several tables name them."""
    path = tmp_path / "export.xml"
    path.write_text(_TREE)
    fields = '{ from = "@of", to = "row.parameter" }, { from = "@pair", to = "row.pairing" }'
    twice = f'[[file.table]]\nrows = "readings"\neach = "part/curve"\nfields = [{fields}]\n'
    told = _told(_read(path, _mapping(_LABELS % "" + _POINTS + twice)))
    # Extras are the two around, the second "who" of a record, and three curves of which something is not known.
    assert told == {"read": 29, "mapped": 10, "extra": 2 + 1 + 6 + 6 + 4, "ignored": 0}


def test_cells_around_the_records_are_counted_once(tmp_path: Path) -> None:
    path = tmp_path / "export.xml"
    path.write_text(_TREE)
    around = (
        '{ from = "/export/@state", to = "records.configuration" }, { from = "/export/@kind", to = "records.medium" }'
    )
    rows = _read(path, _mapping(_LABELS % around))
    assert _told(rows) == {"read": 29, "mapped": 2, "extra": 27, "ignored": 0}
    assert len([x for x in rows["extras"] if x["value"] == "odd" and x["name"].startswith("/")]) == 2


def test_keys_and_lists_are_counted_once(tmp_path: Path) -> None:
    path = tmp_path / "export.json"
    curves = {"12": [[1, 2.0], [2, 3.0], [3, 4.0]], "odd": [[1, 2.0], [2, 3.0]]}
    lists = [{"of": "nonsense", "f": [1, 2, 3], "v": [4, 5, 6]}]
    path.write_text(json.dumps({"links": [{"id": "A1", "curves": curves, "lists": lists}, {"id": "A2"}]}))
    tables = """[[file.table]]
rows = "labels"
fields = [{ from = "id", to = "records.link_label" }]
[[file.table]]
rows = "points"
each = "curves/*"
given = "row.value"
fields = [{ from = "#1", to = "row.frequency" }, { from = "#2", to = "sweeps.insertion_loss" },
  { from = "#key", to = "row.pairing" }]
[[file.table]]
rows = "curves"
each = "lists"
fields = [{ from = "of", to = "row.parameter" },
  { from = "f", to = "row.frequencies" }, { from = "v", to = "row.values" }]
"""
    mapping = _mapping(tables).replace("xml", "json").replace("export/run", "links")
    told = _told(_read(path, mapping))
    assert told == {"read": 21, "mapped": 9, "extra": 12, "ignored": 0}
