"""Changes at random of files that readers read: of bytes, lines, cells and words, and of what is in a container."""

from __future__ import annotations

import random
import re
import zipfile
from collections.abc import Callable
from io import BytesIO

import pyarrow as pa
import pyarrow.parquet as pq

LARGEST = 3_000_000
"""Bytes of a changed file, at most."""

Change = Callable[[bytes, random.Random], bytes]


PIECES = [
    *(b"\0 \xff \xff\xfe \xc3 < > & \" ' \\ ]]> <!-- &#0; &a; = @ {} [ ] ; , | \t % # ! NaN INF - + . e".split(b" ")),
    *(b"\n", b"\r\n", b"\r", b"\xef\xbb\xbf", b"\xe2\x80\xae", b"\xed\xa0\x80", b"\\ud800", b"\x1b[31m", b"\x1a"),
    *(b"1e999", b"-0", b"1e-400", b"9" * 400, b"99999999999999999999", b"0x1F", b"1,5", b"1.000,5", b"31.02.2019"),
    *(b"=cmd|' /C calc'!A0", b"A" * 70_000, b"[" * 3_000, b"(" * 500, b" " * 5_000, b'"' * 999, b"../../x"),
    b"\n" * 3_000,
]  # fmt: skip
"""What breaks readers."""


def changed(data: bytes, draw: random.Random) -> bytes:
    """One to four changes of the bytes: of single ones, of stretches, of lines and cells, of numbers and words."""
    for _ in range(draw.choice((1, 1, 1, 2, 2, 3, 4))):
        (change,) = draw.choices((_byte, _piece, _stretch, _lines, _cells, _token, _cut), (2, 2, 2, 3, 3, 4, 0.5))
        data = change(data, draw)[:LARGEST]
    return data


def _byte(data: bytes, draw: random.Random) -> bytes:
    made = bytearray(data)
    for _ in range(draw.choice((1, 1, 4, 30)) if made else 0):
        made[draw.randrange(len(made))] = draw.choice((draw.randrange(256), 0, 255, 0x20, 0x2C))
    return bytes(made)


def _piece(data: bytes, draw: random.Random) -> bytes:
    at, piece = draw.randint(0, len(data)), draw.choice(PIECES)
    return data[:at] + piece + data[at + draw.choice((0, 0, len(piece))) :]


def _stretch(data: bytes, draw: random.Random) -> bytes:
    at, length = draw.randint(0, len(data)), draw.choice((1, 10, 100, 1_000))
    to, piece = draw.randint(0, len(data)), data[at : at + length]
    return draw.choice((data[:at] + data[at + length :], data[:to] + piece * draw.choice((1, 1, 50)) + data[to:]))


def _lines(data: bytes, draw: random.Random) -> bytes:
    lines = data.splitlines(keepends=True) or [b""]
    at, to = draw.randrange(len(lines)), draw.randrange(len(lines))
    match draw.randrange(5):
        case 0:
            del lines[at : at + draw.choice((1, 1, 5, 50))]
        case 1:
            lines[at] *= draw.choice((2, 2, 20, 2_000))
        case 2:
            lines[at], lines[to] = lines[to], lines[at]
        case 3:
            lines[at] = lines[at].rstrip(b"\r\n")
        case _:
            lines[at:at] = lines[to : to + 20]
    return b"".join(lines)


def _cells(data: bytes, draw: random.Random) -> bytes:
    lines = data.splitlines(keepends=True) or [b""]
    at, mark = draw.randrange(len(lines)), draw.choice((b";", b",", b"\t", b" ", b"|"))
    cells = lines[at].split(mark)
    one, other = draw.randrange(len(cells)), draw.randrange(len(cells))
    match draw.randrange(4):
        case 0:
            cells[one], cells[other] = cells[other], cells[one]
        case 1:
            del cells[one]
        case 2:
            cells[one:one] = cells[other : other + 1] * draw.choice((1, 3, 500))
        case _:
            cells[one] = draw.choice(PIECES)
    lines[at] = mark.join(cells)
    return b"".join(lines)


_WORDS = re.compile(rb"-?\d+(?:[.,]\d+)?|\w+", re.ASCII)


def _token(data: bytes, draw: random.Random) -> bytes:
    """A number or word becomes another one of the file, or something that is none."""
    low = max(0, draw.randint(0, len(data)) - 2_000)
    found = list(_WORDS.finditer(data, low, low + 4_000))
    if not found:
        return data
    one, other = draw.choice(found), draw.choice(found)[0]
    return data[: one.start()] + draw.choice((other, draw.choice(PIECES), b"", b"-" + other)) + data[one.end() :]


def _cut(data: bytes, draw: random.Random) -> bytes:
    return data[: draw.randint(0, len(data))]


def in_zip(data: bytes, draw: random.Random) -> bytes:
    """A zip with one of its members changed."""
    out = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        victim = draw.choice(old.namelist())
        for name in old.namelist():
            held = old.read(name)
            new.writestr(name, changed(held, draw) if name == victim else held)
    return out.getvalue()


def in_table(data: bytes, draw: random.Random) -> bytes:
    """A Parquet file with a value, a column or the order of its rows changed, and written again."""
    table = pq.read_table(BytesIO(data))
    at = draw.randrange(table.num_columns)
    field, values = table.schema.field(at), table.column(at).to_pylist()
    match draw.randrange(5):
        case 0 if values:
            values[draw.randrange(len(values))] = draw.choice((None, draw.choice(values)))
            table = table.set_column(at, field.with_nullable(True), pa.array(values, field.type))
        case 1:
            table = table.set_column(at, field.name, pa.array([str(v) for v in values], pa.string()))
        case 2:
            table = table.drop_columns([field.name])
        case 3:
            table = table.take(pa.array(draw.sample(range(table.num_rows), table.num_rows), pa.int64()))
        case _:
            table = pa.concat_tables([table] * draw.choice((2, 30)))
    out = BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


INTS = (0, 1, 2, 7, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
TEXTS = [p for p in PIECES if b"\n" not in p][:40]


def number(draw: random.Random, size: int) -> bytes:
    """A number at random of so many bytes, often one at the edge of what fits."""
    return (draw.choice((*INTS, draw.randrange(1 << 32))) & ((1 << (8 * size)) - 1)).to_bytes(size, "little")


def overwritten(data: bytes, at: int, new: bytes) -> bytes:
    """The bytes with others in their place."""
    return (data[:at] + new + data[at + len(new) :])[: max(len(data), at + len(new))]
