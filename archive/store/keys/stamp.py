"""Time stamps after RFC 3161: an authority that the user names signs that a head existed at a time.

What is stamped is the line "<archive id> <number of entries> <root>" with a line feed, hashed with SHA-256.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from urllib.error import URLError
from urllib.request import Request, urlopen

from archive.errors import Trouble
from archive.store import clock
from archive.store.keys.stamp_chain import chain_of, ended, revoked, valid_then

MEDIA_TYPE = "application/timestamp-query"


@dataclass(frozen=True)
class Judgement:
    """Of a token: whether it holds (None: cannot be decided here), when it says the head existed, why."""

    holds: bool | None
    when: str = ""
    said: str = ""


def message(archive_id: str, size: int, root: str) -> bytes:
    """What is stamped of a head."""
    return f"{archive_id} {size} {root}\n".encode()


def request(stamped: bytes) -> bytes:
    """A time-stamp request (DER) that asks for the authority's certificate too. Errors: Trouble without the library."""
    client = library()
    asked = client.TimestampRequestBuilder().data(stamped).hash_algorithm(client.HashAlgorithm.SHA256)
    data: bytes = asked.cert_request(cert_request=True).build().as_bytes()
    return data


def ask(authority: str, query: bytes) -> bytes:
    """Sends a request to an authority's address and gives its answer (DER). Errors: Trouble."""
    if not authority.startswith(("http://", "https://")):
        raise Trouble(
            "the address of an authority begins with http:// or https://", code="stamp.not-an-address", found=authority
        )
    try:
        with urlopen(Request(authority, query, {"Content-Type": MEDIA_TYPE}), timeout=60) as answer:
            data: bytes = answer.read(1 << 20)
            return data
    except (URLError, OSError, ValueError) as error:
        raise Trouble(
            "the authority did not answer", code="stamp.no-answer", where=authority, found=str(error)
        ) from None


def check(token: bytes, stamped: bytes) -> str:
    """Time that a response gives, where it is of what was stamped. Errors: Trouble where it is not, or was refused."""
    judged = judge(token, stamped, [])
    if judged.holds is False:
        raise Trouble("the time stamp is not one of this head", code="stamp.other-head", found=judged.said)
    return judged.when.removeprefix(" at ")


def judge(token: bytes, stamped: bytes, roots: Iterable[bytes], lists: Iterable[bytes] = ()) -> Judgement:
    """Judges a response offline, by the time that it gives: a certificate that has ended since does no harm.

    roots: certificates (PEM or DER) of authorities that the reader trusts; lists: of revoked certificates.
    """
    try:
        client = library()
    except Trouble as trouble:
        return Judgement(None, said=trouble.message)
    try:
        answer = client.decode_timestamp_response(token)
        info = answer.tst_info
        when = f" at {info.gen_time.isoformat().replace('+00:00', 'Z')}"
        imprint = bytes(info.message_imprint.message)
    except (ValueError, TypeError, AttributeError) as error:
        return Judgement(False, said=f"it is no time-stamp response: {error}")
    if not _imprint_fits(imprint, stamped):
        return Judgement(False, when, "it is of something else")
    try:
        chain = chain_of(token)
    except ValueError as error:
        return Judgement(False, when, f"its certificates cannot be read: {error}")
    trusted = [certificate(r) for r in roots]
    wrong = chain and (valid_then(chain) or revoked(chain, lists, trusted))
    if wrong:
        return Judgement(False, when, wrong)
    since = ended(chain, clock.now()) if chain is not None else ""
    if not trusted:
        said = "of this head; name the authority's certificate to verify who signed it"
        return Judgement(None, when, "; ".join(filter(None, (said, since))))
    builder = client.VerifierBuilder(roots=trusted)
    try:
        builder.build().verify_message(answer, stamped)
    except (client.VerificationError, ValueError) as error:
        return Judgement(False, when, str(error))
    return Judgement(True, when, since)


def _imprint_fits(imprint: bytes, stamped: bytes) -> bool:
    names = {32: "sha256", 48: "sha384", 64: "sha512"}
    name = names.get(len(imprint))
    return name is not None and hashlib.new(name, stamped).digest() == imprint


def certificate(data: bytes) -> Any:
    """A certificate, PEM or DER. Errors: Trouble where it is none."""
    from cryptography import x509

    try:
        return x509.load_pem_x509_certificate(data) if b"BEGIN" in data else x509.load_der_x509_certificate(data)
    except ValueError as error:
        raise Trouble("this is no certificate", code="stamp.not-a-certificate", found=str(error)) from None


def library() -> Any:
    """The library for time stamps. Errors: Trouble where it is not installed."""
    try:
        import rfc3161_client
    except ImportError:
        raise Trouble(
            "time stamps need the library rfc3161-client",
            code="stamp.no-library",
            remedy="install it with `pip install muniment[sign]`",
        ) from None
    return rfc3161_client
