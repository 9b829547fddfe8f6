"""Records by address while dedup compares them: neighbours are read together once."""

from __future__ import annotations

from pathlib import Path

from archive.store.archive import Archive
from archive.store.parquet import BagTables
from archive.store.parquet.sweeps import RECORDS_PER_GROUP
from archive.tables import Batch
from archive.tables.order import cut

_HELD = 8


class Fetcher:
    """Gives a record by its address "deposit/position"; "/position" is of the deposit being made (own)."""

    def __init__(self, archive: Archive, own: Path) -> None:
        self._archive = archive
        self.own = own
        self._tables: dict[str, BagTables] = {}
        self._groups: dict[tuple[str, int], Batch] = {}

    def __call__(self, address: str) -> Batch:
        deposit, _, at = address.rpartition("/")
        group, inside = divmod(int(at), RECORDS_PER_GROUP)
        if (deposit, group) not in self._groups:
            if len(self._groups) >= _HELD:
                self._groups.pop(next(iter(self._groups)))
            low = group * RECORDS_PER_GROUP
            self._groups[deposit, group] = next(self._of(deposit).batches(low, low + RECORDS_PER_GROUP))
        return cut(self._groups[deposit, group], inside, inside + 1)

    def _of(self, deposit: str) -> BagTables:
        if deposit not in self._tables:
            self._tables[deposit] = BagTables(self.own) if not deposit else self._archive.tables(deposit)
        return self._tables[deposit]
