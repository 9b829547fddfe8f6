"""Small texts of shapes that drafts failed on when somebody else wrote them; all layouts and numbers are invented."""

from __future__ import annotations

import json
import math
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

import archive.formats
from archive.errors import Trouble
from archive.formats.draft import draft, profile
from archive.formats.draft.command import draft_of
from archive.formats.draft.write import Draft
from archive.formats.mapping import join
from archive.formats.mapping.load import loads
from archive.formats.mapping.model import Quantity, quantity
from archive.formats.recognition import Entry
from archive.tables import Batch

_MHZ = [1.0 + 8 * k for k in range(20)]


def _drafted(folder: Path, text: str) -> tuple[Draft, list[Batch]]:
    path, mapping = folder / "export.txt", folder / "drafted.toml"
    path.write_text(text, encoding="utf-8")
    made = draft(Entry(path, path.name))
    mapping.write_text(made.text, encoding="utf-8")
    batches = list(archive.formats.read(path, mapping=mapping))
    assert not any(b["set_aside"].num_rows for b in batches), made.text
    return made, batches


def _rows(batches: list[Batch], table: str) -> list[dict[str, Any]]:
    return [r for b in batches for r in b[table].to_pylist()]


def _curves(batches: list[Batch]) -> dict[Any, list[float | None]]:
    """Values of each curve by label, parameter, end and pairing."""
    label = {r["record_id"]: r["link_label"] for r in _rows(batches, "records")}
    return {
        (label[s["record_id"]], s["parameter"], s["end"], s["pairing"]): s["values"] for s in _rows(batches, "sweeps")
    }


def _curve(quantity: str, link: int) -> list[float]:
    if quantity == "IL":
        return [round(0.02 * math.sqrt(f) * (40 + link), 2) for f in _MHZ]
    top, slope = (75, 15) if quantity == "NEXT" else (30, 5)
    return [round(top - slope * math.log10(f) + link / 10, 2) for f in _MHZ]


_NAMED = {
    "IL 1-2": ("insertion_loss", None, "1-2"),
    "NEXT 1-2/3-6 main": ("next", "local", "1-2/3-6"),
    "NEXT 1-2/3-6 remote": ("next", "remote", "1-2/3-6"),
    "RL 7-8 main": ("return_loss", "local", "7-8"),
}


@pytest.mark.parametrize("wide", [True, False])
def test_one_cell_that_names_quantity_pair_and_end(wide: bool, tmp_path: Path) -> None:
    out = ["Link;Curve;" + ";".join(f"{f:g} MHz" for f in _MHZ) if wide else "Link;Curve;MHz;dB"]
    for i in range(1, 5):
        for name in _NAMED:
            values = _curve(name.split()[0], i)
            if wide:
                out.append(f"2B-C{i:02d};{name};" + ";".join(map(str, values)))
            else:
                out += [f"2B-C{i:02d};{name};{f:g};{v}" for f, v in zip(_MHZ, values, strict=True)]
    made, batches = _drafted(tmp_path, "\n".join(out) + "\n")
    assert all(f["confidence"] >= 0.9 for f in made.fields)
    assert _curves(batches) == {
        (f"2B-C{i:02d}", *place): _curve(name.split()[0], i) for i in range(1, 5) for name, place in _NAMED.items()
    }


@pytest.mark.parametrize("turned", [False, True])
def test_a_column_for_each_point_of_a_curve(turned: bool, tmp_path: Path) -> None:
    """A row per link, or a column per link, and each frequency in the name of what it is a value of."""
    names = [f"{name} @ {f:g} MHz [dB]" for name in _NAMED for f in _MHZ]
    table = [["Link", "Result", *names]]
    for i in range(1, 6):
        values = [str(v) for name in _NAMED for v in _curve(name.split()[0], i)]
        table.append([f"2B-C{i:02d}", "PASS", *values])
    table[3][2 + len(_MHZ)] = ">70"
    table[4][2 + 2 * len(_MHZ) + 3] = ""
    table = [list(c) for c in zip(*table, strict=True)] if turned else table
    made, batches = _drafted(tmp_path, "".join(";".join(r) + "\n" for r in table))
    assert all(f["confidence"] >= 0.9 for f in made.fields)
    assert not _rows(batches, "readings")
    label = {r["record_id"]: r["link_label"] for r in _rows(batches, "records")}
    assert list(label.values()) == [f"2B-C{i:02d}" for i in range(1, 6)]
    axes = {a["axis_id"]: a["frequencies_mhz"] for a in _rows(batches, "axes")}
    seen = 0
    for s in _rows(batches, "sweeps"):
        assert axes[s["axis_id"]] == _MHZ
        name = next(n for n, place in _NAMED.items() if place == (s["parameter"], s["end"], s["pairing"]))
        want: list[float | None] = [*_curve(name.split()[0], int(label[s["record_id"]][-2:]))]
        if (label[s["record_id"]], name) == ("2B-C03", "NEXT 1-2/3-6 main"):
            want[0] = 70.0
            assert s["above"] == [0]
        if (label[s["record_id"]], name) == ("2B-C04", "NEXT 1-2/3-6 remote"):
            want[3] = None
        assert s["values"] == want
        seen += 1
    assert seen == 5 * len(_NAMED)


