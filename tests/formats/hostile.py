"""Files that once stopped a whole folder, ran for ever or took all memory, built small."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from pathlib import Path

import openpyxl

from archive import schemas

EXPORTS = schemas.root().parent / "fixtures" / "exports"


def far_cell() -> bytes:
    """A workbook of two rows and a stray number in its last possible cell: 17 billion cells."""
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.append(["Link", "Length (m)"])
    sheet.append(["1A-A01", 44.5])
    sheet["XFD1048576"] = 1
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def panic() -> bytes:
    """An old workbook whose sector table is changed in one byte: the library that reads it panics."""
    whole = bytearray((EXPORTS / "corvid-sheets" / "ensayos.xls").read_bytes())
    whole[514] = 0
    return bytes(whole)


def many_attributes() -> bytes:
    """One element with 200,000 attributes."""
    attributes = " ".join(f'a{i}="{i}"' for i in range(200_000))
    return f"<Report><Link {attributes}/></Report>".encode()


def many_attributes_of_a_record() -> bytes:
    """Link record XML with one record of 200,000 attributes."""
    attributes = " ".join(f'a{i}="{i}"' for i in range(200_000))
    return f'<link-records xmlns="urn:muniment:link-record:1"><record {attributes}/></link-records>'.encode()


def mixed_encodings() -> bytes:
    """A good text with a stretch of UTF-16 and of Latin-1 in it."""
    whole = (EXPORTS / "bramble-points" / "sweeps.csv").read_bytes()
    half = len(whole) // 2
    wide = whole[half : half + 5_000].decode("utf-8").encode("utf-16-le")
    return whole[:half] + wide + "Zürich;Ä;ö\n".encode("latin-1") * 50 + whole[half + 5_000 :]


def one_letter() -> bytes:
    """A million lines of one letter."""
    return b"a\n" * 1_000_000


def long_reference() -> bytes:
    """A network-analyser file with a million reference impedances, ten on each line."""
    lines = "50 50 50 50 50 50 50 50 50 50\n" * 100_000
    head = "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 4\n[Reference]\n"
    return f"{head}{lines}[Number of Frequencies] 1\n[Network Data]\n1 {'0 0 ' * 16}\n[End]\n".encode()


def lone_surrogate() -> bytes:
    """JSON in which one label is half of a character."""
    tree = json.loads((EXPORTS / "plover-json" / "links.json").read_text("utf-8"))
    assert len(tree["links"]) > 2
    tree["links"][1]["cable"]["label"] = "1A-\ud83d"
    return json.dumps(tree).encode("ascii")


def long_row() -> bytes:
    """A table in blocks in which one row is longer than its heading."""
    lines = (EXPORTS / "tidewater-beside" / "bench.tsv").read_bytes().splitlines(keepends=True)
    at = len(lines) // 2
    lines[at] = lines[at].rstrip(b"\r\n") + b"\t7\t8\r\n"
    return b"".join(lines)


def bomb() -> bytes:
    """A zip of 200 kB that unpacks to 200 MB, no entry of which is above 50 MB."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for i in range(4):
            packed.writestr(f"{i}.csv", bytes(50_000_000))
    return out.getvalue()


def overlapping() -> bytes:
    """A zip whose entries all stand at one place."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for i in range(3):
            packed.writestr(f"{i}.csv", b"link,length\n1A-A01,44\n")
    whole = bytearray(out.getvalue())
    at = whole.find(b"PK\x01\x02")
    while at >= 0:
        whole[at + 42 : at + 46] = struct.pack("<I", 0)
        at = whole.find(b"PK\x01\x02", at + 1)
    return bytes(whole)


def parquet_of_another() -> bytes:
    """A Parquet file cut off in its pages, its end kept: what a library meets when a disk has failed."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    out = io.BytesIO()
    pq.write_table(pa.table({"record_id": ["a"] * 5000, "medium": ["copper"] * 5000}), out, compression="none")
    whole = out.getvalue()
    return whole[:4] + b"\xff" * 40 + whole[44:]


FILES = {
    "far-cell.xlsx": far_cell,
    "panic.xls": panic,
    "many-attributes.xml": many_attributes,
    "many-attributes-of-a-record.xml": many_attributes_of_a_record,
    "one-letter.csv": one_letter,
    "long-reference.s4p": long_reference,
    "bomb.zip": bomb,
    "overlapping.zip": overlapping,
    "records.parquet": parquet_of_another,
}
"""Files of which nothing can be read."""

IN_PART = {"lone-surrogate.json": lone_surrogate, "long-row.tsv": long_row}
"""Files of which one record cannot be read."""


def write(folder: Path, name: str) -> Path:
    """One of them in a folder."""
    path = folder / name
    path.write_bytes({**FILES, **IN_PART}[name]())
    return path
