"""Signatures and time stamps: made, rotated, verified offline, and every forgery told.

The time-stamping authority is made here, from RFC 3161 section 2.4.2 and RFC 5652: DER written by hand and signed with
a key of its own. Where the program openssl is there, it judges the same answer.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.errors import Trouble
from archive.store import Archive, layout
from archive.store.events import record, withdraw
from archive.store.fixity import fixity
from archive.store.keys import known_keys, load, make, stamp
from archive.store.ledger import LedgerEntry, build
from archive.store.proofs import holds, prove, verify

pytest.importorskip("cryptography")
pytest.importorskip("rfc3161_client")

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID


def add_key(archive: Archive, folder: Path) -> Any:
    pair = make(folder)
    facts = {"action": "add", "key": pair.id, "public": pair.public}
    record(archive, "key", by=None, texts=facts, facts=facts, sign=pair.sign)
    return pair


def signed_deposit(archive: Archive, pair: Any, label: str, number: int) -> Any:
    from archive.store.deposits import Deposit, DepositFacts

    making = Deposit(archive, DepositFacts(job="J"), pair.sign)
    making.add(batch(rows(label, source=f"{number:064d}", shift=number)))
    return making.commit()


def test_a_key_signs_is_rotated_and_its_old_signatures_hold(archive: Archive, tmp_path: Path) -> None:
    deposit(archive, batch(rows()))
    first = add_key(archive, tmp_path / "keys")
    made = signed_deposit(archive, first, "B", 1)
    second = add_key(archive, tmp_path / "keys")
    facts = {"action": "retire", "key": first.id}
    record(archive, "key", by=None, texts=facts, facts=facts, sign=second.sign)
    signed_deposit(archive, second, "C", 2)
    report = fixity(store.open(archive.root))
    assert report.sound, report.damaged
    assert report.signatures == {"signed": 5, "unsigned": 2}
    keys = known_keys(archive.entries())
    assert (keys[first.id]["retired"], keys[second.id]["retired"]) == (5, None)
    proof = prove(archive, f"{made.entry['deposit']}/0")
    steps = verify(proof, archive.head().root)
    assert holds(steps)
    assert [s.holds for s in steps if "signed with key" in s.what] == [True]


def test_the_private_half_is_the_users_alone(archive: Archive, tmp_path: Path) -> None:
    pair = add_key(archive, tmp_path / "keys")
    path = tmp_path / "keys" / f"{pair.id}.pem"
    assert path.stat().st_mode & 0o777 == 0o600
    assert load(path).public == pair.public
    inside = b"".join(p.read_bytes() for p in archive.root.rglob("*") if p.is_file())
    assert path.read_bytes().splitlines()[1] not in inside
    path.write_text("no key")
    with pytest.raises(Trouble, match="no Ed25519"):
        load(path)


def rewrite_last(archive: Archive, sign: Any = None, **changed: object) -> None:
    """The last entry made anew by somebody who knows the form; with a signature of their own, or the old one kept."""
    path = layout.entry_path(archive.root, layout.entry_count(archive.root) - 1)
    fields = {k: v for k, v in LedgerEntry(path.read_bytes()).fields.items() if k != "sha256"}
    if sign is not None:
        fields.pop("signature")
    path.chmod(0o644)
    path.write_bytes(build({**fields, **changed}, sign))


def test_forged_signatures_are_told(archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pair = add_key(archive, tmp_path / "keys")
    signed_deposit(archive, pair, "B", 1)
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "another machine"))
    good = layout.entry_path(archive.root, 2).read_bytes()
    rewrite_last(archive, counts={"new": 99})
    assert any("signature is not good" in d.what for d in fixity(store.open(archive.root)).damaged)
    layout.entry_path(archive.root, 2).write_bytes(good)
    stranger = make(tmp_path / "stranger")
    rewrite_last(archive, stranger.sign, counts={"new": 99})
    assert any("not registered" in d.what for d in fixity(store.open(archive.root)).damaged)
    layout.entry_path(archive.root, 2).write_bytes(good)
    assert fixity(store.open(archive.root)).sound


def test_a_retired_key_signs_nothing_more(archive: Archive, tmp_path: Path) -> None:
    pair = add_key(archive, tmp_path / "keys")
    facts = {"action": "retire", "key": pair.id}
    record(archive, "key", by=None, texts=facts, facts=facts, sign=pair.sign)
    signed_deposit(archive, pair, "B", 1)
    assert any("retired before" in d.what for d in fixity(store.open(archive.root)).damaged)


# --- a time-stamping authority -------------------------------------------------------------------------------------


def der(tag: int, *parts: bytes) -> bytes:
    """One DER value (ITU-T X.690)."""
    body = b"".join(parts)
    size = len(body)
    length = (
        bytes([size])
        if size < 128
        else bytes([0x80 | (size.bit_length() + 7) // 8]) + size.to_bytes((size.bit_length() + 7) // 8, "big")
    )
    return bytes([tag]) + length + body


def oid(text: str) -> bytes:
    first, second, *rest = map(int, text.split("."))
    out = bytes([first * 40 + second])
    for arc in rest:
        digits = [arc & 0x7F]
        while arc := arc >> 7:
            digits.append(0x80 | arc & 0x7F)
        out += bytes(reversed(digits))
    return der(0x06, out)


def integer(value: int) -> bytes:
    return der(0x02, value.to_bytes(value.bit_length() // 8 + 1, "big"))


SEQUENCE, SET, OCTETS, NULL = 0x30, 0x31, 0x04, der(0x05)
SHA256 = der(SEQUENCE, oid("2.16.840.1.101.3.4.2.1"), NULL)
TST_INFO, SIGNED_DATA = "1.2.840.113549.1.9.16.1.4", "1.2.840.113549.1.7.2"


class Authority:
    """A time-stamping authority with a root certificate of its own. Invented."""

    def __init__(self, ends: datetime | None = None) -> None:
        self._ends = ends
        self.root_key, self.key = (rsa.generate_private_key(65537, 2048) for _ in range(2))
        name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Invented Root")])
        leaf = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Invented Stamps")])
        self.root = self._certificate(name, name, self.root_key, True)
        self.certificate = self._certificate(leaf, name, self.key, False)

    def _certificate(self, subject: x509.Name, issuer: x509.Name, key: Any, root: bool) -> x509.Certificate:
        start = datetime(2020, 1, 1, tzinfo=UTC)
        made = (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(issuer)
            .public_key(key.public_key())
            .serial_number(1 if root else 2)
            .not_valid_before(start)
            .not_valid_after(self._ends if self._ends and not root else start + timedelta(days=36500))
            .add_extension(x509.BasicConstraints(ca=root, path_length=None), critical=True)
        )
        if not root:
            made = made.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING]), critical=True)
        return made.sign(self.root_key, hashes.SHA256())

    def answer(self, request: bytes, at: str = "20261125120000Z") -> bytes:
        """A TimeStampResp to a request (DER): its imprint is taken over as it stands."""
        imprint = request[request.index(SHA256) - 2 :][: 2 + request[request.index(SHA256) - 1]]
        info = der(SEQUENCE, integer(1), oid("1.2.3.4.1"), imprint, integer(7), der(0x18, at.encode()))
        certificate = self.certificate.public_bytes(serialization.Encoding.DER)
        attributes = [
            der(SEQUENCE, oid("1.2.840.113549.1.9.3"), der(SET, oid(TST_INFO))),
            der(SEQUENCE, oid("1.2.840.113549.1.9.4"), der(SET, der(OCTETS, hashlib.sha256(info).digest()))),
            der(
                SEQUENCE,
                oid("1.2.840.113549.1.9.16.2.47"),
                der(
                    SET,
                    der(SEQUENCE, der(SEQUENCE, der(SEQUENCE, der(OCTETS, hashlib.sha256(certificate).digest())))),
                ),
            ),
        ]
        attributes.sort()
        signature = self.key.sign(der(SET, *attributes), padding.PKCS1v15(), hashes.SHA256())
        signer = der(
            SEQUENCE,
            integer(1),
            der(SEQUENCE, self.certificate.issuer.public_bytes(), integer(self.certificate.serial_number)),
            SHA256,
            der(0xA0, *attributes),
            der(SEQUENCE, oid("1.2.840.113549.1.1.11"), NULL),
            der(OCTETS, signature),
        )
        content = der(SEQUENCE, oid(TST_INFO), der(0xA0, der(OCTETS, info)))
        signed = der(SEQUENCE, integer(3), der(SET, SHA256), content, der(0xA0, certificate), der(SET, signer))
        return der(SEQUENCE, der(SEQUENCE, integer(0)), der(SEQUENCE, oid(SIGNED_DATA), der(0xA0, signed)))

    @property
    def pem(self) -> bytes:
        return self.root.public_bytes(serialization.Encoding.PEM)


@pytest.fixture(scope="module")
def authority() -> Authority:
    return Authority()


def stamped(archive: Archive, authority: Authority) -> bytes:
    """A stamp of today's head, kept in the archive."""
    head = archive.head()
    message = stamp.message(archive.id, head.size, head.root)
    token = authority.answer(stamp.request(message))
    assert stamp.check(token, message) == "2026-11-25T12:00:00Z"
    facts = {"size": head.size, "root": head.root}
    record(archive, "stamp", by=None, texts=facts, facts=facts, attached={"head.tsr": token})
    return token


