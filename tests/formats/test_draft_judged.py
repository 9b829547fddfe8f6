"""Drafts that the reader's own result contradicts leave out what is in doubt, and say so.

Common practice of the trade, no source: near-end crosstalk is measured of two pairs, limit less value is a margin,
cabling for data is swept from 1 MHz, and one test of a link has one date and one length for all its rows.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive import formats
from archive.cli import cli
from archive.formats.draft.command import draft_of
from archive.formats.draft.write import Draft

PAIRS = ("1-2", "3-6", "4-5", "7-8")


def _draft(folder: Path, lines: list[str]) -> tuple[Path, Draft]:
    path = folder / "export.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path, draft_of(path)


def _placed(made: Draft) -> dict[str, str]:
    return {f["from"]: f["to"] for f in made.fields}


def _rows(word: str, pairs: tuple[str, ...], limit: float = 39.0) -> list[str]:
    """Worst cases of four links, a row for each pair or combination."""
    out = [f"Link,Tested,Parameter,Pair,End,Value (dB),Limit (dB),{word}"]
    for link in range(1, 5):
        for n, pair in enumerate(pairs):
            for end in ("near", "far"):
                value = 44.0 + 1.3 * n + 0.7 * link + (end == "far")
                row = f"A-{link:02},2024-03-0{link} 10:00,NEXT,{pair},{end},{value:.1f},{limit},{value - limit:.1f}"
                out.append(row)
    return out


def test_crosstalk_of_one_pair_is_left_out_and_told(tmp_path: Path) -> None:
    path, made = _draft(tmp_path, _rows("Margin (dB)", PAIRS))
    assert not [f for f in made.fields if f["to"].startswith(("row.value", "row.parameter"))]
    assert any("not measured of one pair" in q for q in made.questions)
    done = CliRunner().invoke(cli, ["convert", str(path), "--form", "parquet", "--to", str(tmp_path / "out")])
    assert done.exit_code != 0


def test_crosstalk_of_two_pairs_is_kept(tmp_path: Path) -> None:
    _, made = _draft(tmp_path, _rows("Margin (dB)", ("1-2/3-6", "1-2/4-5", "3-6/7-8")))
    assert _placed(made)["Value (dB)"] == "row.value"
    assert not any("left out" in q for q in made.questions)


def test_a_margin_that_is_none_is_left_out(tmp_path: Path) -> None:
    """The last column calls itself a margin and holds what is no difference of the two others."""
    lines = _rows("Margin (dB)", ("1-2/3-6", "1-2/4-5", "3-6/7-8"))
    lines[1:] = [f"{line.rpartition(',')[0]},{17 + n % 5}" for n, line in enumerate(lines[1:])]
    _, made = _draft(tmp_path, lines)
    assert "Margin (dB)" not in _placed(made)
    assert any("limit less value is not the margin" in q for q in made.questions)


@pytest.mark.parametrize("heading", ["Mz65", "lnk"])
def test_the_label_is_what_decides_the_other_columns(heading: str, tmp_path: Path) -> None:
    """A code that differs from row to row is no label beside a column that comes again with each link."""
    lines = [f"{heading},Code,Tested,Length (m),Parameter,Pair,Attenuation (dB),Frequency (MHz)"]
    for link in range(1, 6):
        for n, pair in enumerate(PAIRS):
            code = f"{(link * 7919 + n * 104729) % 16**6:06X}"
            when = f"2024-03-0{link} 10:0{link}"
            lines.append(f"B-{link:02},{code},{when},{30 + link}.5,IL,{pair},{3.1 + 0.4 * link + 0.1 * n:.1f},100")
    _, made = _draft(tmp_path, lines)
    assert _placed(made)[heading] == "records.link_label"
    assert _placed(made).get("Code") != "records.link_label"


def test_words_in_equal_surroundings_explain_each_other(tmp_path: Path) -> None:
    """A word that nobody knows beside "near" is the other end; what makes a margin with value and limit is one."""
    names = [f"RL {end} {pair} {part}" for end in ("near", "zq") for pair in PAIRS for part in ("value", "limit", "wx")]
    lines = [",".join(["Link", "Tested", *names])]
    for link in range(1, 6):
        cells = [
            f"{x:.1f}"
            for end in (0, 1)
            for n in range(4)
            for x in (14 + n + 0.7 * link + end, 12.0, 2 + n + 0.7 * link + end)
        ]
        lines.append(",".join([f"C-{link:02}", f"2024-03-0{link} 10:00", *cells]))
    _, made = _draft(tmp_path, lines)
    placed = _placed(made)
    assert placed["RL zq 3-6 value"].startswith("reported.return_loss.value[") and "remote" in placed["RL zq 3-6 value"]
    assert placed["RL near 3-6 wx"].startswith("reported.return_loss.margin[")


def test_pairs_stand_glued_to_a_code(tmp_path: Path) -> None:
    """Four names that differ by the contacts of the pairs alone."""
    lines = ["Link,Tested," + ",".join(f"zf26{p.replace('-', '')} (ohm)" for p in PAIRS)]
    lines += [f"D-{n:02},2024-03-0{n} 10:00,{8 + n}.1,{8 + n}.2,{8 + n}.3,{8 + n}.4" for n in range(1, 6)]
    _, made = _draft(tmp_path, lines)
    assert _placed(made)["zf2645 (ohm)"] == "readings.loop_resistance[4-5]"


def test_a_sum_below_a_table_is_no_link(tmp_path: Path) -> None:
    """In a table of curves a line of words and one number, right below it, was read as one more link."""
    lines = ["Link;Tested;Parameter;Pair;" + ";".join(f"{f} (MHz)" for f in range(10, 110, 10))]
    for link in range(1, 4):
        for n, pair in enumerate(PAIRS):
            curve = ";".join(f"{(f * (1.9 + 0.1 * n + 0.2 * link)) ** 0.5:.1f}" for f in range(10, 110, 10))
            lines.append(f"E-{link:02};2024-03-0{link} 10:00;IL;{pair};{curve}")
    path, made = _draft(tmp_path, [*lines, "Allt som allt: 12"])
    labels = [x for b in formats.read(path, mapping=made.mapping) for x in b["records"]["link_label"].to_pylist()]
    assert labels == ["E-01", "E-02", "E-03"]


def test_an_answer_is_a_word_of_that_user(tmp_path: Path) -> None:
    """Answered of one export, a heading and two words for ends are known to the draft of another one."""
    user = {**os.environ, "XDG_DATA_HOME": str(tmp_path / "data")}

    def written(name: str, heading: str) -> Path:
        lines = [f"{heading};Tested;Parameter;Pair;Kant;Value (dB)"]
        for link in range(1, 4):
            for n, pair in enumerate(PAIRS):
                for end in ("oost", "west"):
                    when = f"2024-03-0{link} 10:0{link}"
                    lines.append(f"F-{link:02};{when};RL;{pair};{end};{18 + n + link + (end == 'west')}.5")
        path = tmp_path / name
        path.write_text("\n".join(lines) + "\n", "utf-8")
        return path

    def drafted(path: Path, *more: str) -> str:
        command = [sys.executable, "-c", "from archive.cli import main; main()", "mapping", "draft", str(path), *more]
        return subprocess.run(command, capture_output=True, text=True, env=user, check=False).stdout

    first = drafted(written("first.csv", "Kruis"), "--answer", "ends=west")
    kept = tmp_path / "data" / "muniment" / "answered.toml"
    assert '"west" = "local"' in first and '"oost" = "remote"' in first
    assert "west" in kept.read_text("utf-8")
    assert '"west" = "local"' in drafted(written("second.csv", "Kruispunt"))


def test_a_unit_beside_rows_of_one_end_is_that_end_s(tmp_path: Path) -> None:
    """No row is of the remote end: nothing is taken for it, and nothing breaks."""
    path = tmp_path / "one-end.csv"
    rows = [f"G-0{n},{p},near,S123,{20 + n}.5" for n in (1, 2) for p in PAIRS]
    path.write_text("\n".join(["Link,Pair,End,Unit,RL", *rows]) + "\n", "utf-8")
    mapping = """
