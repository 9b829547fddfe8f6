"""What a time stamp rests on: the certificates in it, when the authority's ends, and what is known to be revoked.

A stamp holds for as long as its algorithms do, provided that it was made while the authority's certificate was valid
and that this can still be shown: so the chain, the root and the lists of revoked certificates are kept beside it, and
a new stamp is made over today's head before the certificate ends.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from archive.errors import Trouble


@dataclass(frozen=True)
class StampChain:
    """The certificates that a stamp carries. chain: PEM, the signer's first; begins, ends: of the signer's, UTC."""

    chain: list[bytes]
    begins: datetime
    ends: datetime
    made: datetime
    serial: int


def chain_of(token: bytes) -> StampChain | None:
    """The chain in a time-stamp response (DER); None where it carries no certificate of who signed it.

    Errors: ValueError where the bytes are none; ImportError without the library.
    """
    import rfc3161_client
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    answer = rfc3161_client.decode_timestamp_response(token)
    carried = [x509.load_der_x509_certificate(bytes(c)) for c in answer.signed_data.certificates]
    signers = list(answer.signed_data.signer_infos)
    mine = [c for c in carried for s in signers if (c.issuer, c.serial_number) == (s.issuer, s.serial_number)]
    if len(signers) != 1 or not mine:
        return None
    leaf = mine[0]
    ordered = [leaf, *(c for c in carried if c is not leaf)]
    return StampChain(
        [c.public_bytes(Encoding.PEM) for c in ordered],
        leaf.not_valid_before_utc,
        leaf.not_valid_after_utc,
        answer.tst_info.gen_time,
        leaf.serial_number,
    )


def valid_then(chain: StampChain) -> str:
    """ "" where the authority's certificate was valid when it stamped, else what is wrong, in words."""
    if chain.made > chain.ends:
        return f"it was made after the certificate of its authority had ended on {chain.ends:%Y-%m-%d}"
    if chain.made < chain.begins:
        return f"it was made before the certificate of its authority began on {chain.begins:%Y-%m-%d}"
    return ""


def ended(chain: StampChain, on: datetime) -> str:
    """What to say of a certificate that has ended since, "" where it has not."""
    if on <= chain.ends:
        return ""
    return f"the certificate ended on {chain.ends:%Y-%m-%d}, after it was made"


def revoked(chain: StampChain, lists: Iterable[bytes], roots: Iterable[Any]) -> str:
    """What lists of revoked certificates (CRL, RFC 5280, PEM or DER) say against a stamp; "" where nothing.

    A list counts where it is signed by one of the chain or of the roots that the reader trusts.
    """
    from cryptography import x509

    known = [*(x509.load_pem_x509_certificate(c) for c in chain.chain), *roots]
    for data in lists:
        read = crl(data)
        issuers = [c for c in known if c.subject == read.issuer]
        if not any(read.is_signature_valid(c.public_key()) for c in issuers):
            continue
        found = read.get_revoked_certificate_by_serial_number(chain.serial)
        if found is not None and found.revocation_date_utc <= chain.made:
            return f"the certificate of its authority was revoked on {found.revocation_date_utc:%Y-%m-%d}"
    return ""


def crl(data: bytes) -> Any:
    """A list of revoked certificates. Errors: Trouble where it is none."""
    from cryptography import x509

    try:
        return x509.load_pem_x509_crl(data) if b"BEGIN" in data else x509.load_der_x509_crl(data)
    except ValueError as error:
        raise Trouble("this is no list of revoked certificates", code="stamp.not-a-list", found=str(error)) from None


def soon(ends: str, within: int, on: datetime) -> bool:
    """Whether a day (ISO 8601) comes within so many days of another."""
    return (datetime.fromisoformat(ends).replace(tzinfo=UTC) - on).days <= within
