"""Curves that stand apart from the link they belong to: in other sheets, in other files, below letters of the ends.

The layouts are invented; the numbers read back are held to those that were printed.
"""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from invented import job
from invented.job import COMBINATIONS, PAIRS, Test
from invented.text import contacts, lines, num, zipped

from archive import formats
from archive.formats.conversion_account import ConversionAccount
from archive.formats.draft.command import draft_of

TESTS = job.tests(4, 601, points=40, category="cat6")
SIDES = {"local": "near", "remote": "far"}


def both(path: Path) -> tuple[dict[str, dict[tuple[str, str, str], list[float]]], ConversionAccount]:
    """Curves by label and (parameter, end, pairing) as a draft reads them, and the account."""
    account = ConversionAccount()
    out: dict[str, dict[tuple[str, str, str], list[float]]] = {}
    for batch in account.counted(formats.read(path)):
        names = dict(zip(*(batch["records"][c].to_pylist() for c in ("record_id", "link_label")), strict=True))
        out |= {label: {} for label in names.values()}
        for row in batch["sweeps"].to_pylist():
            out[names[row["record_id"]]][row["parameter"], row["end"] or "", row["pairing"]] = row["values"]
    return out, account


def printed(t: Test, *parameters: str) -> dict[tuple[str, str, str], list[float]]:
    return {k: [float(num(x)) for x in v] for k, v in t.curves.items() if k[0] in parameters}


def curve_file(t: Test) -> list[list[Any]]:
    """Return loss of all pairs and both ends, a column for each."""
    rows: list[list[Any]] = [["f (MHz)", *(f"RL {contacts(p)} {s}" for p in PAIRS for s in SIDES.values())]]
    for i, f in enumerate(t.axis):
        rows.append([num(f, 3), *(num(t.curves["return_loss", e, p][i]) for p in PAIRS for e in SIDES)])
    return rows


def test_sheets_joined_by_a_number(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Links"
    sheet.append(["#", "Link ID", "Tested on", "Result"])
    curves = book.create_sheet("Curves")
    curves.append(["#", "Type", "Pair(s)", "End", "f [MHz]", "dB"])
    for n, t in enumerate(TESTS, 1):
        sheet.append([n, t.label, t.when, t.verdict])
        for (q, e, c), v in t.curves.items():
            if q == "return_loss":
                for f, x in zip(t.axis, v, strict=True):
                    curves.append([n, "Return loss", c, SIDES[e], float(num(f, 3)), float(num(x))])
    data = io.BytesIO()
    book.save(data)
    (tmp_path / "two.xlsx").write_bytes(data.getvalue())
    found, account = both(tmp_path / "two.xlsx")
    assert found == {t.label: printed(t, "return_loss") for t in TESTS}
    assert account.set_aside == []


def test_a_column_of_ends_is_no_key_of_another_sheet(tmp_path: Path) -> None:
    """Numbers 1 and 2 of the ends are numbers of links too: only whole runs of them would join."""
    (tmp_path / "one.csv").write_text(
        lines([["No", "Link ID", "Result"], *([n, t.label, t.verdict] for n, t in enumerate(TESTS, 1))], ",")
        + "\n"
        + lines([["End", "Limit name"], [1, "x"], [2, "x"], [1, "x"], [2, "x"]], ",")
    )
    places = {(f["table"], f["from"]): f["to"] for f in draft_of(tmp_path / "one.csv").fields}
    assert "records.sequence" not in {to for (_, name), to in places.items() if name == "End"}


def test_ends_that_are_letters_above_their_curves(tmp_path: Path) -> None:
    results = []
    for t in TESTS:
        by: dict[str, Any] = {"A": {}, "B": {}}
        for (q, e, c), v in t.curves.items():
            if q == "next":
                points = [[round(float(f), 3), float(num(x))] for f, x in zip(t.axis, v, strict=True)]
                by[{"local": "A", "remote": "B"}[e]][contacts(c)] = {"points": points}
        results.append({"circuit": t.label, "completed": t.when.isoformat(), "tests": {"NEXT": by}})
    (tmp_path / "deep.json").write_text(json.dumps({"results": results}))
    found, account = both(tmp_path / "deep.json")
    assert found == {t.label: printed(t, "next") for t in TESTS}
    assert all(len(v) == 2 * len(COMBINATIONS) for v in found.values())
    assert account.set_aside == []


def test_files_that_only_their_names_tell_apart(tmp_path: Path) -> None:
    for t in TESTS:
        (tmp_path / f"{t.label}.csv").write_text(lines(curve_file(t), "\t"))
    found, account = both(tmp_path)
    assert found == {t.label: printed(t, "return_loss") for t in TESTS}
    # The name is no cell of the file.
    assert account.cells["read"] == len(TESTS) * len(TESTS[0].axis) * 9


def test_a_folder_beside_an_index_that_cannot_be_read_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "locked").mkdir()
    (tmp_path / "index.csv").write_text(lines([["Label", "Result"], *([t.label, t.verdict] for t in TESTS)], ","))
    whole = Path.iterdir

    def listed(folder: Path) -> Any:
        if folder.name == "locked":
            raise PermissionError(13, "Permission denied", str(folder))
        return whole(folder)

    monkeypatch.setattr(Path, "iterdir", listed)
    found, account = both(tmp_path / "index.csv")
    assert list(found) == [t.label for t in TESTS] and account.set_aside == []