[mapping]
layout = "one-end"
language = 1

[[file]]
name = "1"
kind = "delimited"
delimiter = ","

[[file.table]]
name = "rows"
rows = "readings"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "Pair", to = "row.pairing" },
  { from = "End", to = "row.end" },
  { from = "Unit", to = "instruments.serial" },
  { from = "RL", to = "reported.return_loss.value[worst_value]" },
]
"""
    named = tmp_path / "one-end.toml"
    named.write_text(mapping, "utf-8")
    (batch,) = formats.read(path, mapping=named)
    assert batch["instruments"].column("serial").to_pylist() == ["S123"]
    assert batch["records"].column("remote_instrument_id").to_pylist() == [None, None]


def test_limit_and_value_that_no_word_names_are_told_by_the_frequency(tmp_path: Path) -> None:
    """A limit is one number at each quantity and frequency; a value differs from link to link."""
    lines = ["Link,Tested,Parameter,Pair,End,Frequency (MHz),zq1 (dB),xk2 (dB)"]
    for link in range(1, 5):
        for n, pair in enumerate(PAIRS):
            for end in ("near", "far"):
                for name, limit in (("RL", 12.0), ("PS NEXT", 36.1)):
                    value = limit + 1.3 * n + 0.7 * link + (end == "far")
                    lines.append(f"G-{link:02},2024-03-0{link} 10:00,{name},{pair},{end},100,{value:.1f},{limit}")
    _, made = _draft(tmp_path, lines)
    placed = _placed(made)
    assert (placed["xk2 (dB)"], placed["zq1 (dB)"]) == ("row.limit", "row.value")


@pytest.mark.parametrize(("level", "quantity"), [(18.0, "return_loss"), (42.0, "ps_next")])
def test_a_quantity_of_pairs_and_ends_is_told_by_its_level(level: float, quantity: str, tmp_path: Path) -> None:
    """Return loss of a link is 10 to 25 dB, power sums of crosstalk 30 dB and more (class EA to 250 MHz)."""
    names = [f"Zf58 {end} {pair} (dB)" for end in ("near", "far") for pair in PAIRS]
    lines = [",".join(["Link", "Tested", *names])]
    for link in range(1, 6):
        cells = [f"{level + 0.3 * link + 0.2 * n:.1f}" for n in range(8)]
        lines.append(",".join([f"H-{link:02}", f"2024-03-0{link} 10:00", *cells]))
    _, made = _draft(tmp_path, lines)
    assert {t.split(".")[1] for f, t in _placed(made).items() if f.startswith("Zf58")} == {quantity}


def test_where_commas_part_decimals_a_point_groups_thousands(tmp_path: Path) -> None:
    lines = ["Link;Tested;Parameter;Pair;End;Frequency (kHz);Value (dB)"]
    for link in range(1, 5):
        for n, pair in enumerate(PAIRS):
            lines.append(f"I-{link:02};2024-03-0{link} 10:00;RL;{pair};near;{(4 - n) * 20}.000;{18 + n + link},5")
    path, made = _draft(tmp_path, lines)
    rows = [r for b in formats.read(path, mapping=made.mapping) for r in b["reported"].to_pylist()]
    rows += [r for b in formats.read(path, mapping=made.mapping) for r in b["readings"].to_pylist()]
    assert {r["frequency_mhz"] for r in rows} == {20.0, 40.0, 60.0, 80.0}


def test_a_report_begins_with_its_label_though_other_lines_come_in_any_order(tmp_path: Path) -> None:
    """The first line of the first record is a name and a value, as the same name is further down."""
    lines: list[str] = []
    for link in range(1, 4):
        heads = [f"Outlet mark\t3-TR3-A{link:03}", "Cable\tCat 6 F/UTP", "Wq\t7"]
        lines += [*(heads if link == 1 else [heads[2], *heads[:2]]), "", "Pair      Length_m"]
        lines += [f"{pair}       {50 + link}.{n}" for n, pair in enumerate(PAIRS)] + ["", ""]
    path = tmp_path / "report.txt"
    path.write_text("\n".join(lines), "utf-8")
    made = draft_of(path)
    read = list(formats.read(path, mapping=made.mapping))
    by_id = {r["record_id"]: r["link_label"] for b in read for r in b["records"].to_pylist()}
    got = {(by_id[r["record_id"]], r["value"]) for b in read for r in b["readings"].to_pylist()}
    assert {(f"3-TR3-A{k:03}", 50 + k + n / 10) for k in range(1, 4) for n in range(4)} <= got


def test_a_table_of_which_a_mapping_names_few_columns_is_found_below_two_rows_of_headings(tmp_path: Path) -> None:
    """Four of ten headings are named: the reader lost the whole table."""
    import openpyxl

    book = openpyxl.Workbook()
    page = book.active
    page.append(["Link", "Tested", *(f"w{n}" for n in range(6)), "Length", "Length"])
    page.append([None, None, *([None] * 6), "1-2 [m]", "3-6 [m]"])
    for link in range(1, 4):
        page.append([f"K-{link:02}", f"2024-03-0{link}", *"abcdef", 50.5 + link, 51.5 + link])
    book.save(tmp_path / "e.xlsx")
    (tmp_path / "m.toml").write_text(
        '[mapping]\nlayout = "few"\nlanguage = 1\n[[file]]\nname = "1"\nkind = "workbook"\n[[file.table]]\nname = "t"\n'
        'rows = "links"\nheader_rows = 2\nfields = [{ from = "Link", to = "records.link_label" },'
        '{ from = "Length | 1-2 [m]", to = "readings.length[1-2]" }, { from = "Length | 3-6 [m]",'
        'to = "readings.length[3-6]" }]\n',
        "utf-8",
    )
    batches = list(formats.read(tmp_path / "e.xlsx", mapping=tmp_path / "m.toml"))
    assert sum(b["readings"].num_rows for b in batches) == 6


def test_an_asterisk_behind_a_number_is_a_mark(tmp_path: Path) -> None:
    """IEC 61935-1 marks results that are within the accuracy of the instrument by an asterisk."""
    lines = _rows("Margin (dB)", ("1-2/3-6", "1-2/4-5", "3-6/7-8"))
    lines[1] += "*"
    path, made = _draft(tmp_path, lines)
    read = list(formats.read(path, mapping=made.mapping))
    assert sum(b["records"].num_rows for b in read) == 4
    assert sum(b["set_aside"].num_rows for b in read) == 0


def test_rows_whose_pair_is_a_key_of_an_object(tmp_path: Path) -> None:
    """A key that may not begin with a digit has a letter before the contacts."""
    import json

    curve = [{"freq": f, "value": round(0.2 * f**0.5 * 4, 2)} for f in (1.0, 4.0, 8.0, 10.0, 16.0, 20.0)]
    links = [
        {
            "link": f"L-{n:02}",
            "date": f"2024-03-0{n}",
            "curves": {"insertionLoss": {f"n{p}": {"points": curve} for p in ("12", "36", "45", "78")}},
        }
        for n in range(1, 5)
    ]
    path = tmp_path / "export.json"
    path.write_text(json.dumps({"links": links}), "utf-8")
    made = draft_of(path)
    got = [r["pairing"] for b in formats.read(path, mapping=made.mapping) for r in b["sweeps"].to_pylist()]
    assert sorted(got) == sorted(PAIRS * 4)


def test_elements_that_are_one_measurement_each(tmp_path: Path) -> None:
    rows = []
    for n in range(1, 4):
        for k, pair in enumerate(PAIRS):
            for end in ("near", "far"):
                said = f'link="M-{n:02}" test="RL" pair="{pair}" end="{end}" freq_MHz="{100 - k}"'
                rows.append(f'<m {said} value_dB="{17 + n + k}.5"/>')
    path = tmp_path / "export.xml"
    path.write_text(f"<job>{''.join(rows)}</job>", "utf-8")
    made = draft_of(path)
    read = list(formats.read(path, mapping=made.mapping))
    assert sum(b["records"].num_rows for b in read) == 3
    assert sum(b["reported"].num_rows for b in read) + sum(b["readings"].num_rows for b in read) == 24


def test_the_velocity_of_a_cable_beside_points_is_one_of_the_record(tmp_path: Path) -> None:
    lines = ["Link,Tested,NVP (%),Parameter,Pair,Frequency (MHz),Value (dB)"]
    for link in range(1, 4):
        for pair in PAIRS:
            for f in range(1, 101, 10):
                lines.append(
                    f"N-{link:02},2024-03-0{link} 10:00,{66 + link},IL,{pair},{f},{(f * (2 + link / 10)) ** 0.5:.1f}"
                )
    _, made = _draft(tmp_path, lines)
    assert _placed(made)["NVP (%)"] == "records.velocity_percent"


def test_a_code_page_of_which_bytes_are_control_characters_elsewhere(tmp_path: Path) -> None:
    """0x8F is a capital A with a ring in code page 850, and a control character in ISO 8859-1."""
    path = tmp_path / "export.csv"
    rows = [f"Q-{n:02};2024-03-0{n};\u00c5kesson;4{n}.5" for n in range(1, 4)]
    path.write_bytes("\n".join(["Link;Tested;Operator;Length (m)", *rows]).encode("cp850"))
    made = draft_of(path)
    people = [r["name"] for b in formats.read(path, mapping=made.mapping) for r in b["people"].to_pylist()]
    assert people[0] == "\u00c5kesson"
