"""A sealed claim file against others' readings of the standards: bagit (RFC 8493), coreutils, and a few lines that
follow RFC 9162 by its definitions instead of its algorithms. Nothing of the seal's own code is used to judge it.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import bagit
import pytest

from archive.demo import job as invented
from archive.formats import write
from tests.cli.person import typed


def sha(data: bytes) -> bytes:
    return hashlib.sha256(data).digest()


def split(n: int) -> int:
    """The largest power of two smaller than n (RFC 9162, 2.1.1)."""
    return 1 << (n - 1).bit_length() - 1


def tree(leaves: list[bytes]) -> bytes:
    """MTH(D[n]) by its definition in 2.1.1."""
    if len(leaves) == 1:
        return sha(b"\0" + leaves[0])
    k = split(len(leaves))
    return sha(b"\1" + tree(leaves[:k]) + tree(leaves[k:]))


def by_path(leaf: bytes, m: int, n: int, path: list[bytes]) -> bytes:
    """PATH(m, D[n]) of 2.1.3.1 read backwards: the last hash is that of the other half of the whole tree."""
    if n == 1:
        assert not path
        return leaf
    k = split(n)
    if m < k:
        return sha(b"\1" + by_path(leaf, m, k, path[:-1]) + path[-1])
    return sha(b"\1" + path[-1] + by_path(leaf, m - k, n - k, path[:-1]))


def both_roots(m: int, n: int, path: list[bytes], old: bytes, whole: bool = True) -> tuple[bytes, bytes]:
    """SUBPROOF(m, D[n], b) of 2.1.4.1 read backwards: the roots over the first m leaves, and over all n."""
    if m == n:
        return (old, old) if whole else (path[0], path[0])
    k = split(n)
    if m <= k:
        first, left = both_roots(m, k, path[:-1], old, whole)
        return first, sha(b"\1" + left + path[-1])
    first, right = both_roots(m - k, n - k, path[:-1], old, False)
    return sha(b"\1" + path[-1] + first), sha(b"\1" + path[-1] + right)


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """An archive of some entries, and a sealed claim file of it."""
    place = tmp_path_factory.mktemp("sealed")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("MUNIMENT_CACHE", "MUNIMENT_CONFIG", "XDG_DATA_HOME"):
            patch.setenv(name, str(place / name))
        write([invented.retest()], place / "retest.xml", "xml")
        assert typed("init", place / "archive").code == 0
        said = typed("deposit", place / "retest.xml", "--into", place / "archive", "--job", "Q-1", "--by", "H. Brume")
        assert said.code in (0, 1), said.err
        for name in ("client=A", "client=B", "client=C"):
            assert typed("job", place / "archive", "Q-1", "--set", name, "--by", "H. Brume").code == 0
        label = typed("find", place / "archive", "--json").document["records"][0]["link"]
        assert typed("claim", place / "archive", label, "--by", "H. Brume", "--out", place / "claim").code == 0
    return place / "archive", place / "claim"


def test_the_tree_of_the_ledger_is_the_one_that_the_proof_leads_to(world: tuple[Path, Path]) -> None:
    archive, claim = world
    leaves = [p.read_bytes() for p in sorted((archive / "ledger").rglob("*.json"))]
    proof: dict[str, Any] = json.loads((claim / "seal-proof.json").read_bytes())
    size, root = proof["head"]["size"], bytes.fromhex(proof["head"]["root"])
    assert size == len(leaves) == 6 and tree(leaves) == root
    issued = 0
    for told in proof["entries"]:
        entry = json.loads(told["text"])
        path = [bytes.fromhex(h) for h in told["path"]]
        assert by_path(sha(b"\0" + told["text"].encode()), entry["number"], size, path) == root
        issued += entry.get("seal") == hashlib.sha256((claim / "seal.json").read_bytes()).hexdigest()
    assert issued == 1 and len(proof["earlier"]) >= 2
    for old in proof["earlier"]:
        path, first = [bytes.fromhex(h) for h in old["path"]], bytes.fromhex(old["root"])
        assert both_roots(old["size"], size, path, first) == (first, root)
        assert tree(leaves[: old["size"]]) == first


def test_the_proof_of_the_record_holds_by_the_definitions(world: tuple[Path, Path]) -> None:
    _, claim = world
    proof = json.loads((claim / "data" / "proof.json").read_bytes())
    name, _, digest = proof["digest"].partition(":")
    assert hashlib.sha256(proof["canonical"].encode()).hexdigest() == digest and name.startswith("link-record-")
    assert proof["canonical"].encode() in (claim / "data" / "record.xml").read_bytes()
    for leaf, told in ((proof["digest"], proof["in_deposit"]), (proof["entry"]["text"], proof["in_ledger"])):
        path = [bytes.fromhex(h) for h in told["path"]]
        assert by_path(sha(b"\0" + leaf.encode()), told["index"], told["size"], path).hex() == told["root"]
    assert json.loads(proof["entry"]["text"])["root"] == proof["in_deposit"]["root"]


def test_bagit_and_coreutils_accept_both_manifests(world: tuple[Path, Path]) -> None:
    _, claim = world
    bag = bagit.Bag(str(claim))
    bag.validate()
    assert sorted(bag.algorithms) == ["sha256", "sha512"]
    for algorithm in ("sha256", "sha512"):
        if shutil.which(f"{algorithm}sum"):
            for name in (f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"):
                subprocess.run([f"{algorithm}sum", "--check", "--strict", "--quiet", name], cwd=claim, check=True)
    seal = json.loads((claim / "seal.json").read_bytes())
    for path, told in seal["files"].items():
        data = (claim / path).read_bytes()
        assert told == {
            "sha256": hashlib.sha256(data).hexdigest(),
            "sha512": hashlib.sha512(data).hexdigest(),
            "bytes": len(data),
        }
    lines = (claim / "seal.json").read_bytes().rsplit(b'"sha256": "', 1)
    assert lines[1][:64].decode() == hashlib.sha256(lines[0]).hexdigest()
