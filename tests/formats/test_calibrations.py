"""Lists of calibrations and digital certificates: what they say, and one clear line for what they do not.

The XML is made after the schema of digital calibration certificates as it is known from memory, as
schemas/calibrations.toml says: no published certificate was at hand to check against.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from archive import schemas
from archive.errors import Trouble
from archive.formats.calibrations import MOST_BYTES, CalibrationFile, read

SPACE = schemas.load("calibrations.toml")["xml"]["namespace"]
ITEM = (
    "<d:item><d:manufacturer><d:name><d:content>Petrel Metrology</d:content></d:name></d:manufacturer>"
    "<d:model>P-40</d:model><d:identifications><d:identification><d:issuer>manufacturer</d:issuer>"
    "<d:value>{serial}</d:value></d:identification><d:identification><d:issuer>customer</d:issuer>"
    "<d:value>CUP-7</d:value></d:identification></d:identifications></d:item>"
)
CERTIFICATE = (
    '<?xml version="1.0"?><d:digitalCalibrationCertificate xmlns:d="{space}" schemaVersion="3.2.1">'
    "<d:administrativeData><d:coreData><d:uniqueIdentifier>C-2026-1</d:uniqueIdentifier>"
    "<d:beginPerformanceDate>2026-05-02</d:beginPerformanceDate><d:endPerformanceDate>2026-05-03</d:endPerformanceDate>"
    "</d:coreData><d:items>{items}</d:items><d:calibrationLaboratory><d:contact><d:name><d:content>Invented Laboratory"
    "</d:content></d:name></d:contact></d:calibrationLaboratory></d:administrativeData>"
    "</d:digitalCalibrationCertificate>"
)


def of(tmp_path: Path, data: bytes | str, name: str = "calibrations.csv", **more: str) -> CalibrationFile:
    path = tmp_path / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read(path, **more)


def certificate(*items: str) -> str:
    return CERTIFICATE.format(space=SPACE, items="".join(items))


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_a_list(tmp_path: Path, mark: str) -> None:
    text = "\ufeffSerial Number,Calibrated-on,valid_until,Maker\n40-00317,2026-05-03,2027-05-03,Petrel Metrology\n\n"
    found = of(tmp_path, text.replace(",", mark))
    assert found.refused == []
    assert found.rows == [
        {
            "serial": "40-00317",
            "maker": "Petrel Metrology",
            "model": None,
            "calibrated_on": "2026-05-03",
            "valid_until": "2027-05-03",
            "certificate": None,
            "laboratory": None,
        }
    ]
    assert found.data == text.replace(",", mark).encode()


def test_a_bad_row_costs_itself_alone(tmp_path: Path) -> None:
    text = (
        "serial,calibrated_on,valid_until\nA,2026-05-03,2027-05-03\n,2026-05-03,\nB,03/05/2026,\nC,,\n"
        "D,2026-05-03,2025-05-03\nE,2026-05-03,2027-05-03,more\nF\x1b[31m,2026-05-03,\n" + "G" * 300 + ",2026-05-03,\n"
        "H,2026-02-30,\nI,2026-05-03,\n"
    )
    found = of(tmp_path, text)
    assert [r["serial"] for r in found.rows] == ["A", "I"]
    assert [line.split(":")[0] for line in found.refused] == [f"calibrations.csv, row {n}" for n in range(3, 11)]
    assert "found 03/05/2026" in found.refused[1], "a day that could be two days is neither"


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe\x00",
        "name,date\nx,y\n",
        "serial\nx\n",
        "serial,serial number,due\nx,y,2026-01-01\n",
        'serial,due\n"x,2026-01-01\n',
        b"\x00" * 50,
        "x" * 500,
    ],
)
def test_what_is_no_list(tmp_path: Path, data: bytes | str) -> None:
    with pytest.raises(Trouble) as raised:
        of(tmp_path, data)
    assert raised.value.code == "calibrations.no-list"
    assert len(str(raised.value)) < 600


def test_a_digital_certificate(tmp_path: Path) -> None:
    found = of(tmp_path, certificate(ITEM.format(serial="40-00317")), "c.xml", valid_until="2027-05-03")
    assert found.rows == [
        {
            "serial": "40-00317",
            "maker": "Petrel Metrology",
            "model": "P-40",
            "calibrated_on": "2026-05-03",
            "valid_until": "2027-05-03",
            "certificate": "C-2026-1",
            "laboratory": "Invented Laboratory",
        }
    ]
    assert any("from memory" in note and "signature was not checked" in note for note in found.notes)


def test_several_items_and_none_that_is_guessed(tmp_path: Path) -> None:
    two = ITEM.format(serial="A").replace("<d:issuer>customer", "<d:issuer>manufacturer")
    none = ITEM.format(serial="A").replace("manufacturer</d:issuer>", "laboratory</d:issuer>")
    found = of(tmp_path, certificate(ITEM.format(serial="A"), two, none, ITEM.format(serial="B")), "c.xml")
    assert [r["serial"] for r in found.rows] == ["A", "B"]
    assert "2 numbers of the manufacturer: A, CUP-7" in found.refused[0]
    assert "no serial number" in found.refused[1]


@pytest.mark.parametrize(
    "text",
    [
        "<a/>",
        "<digitalCalibrationCertificate/>",
        '<d:other xmlns:d="x"/>',
        certificate(),
        certificate(ITEM.format(serial="A"))[:-30],
        '<!DOCTYPE d [<!ENTITY x SYSTEM "file:///etc/passwd">]>' + certificate(ITEM.format(serial="&x;")),
        '<!DOCTYPE d [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><d>&b;</d>',
        certificate("<d:item>" * 5000 + "</d:item>" * 5000),
    ],
)
def test_hostile_or_other_xml(tmp_path: Path, text: str) -> None:
    with pytest.raises(Trouble) as raised:
        of(tmp_path, text, "c.xml")
    assert raised.value.code in ("calibrations.no-certificate", "xml.beyond-bounds")


def test_a_file_that_is_too_large_or_not_there(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="too large"):
        of(tmp_path, b"serial,due\n" + bytes(MOST_BYTES))
    with pytest.raises(Trouble, match="cannot be opened"):
        read(tmp_path / "never.csv")
    with pytest.raises(Trouble, match="not a date"):
        of(tmp_path, "serial,due\nA,\n", valid_until="soon")