def test_a_stamp_travels_with_every_later_proof(archive: Archive, authority: Authority) -> None:
    made = deposit(archive, batch(rows()))
    stamped(archive, authority)
    deposit(archive, batch(rows("B", source="b" * 64, shift=1)))
    assert made.entry is not None
    proof = prove(archive, f"{made.entry['deposit']}/0")
    steps = verify(proof, roots=[authority.pem])
    assert holds(steps)
    assert [s.holds for s in steps if "was stamped at 2026-11-25T12:00:00Z" in s.what] == [True]
    unknown = verify(proof)
    assert holds(unknown)
    assert [s.holds for s in unknown if "was stamped" in s.what] == [None], "who signed it cannot be told without roots"
    stranger = verify(proof, roots=[Authority().pem])
    assert not holds(stranger)


def test_a_stamp_of_something_else_is_refused(archive: Archive, authority: Authority) -> None:
    message = stamp.message(archive.id, 1, archive.head().root)
    other = authority.answer(stamp.request(b"another head"))
    with pytest.raises(Trouble, match="not one of this head"):
        stamp.check(other, message)
    with pytest.raises(Trouble, match="not one of this head"):
        stamp.check(b"no token", message)
    good = authority.answer(stamp.request(message))
    unsigned = 0
    for at in range(0, len(good), 7):
        bad = good[:at] + bytes([good[at] ^ 1]) + good[at + 1 :]
        judged = stamp.judge(bad, message, [authority.pem])
        if judged.holds is not False:  # a byte that the signature does not cover changes nothing that is said
            assert judged.when == " at 2026-11-25T12:00:00Z"
            unsigned += 1
    assert unsigned < 5


