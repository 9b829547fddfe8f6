"""Mappings that cannot be, and exports that a mapping cannot read: one Trouble that says where, found and expected."""

from __future__ import annotations

import json
import re
import struct
from pathlib import Path

import pytest

from archive import formats
from archive.errors import Trouble
from archive.formats.draft.command import draft_of
from archive.formats.mapping.load import loads
from tests.formats.mapping.guide import Example, examples

LABEL = '{ from = "Link", to = "records.link_label" }'
FILE = '[mapping]\nlayout = "x"\n[[file]]\nkind = "delimited"\n[[file.table]]\nrows = "links"\nfields = [{}]\n'
EXPORT = "Link,Date,Length (m)\nA-1,03/04/2021,20\nA-2,05/06/2021,21\n"

CANNOT_BE = {
    "two fields from one cell": f'{LABEL}, {{ from = "Link", to = "records.sequence" }}',
    "a unit that cannot be": f'{LABEL}, {{ from = "Length (m)", to = "readings.length", unit = "dB" }}',
    "no such unit": f'{LABEL}, {{ from = "Length (m)", to = "readings.length", unit = "parsec" }}',
    "the tables have no such place": f'{LABEL}, {{ from = "Length (m)", to = "readings.lenght" }}',
    "no such pattern of dates": f'{LABEL}, {{ from = "Date", to = "records.tested_found", format = "QQ/ZZ" }}',
    "no such encoding of numbers": f'{LABEL}, {{ from = "C", to = "sweeps.next", encoding = "base65-float32" }}',
}


@pytest.mark.parametrize("reason", CANNOT_BE)
def test_a_mapping_that_cannot_be(reason: str) -> None:
    with pytest.raises(Trouble, match=rf"^m\.toml, .*{reason}"):
        loads(FILE.format(CANNOT_BE[reason]).encode(), "m.toml")


@pytest.mark.parametrize(
    "pattern",
    ["ISO", "words", "DD.MM.YYYY hh:mm", "YYYY年MM月DD日 hh:mm", "Day, DD Mon YYYY", "hh:mm AP", "DD/MM/YY|DD.MM.YYYY"],
)
def test_a_pattern_of_dates_that_can_be(pattern: str) -> None:
    field = f'{LABEL}, {{ from = "Date", to = "records.tested_found", format = "{pattern}" }}'
    assert loads(FILE.format(field).encode(), "m.toml").files[0].tables[0].fields[1].format == pattern


@pytest.mark.parametrize("pattern", ["DD/DD/YYYY", "YYYY YY", "MM Mon YYYY", "today", "DD.MM."])
def test_a_pattern_of_dates_that_says_a_part_twice_or_none(pattern: str) -> None:
    with pytest.raises(Trouble, match="no such pattern of dates"):
        loads(FILE.format(f'{{ from = "Date", to = "records.tested_found", format = "{pattern}" }}').encode(), "m.toml")


def _read(folder: Path, fields: str) -> list[dict[str, str]]:
    (folder / "m.toml").write_text(FILE.format(fields))
    (folder / "links.csv").write_text(EXPORT)
    batches = list(formats.read(folder / "links.csv", mapping=folder / "m.toml"))
    return [row for b in batches for row in b["set_aside"].to_pylist()]


def test_a_column_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match=r"not there; found Link, Date, Length"):
        _read(tmp_path, f'{LABEL}, {{ from = "Lenght", to = "readings.length" }}')


def test_a_date_that_reads_two_ways_is_asked_for(tmp_path: Path) -> None:
    rows = _read(tmp_path, f'{LABEL}, {{ from = "Date", to = "records.tested_found" }}')
    assert [r["found"] for r in rows] == ["'03/04/2021'", "'05/06/2021'"]
    assert all("DD/MM/YYYY or MM/DD/YYYY" in r["expected"] for r in rows)


