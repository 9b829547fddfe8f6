"""seal.json: the digests of every other file of the folder, and what it was issued as.

It has the form of a ledger entry: one field a line, the signature on the line before the last, where there is one, and
last the SHA-256 of all bytes before that line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.store.ledger import LedgerEntry, judge
from archive.store.ledger.entry import Sign, build
from archive.store.seals.folder_files import FileDigests

FORMAT = "muniment-seal-1"
SEAL = "seal.json"


@dataclass(frozen=True)
class Seal:
    """A seal with the bytes it was read from.

    files: path -> digests as in the file.
    """

    data: bytes

    @property
    def _read(self) -> LedgerEntry:
        return LedgerEntry(self.data)

    def __getitem__(self, name: str) -> Any:
        return self._read[name]

    def get(self, name: str) -> Any:
        """A field, None where it is not there."""
        return self._read.get(name)

    @property
    def files(self) -> dict[str, Any]:
        """Digests of every other file by path."""
        return self._read.files

    @property
    def sha256(self) -> str:
        """SHA-256 of the seal, which the ledger entry holds."""
        return self._read.sha256

    @property
    def signed(self) -> tuple[dict[str, str], bytes] | None:
        """The signature and the bytes that it signs; None where the seal is not signed."""
        return self._read.signed


def sealed(fields: Mapping[str, Any], listed: Mapping[str, FileDigests], sign: Sign | None = None) -> Seal:
    """A seal over files by path. fields: what it says besides: archive, head, link, who, when, why and so on."""
    said = {"format": FORMAT, **fields, "files": {name: listed[name].plain() for name in sorted(listed)}}
    return Seal(build(said, sign))


def read_seal(path: Path) -> Seal:
    """The seal in a file. Errors: Trouble where it is none, or was changed."""
    try:
        data = path.read_bytes()
        if judge(data) != "valid":
            raise ValueError("it is not as it was written")
        seal = Seal(data)
        if seal.get("format") != FORMAT or not isinstance(seal.files, dict):
            raise ValueError(f"its format is not {FORMAT}")
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise Trouble("this is no seal", code="seal.not-a-seal", where=str(path), found=str(error)) from None
    return seal
