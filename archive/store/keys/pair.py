"""A user's own pair of keys. The private half stays in a file that only this user can read."""

from __future__ import annotations

import base64
import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.atomic import atomic_write
from archive.errors import Trouble


@dataclass(frozen=True)
class KeyPair:
    """A pair of keys. id: ke- and 32 hexadecimal digits of the SHA-256 of the public key; public: 32 bytes in hex."""

    private: Any
    id: str
    public: str

    def sign(self, data: bytes) -> Mapping[str, str]:
        """Signature of bytes, as a ledger entry holds it."""
        return {"key": self.id, "ed25519": base64.b64encode(self.private.sign(data)).decode()}


def make(folder: Path) -> KeyPair:
    """A new pair; its private half goes into folder/<id>.pem, mode 600. Errors: Trouble without `cryptography`."""
    serial = _library()
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private = Ed25519PrivateKey.generate()
    pair = _pair(private, serial)
    data = private.private_bytes(serial.Encoding.PEM, serial.PrivateFormat.PKCS8, serial.NoEncryption())
    with atomic_write(folder / f"{pair.id}.pem") as temporary, open(temporary, "xb", opener=_private) as file:
        file.write(data)
    return pair


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def load(path: Path) -> KeyPair:
    """A pair from its file. Errors: Trouble where it is none."""
    serial = _library()
    try:
        private = serial.load_pem_private_key(path.read_bytes(), None)
        return _pair(private, serial)
    except (ValueError, TypeError, AttributeError) as error:
        raise Trouble(
            "this is no Ed25519 private key", code="key.not-a-key", where=str(path), found=str(error)
        ) from None


def key_id(public: str) -> str:
    """Id of a public key given in hexadecimal digits."""
    return f"ke-{hashlib.sha256(bytes.fromhex(public)).hexdigest()[:32]}"


def verify(public: str, signature: Mapping[str, str], data: bytes) -> bool | None:
    """Whether a signature of bytes is good; None where the library to check it is not installed."""
    try:
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    except ImportError:
        return None
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(base64.b64decode(signature["ed25519"]), data)
    except (InvalidSignature, ValueError, KeyError):
        return False
    return True


def _pair(private: Any, serial: Any) -> KeyPair:
    public = private.public_key().public_bytes(serial.Encoding.Raw, serial.PublicFormat.Raw).hex()
    return KeyPair(private, key_id(public), public)


def _library() -> Any:
    try:
        from cryptography.hazmat.primitives import serialization
    except ImportError:
        raise Trouble(
            "signing needs the library cryptography",
            code="key.no-library",
            remedy="install it with `pip install muniment[sign]`",
        ) from None
    return serialization