def _locked() -> bytes:
    """An OLE compound file whose streams are those of an encrypted workbook ([MS-CFB], [MS-OFFCRYPTO] 2.3.4)."""
    free, end = 0xFFFFFFFF, 0xFFFFFFFE
    head = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 16 + struct.pack("<5H", 0x3E, 3, 0xFFFE, 9, 6) + b"\0" * 10
    head += struct.pack("<8I", 1, 1, 0, 4096, end, 0, end, 0) + struct.pack("<I", 0) + b"\xff" * 432
    fat = struct.pack("<2I", 0xFFFFFFFD, end) + b"\xff" * 504

    def entry(name: str, kind: int, child: int = free, right: int = free) -> bytes:
        made = name.encode("utf-16-le").ljust(64, b"\0") + struct.pack("<HBB", 2 * len(name) + 2, kind, 1)
        made += struct.pack("<3I", free, right, child)
        return made.ljust(116, b"\0") + struct.pack("<IQ", end, 0)

    listed = entry("Root Entry", 5, child=1) + entry("EncryptedPackage", 2, right=2) + entry("EncryptionInfo", 2)
    return head + fat + listed.ljust(512, b"\0")


def test_a_workbook_with_a_password_says_so(tmp_path: Path) -> None:
    path = tmp_path / "locked.xlsx"
    path.write_bytes(_locked())
    for look in (draft_of, lambda p: list(formats.read(p))):
        with pytest.raises(Trouble, match=r"locked\.xlsx: is protected with a password"):
            look(path)


def test_json_cut_short_says_where(tmp_path: Path) -> None:
    path = tmp_path / "half.json"
    path.write_text('{"links": [{"id": "A-1", "date": "2021-03-14", "limit": "Cat 6A", "leng')
    for look in (draft_of, lambda p: list(formats.read(p))):
        with pytest.raises(Trouble, match=r"half\.json, line 1, column \d+: is no JSON"):
            look(path)


def _guide() -> str:
    from archive import schemas

    return (schemas.root() / "mapping.md").read_text(encoding="utf-8")


def test_the_guide_explains_every_key() -> None:
    from archive.formats.mapping import load, load_fields

    told = set(re.findall(r"`([\w]+)`", _guide()))
    for keys in (load.HEAD_KEYS, load.CELL_KEYS, load.FILE_KEYS, load.TABLE_KEYS, load_fields.FIELD_KEYS):
        assert set(keys) - {"table"} <= told, set(keys) - told


@pytest.mark.parametrize("example", [*examples()], ids=lambda e: loads(e.mapping.encode()).layout)
def test_an_example_of_the_guide_reads_as_the_guide_says(example: Example, tmp_path: Path) -> None:
    assert example.result(tmp_path) == example.printed, "run python -m tests.formats.mapping.guide, and look at it"


def test_every_mapping_of_the_guide_is_an_example() -> None:
    assert len(list(examples())) == _guide().count("```toml") >= 10


def test_words_that_nobody_knows_are_counted_once_above_their_rows(tmp_path: Path) -> None:
    """What stands above points in JSON is one cell for all of them, mapped or kept."""
    text = next(e.mapping for e in examples() if '"points"' in e.mapping).replace('"NEXT" = "next"', "")
    (tmp_path / "m.toml").write_text(text)
    points = [[1.0, 65.1], [1.15, 64.2], [2.0, 60.0]]
    traces = [{"what": "NEXT", "pair": p, "points": points} for p in ("1-2/3-6", "1-2/4-5")]
    (tmp_path / "links.json").write_text(json.dumps({"links": [{"id": "A-1", "traces": traces}]}))
    (batch,) = formats.read(tmp_path / "links.json", mapping=tmp_path / "m.toml")
    (source,) = batch["sources"].to_pylist()
    assert [source[f"cells_{k}"] for k in ("read", "mapped", "extra", "ignored")] == [17, 1, 16, 0]
    extras = batch["extras"]["name"].to_pylist()
    assert {n: extras.count(n) for n in extras} == {"#1": 6, "#2": 6, "../what": 2, "../pair": 2}


@pytest.mark.parametrize("text", ["This is a letter about cables.\n" * 40, "Link,Date,Length (m),Result\n"])
def test_a_letter_or_headings_alone_give_no_draft(text: str, tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text(text)
    with pytest.raises(Trouble, match=r"letter\.txt: nothing in it could be placed"):
        draft_of(path)