def test_a_chain_made_anew_does_not_hold_the_stamped_head(archive: Archive, authority: Authority) -> None:
    made = deposit(archive, batch(rows()))
    stamped(archive, authority)
    assert made.entry is not None
    proof = prove(archive, f"{made.entry['deposit']}/0")
    proof["stamps"][0]["root"] = "0" * 64
    assert not holds(verify(proof, roots=[authority.pem]))


@pytest.mark.skipif(shutil.which("openssl") is None, reason="the program openssl is not installed")
def test_openssl_judges_the_authority_the_same(archive: Archive, authority: Authority, tmp_path: Path) -> None:
    message = stamp.message(archive.id, 1, archive.head().root)
    for name, data in (
        ("head", message),
        ("query.tsq", stamp.request(message)),
        ("answer.tsr", authority.answer(stamp.request(message))),
        ("root.pem", authority.pem),
    ):
        (tmp_path / name).write_bytes(data)
    command = ["openssl", "ts", "-verify", "-in", "answer.tsr", "-CAfile", "root.pem", "-data"]
    good = subprocess.run([*command, "head"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "Verification: OK" in good.stdout + good.stderr, good.stderr
    (tmp_path / "head").write_bytes(b"another")
    bad = subprocess.run([*command, "head"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert bad.returncode != 0
    query = subprocess.run(
        ["openssl", "ts", "-query", "-in", "query.tsq", "-text"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "sha256" in query.stdout


def test_an_authority_that_does_not_answer() -> None:
    with pytest.raises(Trouble, match="http"):
        stamp.ask("ftp://nowhere", b"")
    with pytest.raises(Trouble, match="did not answer"):
        stamp.ask("http://127.0.0.1:9/", b"")


def test_withdrawals_are_signed_too(archive: Archive, tmp_path: Path) -> None:
    made = deposit(archive, batch(rows()))
    pair = add_key(archive, tmp_path / "keys")
    assert made.entry is not None
    entry = withdraw(archive, records=[f"{made.entry['deposit']}/0"], by=None, reason="wrong job", sign=pair.sign)
    assert entry.signed is not None
