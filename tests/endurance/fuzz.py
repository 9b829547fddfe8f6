"""Real fixtures, changed at random, for each reader: whatever comes of it is read, set aside, or told in one line.

    python -m tests.endurance fuzz [READER...] [--seconds 300] [--case N]

A case is a number: the same number changes the same fixture in the same way. Cases run in a process of their own, so
that one that hangs, dies, or takes more than its memory is found and named, and the next one goes on.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import re
import resource
import tempfile
import time
import traceback
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial
from io import BytesIO
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from archive import formats, schemas
from archive.confined import MEMORY, SECONDS
from archive.errors import Trouble
from archive.formats import schedule
from archive.formats.reading import Reading
from archive.formats.survey import survey
from archive.tables.sound import breaches

FIXTURES = schemas.root().parent / "fixtures"
LARGEST = 3_000_000
"""Bytes of a changed file, at most."""
SLOW, HANGS = 20.0, 240.0
"""Seconds of processor time, and by the clock, that a case may take: no changed file is larger than LARGEST."""


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


def _in_zip(data: bytes, draw: random.Random) -> bytes:
    """A zip with one of its members changed."""
    out = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        victim = draw.choice(old.namelist())
        for name in old.namelist():
            held = old.read(name)
            new.writestr(name, changed(held, draw) if name == victim else held)
    return out.getvalue()


@dataclass(frozen=True)
class Specimen:
    """A folder as it is handed in, by name; the names that are changed; how it is read; how it is changed mostly."""

    files: dict[str, bytes]
    victims: Sequence[str]
    read: Callable[[Path], int]
    change: Change = changed


def _in_table(data: bytes, draw: random.Random) -> bytes:
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


def _read(path: Path, mapping: str | None = None) -> int:
    """Rows that were set aside. Each batch keeps the rules of the tables."""
    count = 0
    for batch in Reading([path], mapping=path.parent / mapping if mapping else None):
        assert list(breaches(batch)) == []
        count += batch["set_aside"].num_rows
    return count


def _survey(path: Path) -> int:
    return sum(d.unread for d in survey([path]))


def _schedule(path: Path) -> int:
    return schedule.read(next(path.iterdir()))["findings"].num_rows


def _exports(*kinds: str, drafted: bool = False, victim: str = "export") -> Iterator[Specimen]:
    for folder in sorted((FIXTURES / "exports").iterdir()):
        if not folder.is_dir() or not any(p.suffix in kinds for p in folder.iterdir()):
            continue
        exports = {p.name: p.read_bytes() for p in folder.iterdir() if p.name not in ("mapping.toml", "truth.zip")}
        mapping = (folder / "mapping.toml").read_bytes()
        given = {} if drafted else {"../mapping.toml": mapping}
        victims = ["../mapping.toml"] if victim == "mapping" else list(exports)
        read = partial(_read, mapping=None if drafted else "mapping.toml")
        packed = any(name.endswith((".xlsx", ".ods")) for name in victims)
        yield Specimen({**exports, **given}, victims, read, _in_zip if packed else changed)


def _open(pattern: str) -> Iterator[Specimen]:
    for path in sorted((FIXTURES / "conformance" / "good").glob(pattern)):
        if path.suffix == ".zip":
            with zipfile.ZipFile(path) as packed:
                files = {n: packed.read(n) for n in packed.namelist()}
        else:
            files = {path.name: path.read_bytes()}
        yield Specimen(files, list(files), _read)


def _parquet() -> Iterator[Specimen]:
    for name in ("minimal.xml", "every-table.xml"):
        with tempfile.TemporaryDirectory() as folder:
            formats.write(formats.read(FIXTURES / "conformance" / "good" / name), Path(folder) / "out", "parquet")
            files = {p.name: p.read_bytes() for p in sorted((Path(folder) / "out").iterdir())}
        yield Specimen(files, [n for n in files if len(files[n]) > 1_500] + ["records.parquet"], _read, _in_table)


def _networks() -> Iterator[Specimen]:
    for path in sorted((FIXTURES / "touchstone").glob("*.toml")):
        files = {p.name: p.read_bytes() for p in path.parent.glob(f"{path.stem}.*")}
        yield Specimen(files, list(files), _read)


def _schedules() -> Iterator[Specimen]:
    heads = ("Link;Limit;Cable;Due;Room", "Kabel,Raum,Etage,Port,Fällig am", "Outlet\tFloor\tPanel\tPort", "1A-A00")
    for head in heads:
        mark = next((m for m in ";,\t" if m in head), "\0")
        cells = ("1A-A{n:02d}", "Cat 6 permanent link", "Cat 6 U/UTP", "2019-05-{n:02d}", "TR2")[: head.count(mark) + 1]
        lines = [head, *(mark.join(cells).format(n=n) for n in range(1, 25))]
        yield Specimen({"links.csv": "\n".join(lines).encode()}, ["links.csv"], _schedule)
    for export in ("marlow-workbook/Results.xlsx", "dotterel-ods/survey.ods"):
        path = FIXTURES / "exports" / export
        yield Specimen({path.name: path.read_bytes()}, [path.name], _schedule, _in_zip)


def _containers() -> Iterator[Specimen]:
    for path in sorted((FIXTURES / "exports").glob("*/*.zip")):
        yield Specimen({path.name: path.read_bytes()}, [path.name], _read)
    inner = (FIXTURES / "conformance" / "good" / "minimal.zip").read_bytes()
    nested = BytesIO()
    with zipfile.ZipFile(nested, "w") as packed:
        packed.writestr("a/inner.zip", inner)
        packed.writestr("b/inner.zip", inner)
    yield Specimen({"nested.zip": nested.getvalue()}, ["nested.zip"], _read, _in_zip)


def _surveyed() -> Iterator[Specimen]:
    for one in (*_exports(".csv", ".txt", ".xml", ".json", ".zip", drafted=True), *_open("*"), *_networks()):
        yield Specimen(one.files, one.victims, _survey, one.change)


_TEXT = (".csv", ".txt", ".prn")
READERS: dict[str, Callable[[], Iterator[Specimen]]] = {
    "open-xml": lambda: _open("*.xml"),
    "open-csv": lambda: _open("*.zip"),
    "parquet": _parquet,
    "delimited": lambda: _exports(*_TEXT),
    "trees": lambda: _exports(".xml", ".json"),
    "workbooks": lambda: _exports(".xlsx", ".ods", ".xls"),
    "networks": _networks,
    "schedules": _schedules,
    "mappings": lambda: _exports(*_TEXT, ".xml", ".json", ".zip", victim="mapping"),
    "containers": _containers,
    "drafts": lambda: _exports(*_TEXT, ".xml", ".json", drafted=True),
    "survey": _surveyed,
}
"""Fixtures of each reader; `drafts` are exports for which no mapping is named."""


@cache
def specimens(reader: str) -> list[Specimen]:
    """The fixtures of a reader; there are some."""
    found = list(READERS[reader]())
    assert found
    return found


def run(reader: str, number: int, folder: Path) -> str:
    """One case in an empty folder: read, set aside or trouble. Anything else that is raised is a bug."""
    draw = random.Random(f"{reader} {number}")
    one = draw.choice(specimens(reader))
    victim = draw.choice(one.victims)
    data = (changed if draw.random() < 0.3 else one.change)(one.files[victim], draw)
    handed_in = folder / "in"
    for name, held in {**one.files, victim: data}.items():
        path = handed_in / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.resolve().write_bytes(held)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)  # of a library: a person would see it
            return "set aside" if one.read(handed_in) else "read"
    except Trouble as trouble:
        assert trouble.code
        assert "\n" not in str(trouble)
        return "trouble"


def _work(pipe: Connection) -> None:
    """Runs cases as they are asked for: how it ended, seconds of processor time, and what was raised."""
    os.environ.update({MEMORY: "1500", SECONDS: "60", "MUNIMENT_TRACEBACK": "1"})
    resource.setrlimit(resource.RLIMIT_AS, (12 << 30, 12 << 30))
    while True:
        reader, number = pipe.recv()
        begun, raised = time.process_time(), ""
        with tempfile.TemporaryDirectory(prefix="muniment-fuzz-") as folder:
            try:
                ended = run(reader, number, Path(folder))
            except Exception:  # noqa: BLE001 - what it is looked for
                ended, raised = "fault", traceback.format_exc()
        taken = time.process_time() - begun
        pipe.send(("slow" if taken > SLOW and not raised else ended, taken, raised))


class _Worker:
    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        self.process = context.Process(target=_work, args=(other,), daemon=False)
        self.process.start()
        other.close()

    def ask(self, reader: str, number: int) -> tuple[str, float, str]:
        try:
            self.pipe.send((reader, number))
            if self.pipe.poll(HANGS):
                answer: tuple[str, float, str] = self.pipe.recv()
                return answer
        except (EOFError, OSError):
            return "died", 0.0, f"the process ended with {self.process.exitcode}"
        return "hang", HANGS, ""

    def end(self) -> None:
        self.process.kill()
        self.process.join()


def fuzz(reader: str, seconds: float, first: int = 0, most: int | None = None) -> dict[str, Any]:
    """Cases of one reader, one after the other from a number on, for so long or so many. Names each that is a find."""
    counts: Counter[str] = Counter()
    finds: list[str] = []
    longest = 0.0
    worker, until, number = _Worker(), time.monotonic() + seconds, first
    while time.monotonic() < until and (most is None or number - first < most):
        ended, taken, raised = worker.ask(reader, number)
        counts[ended] += 1
        longest = max(longest, taken)
        if ended in ("fault", "slow", "hang", "died"):
            finds.append(f"{ended}, {reader} --case {number}\n{raised}")
            print(finds[-1], flush=True)
        if ended in ("hang", "died"):
            worker.end()
            worker = _Worker()
        number += 1
    worker.end()
    kinds = ("read", "set aside", "trouble", "fault", "slow", "hang", "died")
    return {
        "run": f"fuzz, {reader}",
        "cases": counts.total(),
        **{kind: counts[kind] for kind in kinds},
        "longest": round(longest, 1),
    }
