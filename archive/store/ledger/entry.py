"""One ledger entry: a small JSON file, one field a line, whose last line is the SHA-256 of all bytes before it.

{
"number": 42,
"archive": "ar-...",
"previous": "<SHA-256 of the file of entry 41>",
"kind": "deposit",
...
"sha256": "<SHA-256 of all bytes before this line>"}

A signature, where a key is set, stands on the line before the last and signs all bytes before its own line.
A file without a valid last line cannot be read as an entry. It is `torn` where it just ends too early, as after a stop
in the middle of exclusive creation; it is `damaged` where it is complete and its digest says that it was changed.
Neither is ever taken for an entry that is not there.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

from archive.store import merkle
from archive.store.files import sha256

_LAST = re.compile(rb'"sha256": "([0-9a-f]{64})"\}\n\Z')
_FORM = b'\n"sha256": "' + bytes(64) + b'"}\n'

VOID_LEAF = merkle.leaf(b"")
"""Leaf of a number whose file was torn and was voided by a later entry."""

Sign = Callable[[bytes], Mapping[str, str]]


@dataclass(frozen=True)
class LedgerEntry:
    """A valid entry with the bytes it was read from."""

    data: bytes

    @cached_property
    def fields(self) -> dict[str, Any]:
        """All fields by name."""
        return dict(json.loads(self.data))

    def __getitem__(self, name: str) -> Any:
        return self.fields[name]

    def get(self, name: str, otherwise: Any = None) -> Any:
        """A field, or something else where it is not there."""
        return self.fields.get(name, otherwise)

    @property
    def number(self) -> int:
        """Its number."""
        return int(self.fields["number"])

    @property
    def kind(self) -> str:
        """What happened: created, deposit, event ..."""
        return str(self.fields["kind"])

    @property
    def files(self) -> dict[str, dict[str, Any]]:
        """Files it commits: path in the archive -> {"sha256", "bytes"}."""
        return dict(self.fields.get("files", {}))

    @property
    def sha256(self) -> str:
        """SHA-256 of its file, which the next entry carries."""
        return sha256(self.data)

    @property
    def leaf(self) -> bytes:
        """Its leaf in the tree of the ledger."""
        return merkle.leaf(self.data)

    @property
    def signed(self) -> tuple[dict[str, str], bytes] | None:
        """The signature and the bytes that it signs."""
        signature = self.fields.get("signature")
        if not isinstance(signature, dict):
            return None
        return signature, self.data[: self.data.rindex(b'\n"signature": ') + 1]


def build(fields: Mapping[str, Any], sign: Sign | None = None) -> bytes:
    """Bytes of an entry from its fields, in their order."""
    lines = [f"{json.dumps(k)}: {json.dumps(v, ensure_ascii=False)},\n" for k, v in fields.items()]
    data = ("{\n" + "".join(lines)).encode()
    if sign is not None:
        data += f'"signature": {json.dumps(dict(sign(data)))},\n'.encode()
    return data + f'"sha256": "{sha256(data)}"}}\n'.encode()


def judge(data: bytes) -> Literal["valid", "torn", "damaged"]:
    """What the bytes of an entry's file are."""
    last = _LAST.search(data)
    if last is None:
        return "damaged" if _looks_complete(data) else "torn"
    return "valid" if sha256(data[: last.start()]) == last[1].decode() else "damaged"


def _looks_complete(data: bytes) -> bool:
    """Whether the end has the form of a last line, give or take two bytes: then it was written whole and changed."""
    tail = data[-len(_FORM) :]
    wrong = sum(a != b for a, b in zip(tail, _FORM, strict=False) if b)
    return len(tail) == len(_FORM) and wrong <= 2
