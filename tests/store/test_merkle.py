"""The tree against RFC 9162's definitions, written again here by recursion, and against published vectors.

Published vectors: the reference tests of Certificate Transparency (eight leaves, roots, inclusion and consistency
paths), which RFC 6962/9162 implementations share; values from memory of those tests, and each is also confirmed by
the recursive definition below, so that a slip of memory would fail.
"""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.store import merkle

LEAVES = [
    bytes.fromhex(h)
    for h in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


def mth(data: list[bytes]) -> bytes:
    """MTH of RFC 9162 section 2.1.1, word for word."""
    if not data:
        return hashlib.sha256(b"").digest()
    if len(data) == 1:
        return hashlib.sha256(b"\x00" + data[0]).digest()
    k = 1
    while k * 2 < len(data):
        k *= 2
    return hashlib.sha256(b"\x01" + mth(data[:k]) + mth(data[k:])).digest()


def path(m: int, data: list[bytes]) -> list[bytes]:
    """PATH of RFC 9162 section 2.1.3.1, word for word."""
    if len(data) == 1:
        return []
    k = 1
    while k * 2 < len(data):
        k *= 2
    if m < k:
        return [*path(m, data[:k]), mth(data[k:])]
    return [*path(m - k, data[k:]), mth(data[:k])]


def subproof(m: int, data: list[bytes], whole: bool) -> list[bytes]:
    """SUBPROOF of RFC 9162 section 2.1.4.1, word for word."""
    if m == len(data):
        return [] if whole else [mth(data)]
    k = 1
    while k * 2 < len(data):
        k *= 2
    if m <= k:
        return [*subproof(m, data[:k], whole), mth(data[k:])]
    return [*subproof(m - k, data[k:], False), mth(data[:k])]


@pytest.mark.parametrize("size", range(1, 9))
def test_roots_are_the_published_ones(size: int) -> None:
    assert merkle.root(merkle.leaf(d) for d in LEAVES[:size]).hex() == ROOTS[size - 1]


def test_the_empty_tree_is_the_hash_of_nothing() -> None:
    assert merkle.root([]).hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_a_published_path() -> None:
    """Leaf 5 of 8: three hashes, as in the published vectors."""
    hashes = [merkle.leaf(d) for d in LEAVES]
    got = [h.hex() for h in merkle.inclusion(hashes, 5)]
    assert got == [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ]


@pytest.mark.parametrize("size", [*range(1, 34), 64, 65, 127])
def test_every_path_is_that_of_the_recursive_definition(size: int) -> None:
    data = [b"entry %d" % i for i in range(size)]
    hashes = [merkle.leaf(d) for d in data]
    assert merkle.root(hashes) == mth(data)
    for m in range(size):
        proof = merkle.inclusion(hashes, m)
        assert proof == path(m, data)
        assert merkle.root_from_inclusion(hashes[m], m, size, proof) == mth(data)
    for m in range(1, size + 1):
        proof = merkle.consistency(hashes, m)
        assert proof == subproof(m, data, True)
        assert merkle.consistent(m, mth(data[:m]), size, mth(data), proof)


@given(size=st.integers(2, 40), data=st.data())
def test_a_changed_proof_proves_nothing(size: int, data: st.DataObject) -> None:
    hashes = [merkle.leaf(b"%d" % i) for i in range(size)]
    whole = merkle.root(hashes)
    m = data.draw(st.integers(0, size - 1))
    proof = merkle.inclusion(hashes, m)
    at = data.draw(st.integers(0, len(proof) - 1))
    bad = [*proof[:at], hashlib.sha256(proof[at]).digest(), *proof[at + 1 :]]
    assert merkle.root_from_inclusion(hashes[m], m, size, bad) != whole
    assert merkle.root_from_inclusion(hashes[m], m, size, proof[:-1]) != whole
    assert merkle.root_from_inclusion(hashes[m], m, size, [*proof, proof[0]]) != whole
    other = (m + 1) % size
    assert merkle.root_from_inclusion(hashes[other], m, size, proof) != whole
    first = data.draw(st.integers(1, size - 1))
    steps = merkle.consistency(hashes, first)
    forged = merkle.root([merkle.leaf(b"forged"), *hashes[1:first]])
    assert not merkle.consistent(first, forged, size, whole, steps)
    assert not merkle.consistent(first, merkle.root(hashes[:first]), size, forged, steps)
    assert not merkle.consistent(first, merkle.root(hashes[:first]), size, whole, steps[:-1])


def test_a_node_cannot_pass_for_a_leaf() -> None:
    """The second-preimage attack that the prefixes are there for."""
    a, b = merkle.leaf(b"a"), merkle.leaf(b"b")
    assert merkle.leaf(a + b) != merkle.root([a, b])