def test_a_file_that_stands_alone_is_not_surely_named_by_its_name(tmp_path: Path) -> None:
    (tmp_path / "export.csv").write_text(lines(curve_file(TESTS[0]), "\t"))
    (label,) = [f for f in draft_of(tmp_path / "export.csv").fields if f["to"] == "records.link_label"]
    assert label["from"] == "@file" and label["confidence"] < 0.9


@pytest.mark.parametrize("within", ["", "curves/"])
@pytest.mark.parametrize("ending", ["json", "csv"])
def test_an_index_beside_files_of_curves(tmp_path: Path, within: str, ending: str) -> None:
    index = [{"ref": f"L{n:03d}", "label": t.label, "time": t.when.isoformat()} for n, t in enumerate(TESTS)]
    text = json.dumps(index) if ending == "json" else lines([list(index[0]), *(list(r.values()) for r in index)], ",")
    files = {f"index.{ending}": text.encode()}
    files |= {f"{within}L{n:03d}.csv": lines(curve_file(t), ",").encode() for n, t in enumerate(TESTS)}
    (tmp_path / "pack.zip").write_bytes(zipped(files))
    found, account = both(tmp_path / "pack.zip")
    assert found == {t.label: printed(t, "return_loss") for t in TESTS}
    assert account.cells == {"read": 12 + 4 * 40 * 9, "mapped": 12 + 4 * 40 * 9, "extras": 0, "ignored": 0}


def test_an_index_of_json_keeps_what_no_column_takes(tmp_path: Path) -> None:
    index = [{"ref": f"L{n:03d}", "label": t.label, "zzyzx": f"word {n}"} for n, t in enumerate(TESTS)]
    files = {"index.json": json.dumps({"links": index, "around": "kept"}).encode()}
    files |= {f"L{n:03d}.csv": lines(curve_file(t), ",").encode() for n, t in enumerate(TESTS)}
    (tmp_path / "pack.zip").write_bytes(zipped(files))
    extras: list[tuple[str, str]] = []
    ids: list[str] = []
    for batch in formats.read(tmp_path / "pack.zip"):
        extras += list(zip(*(batch["extras"][c].to_pylist() for c in ("name", "value")), strict=True))
        ids += batch["records"]["record_id"].to_pylist()
    assert sorted(v for n, v in extras if n == "zzyzx") == [f"word {n}" for n in range(4)]
    assert [v for _, v in extras if v == "kept"] == ["kept"]
    assert len(set(ids)) == 4


def test_headings_of_units_and_without_blanks(tmp_path: Path) -> None:
    """A heading of a unit and a pair alone; Japanese, which puts no blanks between words."""
    colours = ("Orange", "Green", "Blue", "Brown")
    rows: list[list[Any]] = [["Outlet", "Wiring", *(f"Ohms {c}" for c in colours), "近端漏話余裕(dB)"]]
    rows += [[t.label, "T568B", *(num(t.loop[p]) for p in PAIRS), num(3 + n)] for n, t in enumerate(TESTS)]
    (tmp_path / "units.csv").write_text(lines(rows, ","), "utf-8")
    to = {f["from"]: f["to"] for f in draft_of(tmp_path / "units.csv").fields}
    assert to["Ohms Blue"] == "readings.loop_resistance[4-5]" and to["Ohms Orange"] == "readings.loop_resistance[1-2]"
    assert to["近端漏話余裕(dB)"] == "reported.next.margin[worst_margin]"


def test_curves_that_nothing_tells_apart_are_not_sure(tmp_path: Path) -> None:
    """Both ends of each pair, and no column that says which: a frequency stands twice."""
    rows: list[list[Any]] = [["Outlet", "Parameter", "Pair", "MHz", "dB"]]
    for t in TESTS:
        for (q, _, c), v in t.curves.items():
            if q == "return_loss":
                rows += [[t.label, "RL", c, num(f, 3), num(x)] for f, x in zip(t.axis, v, strict=True)]
    (tmp_path / "ends.csv").write_text(lines(rows, ","))
    by = {f["from"]: f["confidence"] for f in draft_of(tmp_path / "ends.csv").fields}
    assert by.get("dB", 0.0) < 0.9 and by["Outlet"] >= 0.9


