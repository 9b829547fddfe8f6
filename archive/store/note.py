"""Checkpoints of a ledger as signed notes, the form in which witnesses of transparency logs countersign.

Source: C2SP specifications signed-note, tlog-checkpoint and tlog-cosignature (c2sp.org), version 1 of each.

A checkpoint is three lines: the archive's id, the number of entries, the root in base64. A blank line follows, then one
line per signature: an em dash, the name of the key, and in base64 the first four bytes of the key's hash, the time
(seconds since 1970, eight bytes, the highest first) and the Ed25519 signature (RFC 8032) of

    cosignature/v1
    time SECONDS
    <the three lines>
"""

from __future__ import annotations

import base64
import hashlib
import re

from archive.errors import Trouble
from archive.store.keys import KeyPair

_COSIGNATURE = b"\x04"
"""Kind of a key whose signatures state a time, tlog-cosignature."""

_NAME = re.compile(r"[^\s+]{1,100}")


def checkpoint(archive_id: str, size: int, root: str) -> str:
    """The text of a head. root: 64 hexadecimal digits."""
    return f"{archive_id}\n{size}\n{base64.b64encode(bytes.fromhex(root)).decode()}\n"


def cosigned(text: str, name: str, pair: KeyPair, seconds: int) -> str:
    """A note of a checkpoint with one signature. name: of the key; seconds: since 1970, when it was looked at."""
    signed = f"cosignature/v1\ntime {seconds}\n{text}".encode()
    data = _key_hash(name, pair.public) + seconds.to_bytes(8, "big") + pair.private.sign(signed)
    return f"{text}\n\u2014 {name} {base64.b64encode(data).decode()}\n"


def verifier_key(name: str, public: str) -> str:
    """The public half of a key as those who check notes take it: NAME+HASH+KEY. public: 64 hexadecimal digits."""
    key = base64.b64encode(_COSIGNATURE + bytes.fromhex(public)).decode()
    return f"{name}+{_key_hash(name, public).hex()}+{key}"


def check_name(name: str) -> str:
    """The name of a key. Errors: Trouble where it is none."""
    if not _NAME.fullmatch(name) or not name.isprintable():
        raise Trouble(
            "no name of a key",
            code="witness.no-name",
            where="--name",
            found=repr(name),
            expected="letters and digits such as witness.example, with no space and no plus sign",
        )
    return name


def _key_hash(name: str, public: str) -> bytes:
    return hashlib.sha256(name.encode() + b"\n" + _COSIGNATURE + bytes.fromhex(public)).digest()[:4]
