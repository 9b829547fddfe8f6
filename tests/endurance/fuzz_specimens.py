"""Fixtures of each reader that are changed at random, and how each is read."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from pathlib import Path

from archive import formats, schemas
from archive.formats import schedule
from archive.formats.reading import Reading
from archive.formats.survey import survey
from archive.tables.sound import breaches
from tests.endurance.fuzz_changes import Change, changed, in_table, in_zip

FIXTURES = schemas.root().parent / "fixtures"


@dataclass(frozen=True)
class Specimen:
    """A folder as it is handed in, by name; the names that are changed; how it is read; how it is changed mostly."""

    files: dict[str, bytes]
    victims: Sequence[str]
    read: Callable[[Path], int]
    change: Change = changed


def read(path: Path, mapping: str | None = None) -> int:
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
        by = partial(read, mapping=None if drafted else "mapping.toml")
        packed = any(name.endswith((".xlsx", ".ods")) for name in victims)
        yield Specimen({**exports, **given}, victims, by, in_zip if packed else changed)


def _open(pattern: str) -> Iterator[Specimen]:
    for path in sorted((FIXTURES / "conformance" / "good").glob(pattern)):
        if path.suffix == ".zip":
            with zipfile.ZipFile(path) as packed:
                files = {n: packed.read(n) for n in packed.namelist()}
        else:
            files = {path.name: path.read_bytes()}
        yield Specimen(files, list(files), read)


def _parquet() -> Iterator[Specimen]:
    for name in ("minimal.xml", "every-table.xml"):
        with tempfile.TemporaryDirectory() as folder:
            formats.write(formats.read(FIXTURES / "conformance" / "good" / name), Path(folder) / "out", "parquet")
            files = {p.name: p.read_bytes() for p in sorted((Path(folder) / "out").iterdir())}
        yield Specimen(files, [n for n in files if len(files[n]) > 1_500] + ["records.parquet"], read, in_table)


def _networks() -> Iterator[Specimen]:
    for path in sorted((FIXTURES / "touchstone").glob("*.toml")):
        files = {p.name: p.read_bytes() for p in path.parent.glob(f"{path.stem}.*")}
        yield Specimen(files, list(files), read)


def _schedules() -> Iterator[Specimen]:
    heads = ("Link;Limit;Cable;Due;Room", "Kabel,Raum,Etage,Port,Fällig am", "Outlet\tFloor\tPanel\tPort", "1A-A00")
    for head in heads:
        mark = next((m for m in ";,\t" if m in head), "\0")
        cells = ("1A-A{n:02d}", "Cat 6 permanent link", "Cat 6 U/UTP", "2019-05-{n:02d}", "TR2")[: head.count(mark) + 1]
        lines = [head, *(mark.join(cells).format(n=n) for n in range(1, 25))]
        yield Specimen({"links.csv": "\n".join(lines).encode()}, ["links.csv"], _schedule)
    for export in ("marlow-workbook/Results.xlsx", "dotterel-ods/survey.ods"):
        path = FIXTURES / "exports" / export
        yield Specimen({path.name: path.read_bytes()}, [path.name], _schedule, in_zip)


def _containers() -> Iterator[Specimen]:
    for path in sorted((FIXTURES / "exports").glob("*/*.zip")):
        yield Specimen({path.name: path.read_bytes()}, [path.name], read)
    inner = (FIXTURES / "conformance" / "good" / "minimal.zip").read_bytes()
    nested = BytesIO()
    with zipfile.ZipFile(nested, "w") as packed:
        packed.writestr("a/inner.zip", inner)
        packed.writestr("b/inner.zip", inner)
    yield Specimen({"nested.zip": nested.getvalue()}, ["nested.zip"], read, in_zip)


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