def test_fixed_columns_under_headings_that_are_underlined(tmp_path: Path) -> None:
    """Two words in a heading, units in a row of their own, a line under them, a total at the end."""
    heads = ["CIRCUIT", "TIME", *(f"PR{contacts(p)}" for p in PAIRS), "DLY", "NEXT MGN", "P/F"]
    under = ["", "", *["ft"] * 4, "ns", "dB", ""]
    wide = [12, 22, *[7] * 4, 6, 10, 6]
    rows: list[list[Any]] = [heads, under, ["=" * (w - 1) for w in wide]]
    for n, t in enumerate(TESTS):
        feet = [num(t.length[p] / 0.3048, 0) for p in PAIRS]
        rows.append(
            [t.label, t.when.isoformat(" ")[:16], *feet, num(t.delay["1-2"], 0), num(3 + n), t.verdict[0].upper()]
        )
    text = "\n".join("".join(str(c).ljust(w) for c, w in zip(r, wide, strict=True)) for r in rows)
    (tmp_path / "fixed.prn").write_text(f"{text}\n\nTOTAL 4 CIRCUITS     PASSED 4\n")
    to = {f["from"]: f["to"] for f in draft_of(tmp_path / "fixed.prn").fields}
    assert to["NEXT MGN"] == "reported.next.margin[worst_margin]" and to["P/F"] == "records.reported_verdict"
    assert to["PR36"] == "readings.length[3-6]" and to["DLY"] == "readings.propagation_delay"
    found, account = both(tmp_path / "fixed.prn")
    assert list(found) == [t.label for t in TESTS] and account.set_aside == []


def test_frequencies_as_headings_have_a_cell_for_each_number(tmp_path: Path) -> None:
    """The account counts each number of a row as the cell that it is in the file."""
    rows: list[list[Any]] = [["Link", "Measurement", "Pair", "End", *(num(f, 3) for f in TESTS[0].axis)]]
    for t in TESTS:
        for (q, e, c), v in t.curves.items():
            if q == "return_loss":
                rows.append([t.label, "RL" if c != "7-8" else "zzyzx", c, SIDES[e], *map(num, v)])
    rows[1][6] = ""
    (tmp_path / "across.csv").write_text(lines(rows, ","))
    filled = sum(c != "" for r in rows[1:] for c in r)
    _, account = both(tmp_path / "across.csv")
    assert account.cells["read"] == filled
    assert account.cells["mapped"] + account.cells["extras"] == filled
    assert account.cells["extras"] >= 8 * 40  # of the quantity that nobody knows


@pytest.mark.parametrize("mark", [",", ";", "|"])
def test_lists_that_no_blank_parts(tmp_path: Path, mark: str) -> None:
    out = ["<job>"]
    for t in TESTS:
        out.append(f'<link><label>{t.label}</label><overall>{t.verdict}</overall><group type="ReturnLoss">')
        for (q, e, c), v in t.curves.items():
            if q == "return_loss":
                x, y = mark.join(num(f, 2) for f in t.axis), mark.join(map(num, v))
                out.append(f'<curve pairs="{contacts(c)}" end="{SIDES[e]}"><x>{x}</x><y>{y}</y></curve>')
        out.append("</group></link>")
    (tmp_path / "xy.xml").write_text("".join([*out, "</job>"]))
    found, account = both(tmp_path / "xy.xml")
    assert found == {t.label: printed(t, "return_loss") for t in TESTS} and account.set_aside == []


def test_margins_below_pairs_name_no_pairs(tmp_path: Path) -> None:
    """Margins such as 4.0 to 4.3 dB under an element called pairs are numbers, not names of pairs."""
    listed = [
        {
            "cableName": t.label,
            "passed": t.verdict == "pass",
            "pairs": [
                {
                    "pair": p,
                    "lengthMeters": t.length[p],
                    "returnLoss": {"worstMarginDb": 4 + i / 10, "atMHz": 100.0 + i},
                }
                for i, p in enumerate(PAIRS)
            ],
        }
        for t in TESTS
    ]
    (tmp_path / "pairs.json").write_text(json.dumps(listed))
    by = {f["from"]: f for f in draft_of(tmp_path / "pairs.json").fields}
    assert by["pair"]["to"] == "row.pairing" and by["pair"]["confidence"] >= 0.9
    assert by["returnLoss/worstMarginDb"]["to"] == "reported.return_loss.margin[worst_margin]"


def test_local_alone_is_a_room_or_an_end(tmp_path: Path) -> None:
    rows = [["Repère", "Local", "Statut"], *([t.label, "LT-2", t.verdict] for t in TESTS)]
    (tmp_path / "fr.csv").write_text(lines(rows, ";"), "utf-8")
    (local,) = [f for f in draft_of(tmp_path / "fr.csv").fields if f["from"] == "Local"]
    assert local["to"] == "places.space" and local["confidence"] < 0.9
