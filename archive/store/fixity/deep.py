"""The deep look: every Parquet page decoded, every record's digest made again, the catalogue against a rebuild."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from archive.errors import Trouble
from archive.store import merkle
from archive.store.bags import Damage
from archive.store.ledger import LedgerEntry
from archive.store.parquet import BagTables, options
from archive.store.records import index_path, read_index
from archive.tables import tables
from archive.tables.canonical import record_digests


def records(root: Path, entry: LedgerEntry, gone: dict[str, str]) -> Iterator[Damage]:
    """Damage of a deposit's tables: pages that do not decode, records that are not those the ledger pins."""
    folder = root / entry["path"]
    found = BagTables(folder)
    leaves: list[bytes] = []
    tables_gone = {p for p in gone if p.startswith(f"{entry['path']}/data/tables/")}
    whole = all(p.endswith(("/people.parquet", "/findings.parquet")) for p in tables_gone)
    try:
        if f"{entry['path']}/data/index.parquet" in gone:
            return  # disposed of: the manifests and the root in the ledger are what is left
        index = _digests(folder)
        if not whole:  # of a record that was redacted in part only the digest is left
            leaves = [merkle.leaf(d.encode()) for d in index]
        for batch in found.batches() if whole else ():
            for digest in record_digests(batch):
                if len(leaves) >= len(index) or index[len(leaves)] != digest:
                    yield Damage(entry["path"], f"record {len(leaves)} is not the one in the index")
                leaves.append(merkle.leaf(digest.encode()))
        for name in tables():
            path = found.path(name)
            if name != "sweeps" and path.relative_to(root).as_posix() not in gone:
                found.table(name)
    except Trouble as trouble:
        yield Damage(_inside(root, trouble.where), trouble.message)
        return
    except options.UNDECODABLE as error:
        yield Damage(entry["path"], f"its tables do not fit together: {error}")
        return
    if merkle.root(leaves).hex() != entry["root"]:
        yield Damage(entry["path"], "its records are not those whose root the ledger holds")


def _digests(folder: Path) -> list[str]:
    path = index_path(folder)
    digests: list[str] = read_index(path)["digest"].to_pylist() if path.is_file() else []
    return digests


def _inside(root: Path, where: str) -> str:
    return where.removeprefix(f"{root}/")