@pytest.mark.parametrize("most", [1000, 2])
def test_links_as_headings_above_their_curves(most: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A table of links, and for each quantity one whose columns are the links: every cell counted once, also where the
    links come in several chunks."""
    monkeypatch.setattr(join, "MOST_RECORDS", most)
    labels = [f"2B-C{i:02d}" for i in range(1, 6)]
    out = "Link;Result\n" + "".join(f"{n};PASS\n" for n in labels) + "\n"
    titles = {
        "Insertion loss, pair 12": ("IL", ("insertion_loss", None, "1-2")),
        "NEXT, pairs 12-36, far end": ("NEXT", ("next", "remote", "1-2/3-6")),
    }
    for title, (kind, _) in titles.items():
        out += f"{title}\nMHz;{';'.join(labels)}\n"
        curves = [_curve(kind, i) for i in range(1, 6)]
        rows = [[f"{f:g}", *(str(c[k]) for c in curves)] for k, f in enumerate(_MHZ)]
        rows[2][3] = ""
        out += "".join(";".join(r) + "\n" for r in rows) + "\n"
    made, batches = _drafted(tmp_path, out)
    assert all(f["confidence"] >= 0.9 for f in made.fields)
    label = {r["record_id"]: r["link_label"] for r in _rows(batches, "records")}
    assert sorted(label.values()) == labels
    want: dict[Any, list[float | None]] = {
        (n, *place): [*_curve(kind, i)] for kind, place in titles.values() for i, n in enumerate(labels, 1)
    }
    for _, place in titles.values():
        want["2B-C03", *place][2] = None
    assert _curves(batches) == want
    (told,) = [s for s in _rows(batches, "sources") if s["cells_read"] is not None]
    cells = 10 + 2 * (6 * len(_MHZ) - 1)
    assert told["cells_read"] == cells + told["cells_extra"] + told["cells_ignored"]
    assert told["cells_mapped"] == cells


def test_near_and_far_in_the_word_for_a_quantity(tmp_path: Path) -> None:
    out = ["Link\tWorst case\tPair\tFrequency MHz\tValue dB\tMargin dB"]
    for i in range(1, 6):
        for n, (name, pair) in enumerate((("NEXT near", "3,6-4,5"), ("NEXT far", "3,6-4,5"), ("Ret. loss far", "7,8"))):
            out.append(f"2B-C{i:02d}\t{name}\t{pair}\t{10 * i + n}.5\t{30 + i}.{n}\t{i}.{n}")
    _, batches = _drafted(tmp_path, "\n".join(out) + "\n")
    told = {(r["parameter"], r["end"]) for r in _rows(batches, "reported")}
    assert told == {("next", "local"), ("next", "remote"), ("return_loss", "remote")}


def test_a_mapping_says_what_a_word_for_a_quantity_means() -> None:
    assert quantity("next") == Quantity("next")
    assert quantity("length ft") == Quantity("length", "ft")
    assert quantity("next remote 1-2/3-6") == Quantity("next", "", "remote", "1-2/3-6")
    head = '[mapping]\nlayout = "tried"\nlanguage = 1\n[cells]\nparameters = { "X" = "%s" }\n'
    body = (
        '[[file]]\nname = "1"\nkind = "delimited"\n[[file.table]]\nname = "1"\nrows = "links"\n'
        'fields = [ { from = "A", to = "records.link_label" } ]\n'
    )
    assert loads((head % "next remote 1-2/3-6" + body).encode()).parameters
    for meaning in ("next ft", "nothing remote", "next remotely"):
        with pytest.raises(Trouble):
            loads((head % meaning + body).encode())


def _report(i: int, leader: str) -> str:
    curve = "".join(f"{f:g};{v}\n" for f, v in zip(_MHZ, _curve("NEXT", i), strict=True))
    return (
        f"Link{leader}2B-C{i:02d}\nOperator{leader}J. Hallow\nVerdict{leader}{'FAIL' if i == 2 else 'PASS'}\n\n"
        f"NEXT 12-36 near\nMHz;dB\n{curve}\n"
    )


@pytest.mark.parametrize("leader", [": ", " .. ", " ...... "])
def test_dots_lead_to_a_value(leader: str, tmp_path: Path) -> None:
    _, batches = _drafted(tmp_path, "".join(_report(i, leader) for i in range(1, 6)))
    assert [r["reported_verdict"] for r in _rows(batches, "records")] == ["pass", "fail", "pass", "pass", "pass"]
    assert [s["values"] for s in _rows(batches, "sweeps")] == [_curve("NEXT", i) for i in range(1, 6)]


def test_several_names_and_values_in_one_row_are_no_headings(tmp_path: Path) -> None:
    out = ""
    for i in range(1, 5):
        out += (
            f"Link;2B-C{i:02d};Date;2021-05-0{i} 10:11\nTest limit;Class E permanent link;Cable;Cat 6 U/UTP\n"
            f"Result;{'FAIL' if i == 2 else 'PASS'};;\nOperator;J. Hallow;Site;Mill Lane\n"
            "MHz;NEXT 12-36 near\n"
        )
        out += "".join(f"{f:g};{v}\n" for f, v in zip(_MHZ, _curve("NEXT", i), strict=True)) + "\n"
    _, batches = _drafted(tmp_path, out)
    for i, r in enumerate(_rows(batches, "records"), 1):
        assert (r["link_label"], r["limit_found"]) == (f"2B-C{i:02d}", "Class E permanent link")
        assert (r["cable_found"], r["reported_verdict"]) == ("Cat 6 U/UTP", "fail" if i == 2 else "pass")
    assert {p["name"] for p in _rows(batches, "people")} == {"J. Hallow"}


def test_counts_of_points_are_no_decibels(tmp_path: Path) -> None:
    out = ""
    for i in range(1, 6):
        out += f"[LINK {i:04d}]\nid=2B-C{i:02d}\nverdict=PASS\n"
        for name, q in (("ATT 12", "IL"), ("NEXT 12-36 MAIN", "NEXT"), ("NEXT 12-36 REM", "NEXT")):
            curve = "".join(f"{f:g};{-v}\n" for f, v in zip(_MHZ, _curve(q, i), strict=True))
            out += f"[SCAN {name}]\npoints={len(_MHZ)}\n{curve}"
    made, batches = _drafted(tmp_path, out)
    assert not any("points" in f["from"] for f in made.fields)
    assert [r["link_label"] for r in _rows(batches, "records")] == [f"2B-C{i:02d}" for i in range(1, 6)]
    assert len(_rows(batches, "sweeps")) == 15
    assert all(min(s["values"]) > 0 for s in _rows(batches, "sweeps"))


def test_a_date_and_a_time_are_surer_than_when_a_page_was_printed(tmp_path: Path) -> None:
    out = ""
    for i in range(1, 5):
        out += (
            f"Link: 2B-C{i:02d}\nDate: 05/1{i}/2021\nTime: 09:1{i} AM\nPrinted: 22 Jun 2025 17:02\n"
            f"Tester: TW-88 no. 551{i}\nOperator: Ines Garrow\nLength (m): 41.{i}\n\n"
        )
    _, batches = _drafted(tmp_path, out)
    assert [r["tested_local"] for r in _rows(batches, "records")] == [f"2021-05-1{i}T09:1{i}" for i in range(1, 5)]
    assert {p["name"] for p in _rows(batches, "people")} == {"Ines Garrow"}


def test_the_name_of_a_project_gives_no_end(tmp_path: Path) -> None:
    out = "Remote Works Ltd, cable results;;;\nLink;Length 12 (m);Length 36 (m);NEXT 12-36 near margin (dB)\n"
    out += "".join(f"2B-C{i:02d};4{i}.1;4{i}.3;{i}.5\n" for i in range(1, 6))
    _, batches = _drafted(tmp_path, out)
    assert {r["end"] for r in _rows(batches, "readings")} == {None}


class _InNovember2026(datetime):
    @classmethod
    def now(cls, tz: Any = None) -> datetime:
        return datetime(2026, 11, 29, tzinfo=tz)


def test_a_day_that_is_yet_to_come_is_no_date_of_a_test(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(profile, "datetime", _InNovember2026)
    out = "Link;Date;Length (m)\n" + "".join(f"2B-C{i:02d};{26 + i}/08/25;4{i}.1\n" for i in range(1, 5))
    _, batches = _drafted(tmp_path, out)
    assert [r["tested_local"] for r in _rows(batches, "records")] == [f"2025-08-{26 + i}" for i in range(1, 5)]


@pytest.mark.parametrize("headed", [False, True])
def test_a_folder_whose_files_of_curves_name_their_link(headed: bool, tmp_path: Path) -> None:
    """More files than are looked at one by one; each says its link above one table, or above several with titles."""
    folder = tmp_path / "job"
    (folder / "curves").mkdir(parents=True)
    index = "Link;Day;Clock;Length (m);Result\n"
    for i in range(1, 16):
        index += f"2B-C{i:02d};19/06/2023;11:{10 + i}:43;4{i % 10}.1;PASS\n"
        text = f"Curves of one link\nLink: 2B-C{i:02d}\n\n"
        curves = {"Insertion loss, pair 12": _curve("IL", i), "NEXT, pairs 12-36, far end": _curve("NEXT", i)}
        if headed:
            for title, values in curves.items():
                text += f"{title}\nMHz;dB\n" + "".join(f"{f:g};{v}\n" for f, v in zip(_MHZ, values, strict=True))
                text += "\n"
        else:
            text += "MHz;IL 12 (dB);NEXT 12-36 far (dB)\n"
            text += "".join(f"{f:g};{a};{b}\n" for f, a, b in zip(_MHZ, *curves.values(), strict=True))
        (folder / "curves" / f"{i:04d}.txt").write_text(text)
    (folder / "index.csv").write_text(index)
    made = draft_of(folder)
    assert all(f["confidence"] >= 0.9 for f in made.fields), made.text
    (tmp_path / "drafted.toml").write_text(made.text)
    batches = list(archive.formats.read(folder, mapping=tmp_path / "drafted.toml"))
    assert not any(b["set_aside"].num_rows for b in batches)
    records = {r["record_id"]: r for r in _rows(batches, "records")}
    assert sorted(r["link_label"] for r in records.values()) == [f"2B-C{i:02d}" for i in range(1, 16)]
    assert {r["tested_local"] for r in records.values()} == {f"2023-06-19T11:{10 + i}:43" for i in range(1, 16)}
    assert _curves(batches) == {
        (f"2B-C{i:02d}", *place): _curve(kind, i)
        for i in range(1, 16)
        for kind, place in (("IL", ("insertion_loss", None, "1-2")), ("NEXT", ("next", "remote", "1-2/3-6")))
    }


def test_one_row_that_fails_speaks_for_its_link(tmp_path: Path) -> None:
    """A verdict beside each curve: the link does not pass because its first curve does."""
    out = "Link;Curve;Length (m);Pair;" + ";".join(f"{f:g} MHz" for f in _MHZ) + ";Result\n"
    for i in range(1, 5):
        for n, pair in enumerate(("1-2", "3-6", "4-5", "7-8")):
            word = "FAIL" if (i, n) == (2, 2) else "PASS"
            values = ";".join(map(str, _curve("IL", i)))
            out += f"2B-C{i:02d};Insertion loss;4{i}.{n};{pair};{values};{word}\n"
    _, batches = _drafted(tmp_path, out)
    assert [r["reported_verdict"] for r in _rows(batches, "records")] == ["pass", "fail", "pass", "pass"]
    label = {r["record_id"]: r["link_label"] for r in _rows(batches, "records")}
    lengths = {(label[r["record_id"]], r["subject"]): r["value"] for r in _rows(batches, "readings")}
    assert lengths == {
        (f"2B-C{i:02d}", pair): float(f"4{i}.{n}")
        for i in range(1, 5)
        for n, pair in enumerate(("1-2", "3-6", "4-5", "7-8"))
    }


def test_a_lone_word_ends_rows_of_numbers(tmp_path: Path) -> None:
    out = ""
    for i in range(1, 5):
        curves = zip(_MHZ, _curve("IL", i), _curve("NEXT", i), strict=True)
        out += f"Link: 2B-C{i:02d}\nResult: PASS\nMHz;IL 12;NEXT 12-36 near\n"
        out += "".join(f"{f:g};{a};{b}\n" for f, a, b in curves) + "END\n"
    _, batches = _drafted(tmp_path, out)
    assert len(_rows(batches, "records")) == 4
    assert len(_rows(batches, "sweeps")) == 8


def test_values_and_limits_at_the_worst_margin_are_no_margins(tmp_path: Path) -> None:
    out = (
        "Link,Quantity,End,Pair,Worst margin (dB),Worst margin frequency (MHz),"
        "Value at worst margin (dB),Limit at worst margin (dB)\n"
    )
    for i in range(1, 6):
        out += f"2B-C{i:02d},NEXT,near,12-36,{i}.5,{100 + i}.0,4{i}.5,40.0\n"
        out += f"2B-C{i:02d},RL,far,12,{i}.1,{20 + i}.0,2{i}.1,20.0\n"
    _, batches = _drafted(tmp_path, out)
    first = next(r for r in _rows(batches, "reported") if r["parameter"] == "next")
    assert (first["margin"], first["frequency_mhz"], first["value"], first["limit"]) == (1.5, 101.0, 41.5, 40.0)


def test_points_of_letters_below_their_worst_case(tmp_path: Path) -> None:
    """<p f v> is no pass or fail, and what its element says of the whole curve is not said once for each point."""
    out = "<tests>"
    for i in range(1, 6):
        out += f'<test label="2B-C{i:02d}" result="PASS"><length value="4{i}.1"/>'
        for end in ("near", "far"):
            points = "".join(f'<p f="{f:g}" v="{v}"/>' for f, v in zip(_MHZ, _curve("NEXT", i), strict=True))
            out += f'<next pair="12-36" end="{end}" margin="{i}.5" frequency="{100 + i}.0">{points}</next>'
        out += "</test>"
    path, mapping = tmp_path / "export.xml", tmp_path / "drafted.toml"
    path.write_text(out + "</tests>")
    mapping.write_text(draft(Entry(path, path.name)).text)
    batches = list(archive.formats.read(path, mapping=mapping))
    assert [s["values"] for s in _rows(batches, "sweeps")] == [_curve("NEXT", i) for i in range(1, 6) for _ in range(2)]
    assert len(_rows(batches, "reported")) == 10


def test_a_draft_that_reads_nothing_says_so(tmp_path: Path) -> None:
    out = "H|Job|Depot North\n" + "".join(
        f"L|2B-C{i:02d}|2024-03-05|PASSED\nR|LENGTH|12|4{i}.1|m\nR|LENGTH|36|4{i}.2|m\n" for i in range(1, 6)
    )
    path = tmp_path / "export.txt"
    path.write_text(out)
    questions = draft_of(path).questions
    assert [q.endswith("no record was found by its mapping") for q in questions].count(True) == 1
    assert len(questions) <= 4


def test_a_row_that_begins_a_record_may_say_its_verdict_too(tmp_path: Path) -> None:
    out = ""
    for i in range(1, 6):
        out += (
            f"Cable N3/1{i}-A;;;{'FAIL' if i == 2 else 'PASS'}\nDate;2021-05-0{i} 10:11;Operator;J. Hallow\n"
            "Cable type;Cat 6A F/UTP;Test limit;Class EA permanent link\nPair;Length (m);Delay (ns);Skew (ns)\n"
        )
        out += "".join(f"{p};4{i}.{n};20{n};{n}\n" for n, p in enumerate(("12", "36", "45", "78"))) + "\n"
    _, batches = _drafted(tmp_path, out)
    records = _rows(batches, "records")
    assert [r["link_label"] for r in records] == [f"N3/1{i}-A" for i in range(1, 6)]
    assert [r["reported_verdict"] for r in records] == ["pass", "fail", "pass", "pass", "pass"]
    assert {r["cable_found"] for r in records} == {"Cat 6A F/UTP"}
    (told,) = [s for s in _rows(batches, "sources") if s["cells_read"] is not None]
    assert told["cells_read"] == 5 * (2 + 2 + 2 + 16)  # names of labels are no cells


def test_points_with_their_limit_in_a_list(tmp_path: Path) -> None:
    """[frequency, value, limit]: the limit is the one that is the same for every link."""
    limit = [round(60 - 10 * math.log10(f), 1) for f in _MHZ]
    found = [
        {
            "label": f"2B-C{i:02d}",
            "result": "PASS",
            "results": [
                {
                    "quantity": "NEXT",
                    "pair": p,
                    "end": "near",
                    "points": list(zip(_MHZ, _curve("NEXT", i + n), limit, strict=True)),
                }
                for n, p in enumerate(("12-36", "12-45"))
            ],
        }
        for i in range(1, 6)
    ]
    path, mapping = tmp_path / "export.json", tmp_path / "drafted.toml"
    path.write_text(json.dumps(found))
    mapping.write_text(draft(Entry(path, path.name)).text)
    sweeps = _rows(list(archive.formats.read(path, mapping=mapping)), "sweeps")
    assert [s["values"] for s in sweeps if s["origin"] == "measured"] == [
        _curve("NEXT", i + n) for i in range(1, 6) for n in range(2)
    ]
    assert [s["values"] for s in sweeps if s["origin"] == "limit"] == [limit] * 10
