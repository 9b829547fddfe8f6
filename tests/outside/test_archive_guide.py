"""READ-ME-FIRST.txt is true: followed step by step with the standard library, sha256sum, xmllint and a Parquet reader.

The reader is DuckDB. Nothing of the program is used on the archive after it was written.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest

from archive import store
from archive.demo.simulator import simulate
from archive.store import Archive
from archive.store.deposits import Deposit, DepositFacts
from archive.store.events import Correction, amend, withdraw
from archive.store.events.redact import of_name, redact
from archive.store.proofs import prove

LABEL_POSITION = 7


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """An archive with two deposits, a correction, a withdrawal and a redaction; a proof and the head of a receipt."""
    folder = tmp_path_factory.mktemp("guide")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
        archive: Archive = store.create(folder / "archive")
        receipts = []
        for part in range(2):
            making = Deposit(archive, DepositFacts(job=f"JOB-{part}", by="R. Ostrander"))
            original = folder / f"{part}.csv"
            original.write_text(f"invented,cells\n{part}\n")
            making.original(original, original.name)
            for batch in simulate(24, seed=part + 1):
                making.add(batch)
            receipts.append(making.commit())
        first, second = receipts
        assert first.entry is not None
        assert second.entry is not None
        address = f"{first.entry['deposit']}/{LABEL_POSITION}"
        amend(archive, [Correction(f"{first.entry['deposit']}/3", "link_label", "renamed")], by=None, reason="x")
        withdraw(archive, records=[f"{first.entry['deposit']}/4"], by=None, reason="x")
        redact(archive, of_name(archive, "R. Ostrander"), by=None, reason="x")
        (folder / "proof.json").write_text(json.dumps(prove(archive, address)))
        record = next(simulate(24, seed=1))
        yield {
            "root": archive.root,
            "proof": folder / "proof.json",
            "label": record["records"]["link_label"][LABEL_POSITION].as_py(),
            "id": record["records"]["record_id"][LABEL_POSITION].as_py(),
            "record": record,
            "receipt_head": first.head.root,
            "entries_then": first.head.size,
            "head": archive.head().root,
        }


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def entries(root: Path) -> list[Path]:
    return sorted((root / "ledger").glob("[0-9]*/[0-9]*.json"))


def tree(leaves: list[bytes]) -> bytes:
    """4 e of the text, word for word."""
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return hashlib.sha256(b"\x01" + tree(leaves[:k]) + tree(leaves[k:])).digest()


def test_1_every_place_that_the_text_names_is_there(made: dict[str, Any]) -> None:
    root: Path = made["root"]
    text = (root / "READ-ME-FIRST.txt").read_text()
    for name in (
        "archive.toml",
        "schema/",
        "ledger/0000/",
        "deposits/",
        "assessments/",
        "events/",
        "catalogue/",
        "aside/",
    ):
        assert name in text
        assert (root / name).exists()
    bag = next((root / "deposits").glob("*/*"))
    for name in ("originals.zip", "deposit.json", "index.parquet", "tables"):
        assert name in text
        assert (bag / "data" / name).exists()
    assert max(map(len, text.splitlines())) <= 120
    assert text.isascii(), "readable in any encoding"


def test_2_one_link_and_its_curves(made: dict[str, Any]) -> None:
    root: Path = made["root"]
    hits = duckdb.execute(
        f"SELECT filename, position, record_id FROM read_parquet('{root}/deposits/*/*/data/index.parquet', "
        "filename=true) "
        "WHERE link_label = ?",
        [made["label"]],
    ).fetchall()
    filename, position = next((f, p) for f, p, record in hits if record == made["id"])
    tables = Path(filename).parent / "tables"
    found = duckdb.sql(f"SELECT record_id FROM '{tables}/records.parquet' WHERE position = {position}").fetchall()
    assert found == [(made["id"],)]
    starts = sorted(int(p.stem.split("-")[1]) for p in tables.glob("sweeps-*.parquet"))
    sweeps = tables / f"sweeps-{max(s for s in starts if s <= position):08d}.parquet"
    curves = duckdb.sql(
        f'SELECT parameter, "end", pairing, axis_id, decimals, scaled, "values" FROM \'{sweeps}\' '
        f"WHERE position = {position}"
    ).fetchall()
    assert len(curves) == 48
    want = {
        (r["parameter"], r["end"], r["pairing"]): r["values"]
        for r in made["record"].select([made["id"]])["sweeps"].to_pylist()
    }
    for parameter, end, pairing, _, decimals, scaled, values in curves:
        assert (values if scaled is None else [s / 10**decimals for s in scaled]) == want[parameter, end, pairing]
    axis = curves[0][3]
    frequencies = duckdb.sql(f"SELECT frequencies_mhz FROM '{tables}/axes.parquet' WHERE axis_id = '{axis}'").fetchall()
    assert len(frequencies[0][0]) == len(curves[0][5])


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="the program sha256sum is not installed")
def test_4a_the_files_of_a_bag(made: dict[str, Any]) -> None:
    root: Path = made["root"]
    gone = {g["path"] for p in entries(root) for g in json.loads(p.read_bytes()).get("gone", [])}
    assert len(gone) == 2
    for bag in (root / "deposits").glob("*/*"):
        run = subprocess.run(["sha256sum", "-c", "tagmanifest-sha256.txt"], cwd=bag, capture_output=True, check=False)
        assert run.returncode == 0, run.stderr
        run = subprocess.run(
            ["sha256sum", "-c", "manifest-sha256.txt"], cwd=bag, capture_output=True, text=True, check=False
        )
        bad = [line.split(":")[0] for line in run.stdout.splitlines() if not line.endswith(": OK")]
        assert {f"{bag.relative_to(root).as_posix()}/{path}" for path in bad} <= gone


def test_4b_to_4e_bag_entry_chain_head(made: dict[str, Any]) -> None:
    root: Path = made["root"]
    leaves, before = [], None
    for number, path in enumerate(entries(root)):
        data = path.read_bytes()
        lines = data.splitlines(keepends=True)
        assert json.loads(b"{" + lines[-1])["sha256"] == sha(b"".join(lines[:-1])), "4 c"
        entry = json.loads(data)
        assert entry["number"] == number
        assert entry["previous"] == before, "4 d"
        before = sha(data)
        leaves.append(hashlib.sha256(b"\x00" + data).digest())
        gone = {g["path"] for p in entries(root) for g in json.loads(p.read_bytes()).get("gone", [])}
        for name, told in entry["files"].items():
            if name not in gone:
                assert sha((root / name).read_bytes()) == told["sha256"], "4 b"
    assert tree(leaves).hex() == made["head"]
    assert tree(leaves[: made["entries_then"]]).hex() == made["receipt_head"]


def test_4f_a_redaction_tells_what_went_and_what_replaced_it(made: dict[str, Any]) -> None:
    root: Path = made["root"]
    read = [json.loads(p.read_bytes()) for p in entries(root)]
    entry = next(e for e in read if e.get("event") == "redact")
    event = next(root / name for name in entry["files"] if name.endswith("event.json"))
    for g in entry["gone"]:
        assert not (root / g["path"]).exists()
        people = duckdb.sql(f"SELECT name, salt FROM '{event.parent / g['replacement']}' ").fetchall()
        assert (None, None) in people


def test_5_one_record_without_the_archive(made: dict[str, Any], tmp_path: Path) -> None:
    proof = json.loads(made["proof"].read_text())
    name, _, digits = proof["digest"].partition(":")
    assert name == "link-record-1"
    assert sha(proof["canonical"].encode()) == digits

    def climb(hashed: bytes, told: dict[str, Any]) -> bytes:
        """The last paragraph of section 5, word for word."""
        position, last = told["index"], told["size"] - 1
        for step in map(bytes.fromhex, told["path"]):
            if position % 2 == 1 or position == last:
                hashed = hashlib.sha256(b"\x01" + step + hashed).digest()
                while position % 2 == 0 and position != 0:
                    position, last = position // 2, last // 2
            else:
                hashed = hashlib.sha256(b"\x01" + hashed + step).digest()
            position, last = position // 2, last // 2
        return hashed

    leaf = hashlib.sha256(b"\x00" + proof["digest"].encode()).digest()
    entry = json.loads(proof["entry"]["text"])
    assert climb(leaf, proof["in_deposit"]).hex() == entry["root"]
    leaf = hashlib.sha256(b"\x00" + proof["entry"]["text"].encode()).digest()
    assert climb(leaf, proof["in_ledger"]).hex() == made["head"]
    root: Path = made["root"]
    digests = duckdb.sql(f"SELECT digest FROM '{root}/{entry['path']}/data/index.parquet' ORDER BY position").fetchall()
    leaves = [hashlib.sha256(b"\x00" + d.encode()).digest() for (d,) in digests]
    assert tree(leaves).hex() == entry["root"], "the digests of a deposit lead to its root"
    assert digests[proof["in_deposit"]["index"]][0] == proof["digest"]
    if shutil.which("xmllint"):
        (tmp_path / "record.xml").write_text(proof["canonical"])
        run = subprocess.run(["xmllint", "--c14n", "record.xml"], cwd=tmp_path, capture_output=True, check=True)
        assert sha(run.stdout) == digits, "the text is in the form of Canonical XML 1.0"


def test_6_the_key_of_a_person(made: dict[str, Any]) -> None:
    root: Path = made["root"]
    people = [p for f in root.rglob("people.json") for p in json.loads(f.read_text())]
    for path in root.rglob("people.parquet"):
        people += [
            dict(zip(("person_key", "salt", "name"), row, strict=True))
            for row in duckdb.sql(f"SELECT person_key, salt, name FROM '{path}'").fetchall()
        ]
    named = [p for p in people if p["name"]]
    for p in named:
        assert p["person_key"] == "pe-" + sha(f"{p['salt']}\n{p['name']}".encode())[:32]
