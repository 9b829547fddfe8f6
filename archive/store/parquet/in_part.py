"""Tables of a bag on an object store: of a file of curves only what a few records are in is fetched.

Such a file is no more compared with its digest as a whole. The records are: what was read of them, from this and from
every other table, is digested and compared with the digests under the root in the ledger.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.store.parquet import options
from archive.store.parquet.reader import BagTables
from archive.store.parquet.sweeps import RECORDS_PER_GROUP
from archive.tables import Batch
from archive.tables.canonical import record_digests


@dataclass(frozen=True)
class RecordProofs:
    """How records are compared. compared: whether a file need not be fetched to be compared as a whole; digests: of the
    records from one position to before another, as the index has them, that was compared; wrong: what to raise."""

    compared: Callable[[Path], bool]
    digests: Callable[[int, int], list[str]]
    wrong: Callable[[Path], Exception]


class TablesInPart(BagTables):
    """The same tables. Errors of all methods: Trouble too where a record is not the one that the ledger proves."""

    def __init__(
        self,
        bag: Path,
        digests: Mapping[Path, str],
        check: Callable[[Path, str], object],
        instead: Mapping[str, Path],
        proofs: RecordProofs,
    ) -> None:
        super().__init__(bag, digests, check, instead)
        self._proofs = proofs
        self._in_part: dict[Path, Any] = {}
        self._few = False

    def _curve_file(self, path: Path, low: int, high: int) -> Any:
        if path in self._files or not self._few or self._proofs.compared(path):
            return self.opened(path)
        if path not in self._in_part:
            self._in_part[path] = options.open_file(path)
        return self._in_part[path]

    def _batch(self, low: int, high: int, without: Sequence[str] = ()) -> Batch:
        self._few = not without and high - low <= RECORDS_PER_GROUP
        try:
            batch = super()._batch(low, high, without)
            in_part = self._few and self._in_part and len(batch)
        finally:
            self._few = False
        if in_part and record_digests(batch) != self._proofs.digests(low, low + len(batch)):
            raise self._proofs.wrong(next(iter(self._in_part)))
        return batch
