"""A bag as work elsewhere opens it: its files and their digests, without the catalogue."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from archive.store import files
from archive.store.archive import Archive
from archive.store.checked_files import damaged

if TYPE_CHECKING:
    from archive.store.parquet import BagTables


@dataclass(frozen=True)
class BagReading:
    """The tables of a deposit as they stand today. bag: path in the archive; digests: of each file by its path in the
    archive; instead: files that stand for redacted tables, by name of the table. It goes to other processes, which
    digest each file before they read it; in the process that made it a file that did not change is not digested again.
    """

    root: Path
    bag: str
    digests: Mapping[str, str]
    instead: Mapping[str, str]
    checked: Callable[[Path, str], object] | None = field(default=None, repr=False, compare=False)

    @classmethod
    def of(cls, archive: Archive, deposit: str) -> BagReading:
        """A deposit of an archive. Errors: Trouble where there is no such deposit, or its manifests are damaged."""
        entry = archive.known_deposit_entry(deposit)
        digests, instead = archive.checked.standing(entry["path"], archive.checked.of_entry(entry))
        return cls(archive.root, entry["path"], digests, instead, archive.checked.checking())

    @property
    def tables(self) -> BagTables:
        """The tables; each file is compared with its digest before it is read."""
        from archive.store.parquet import BagTables

        return BagTables(
            self.root / self.bag,
            {self.root / path: digest for path, digest in self.digests.items()},
            self.checked or self._digested,
            {name: self.root / path for name, path in self.instead.items()},
        )

    def _digested(self, path: Path, sha256: str) -> None:
        inside = path.relative_to(self.root).as_posix()
        try:
            found = files.fingerprint(path).sha256
        except OSError as error:
            raise damaged(self.root, inside, sha256, error.strerror or "not to be read") from None
        if found != sha256:
            raise damaged(self.root, inside, sha256)

    def __getstate__(self) -> dict[str, Any]:
        return {**vars(self), "checked": None}
