"""Every document of the conformance kit is read, refused or set aside as fixtures/conformance/expected.toml says."""

from __future__ import annotations

import io
import tomllib
import zipfile
from typing import Any

import pytest

import archive.formats
from archive.errors import Trouble
from archive.formats.open_csv import METADATA
from archive.formats.open_xml.gate import admit
from archive.tables import Batch, concat
from archive.tables.canonical import record_digests
from tests.formats import conformance_kit as kit

EXPECTED: dict[str, Any] = tomllib.loads((kit.KIT / "expected.toml").read_text(encoding="utf-8"))


def _of(kind: str) -> list[str]:
    return sorted(name for name in EXPECTED if name.startswith(kind))


def _read(name: str) -> Batch:
    return concat(archive.formats.read(kit.KIT / name))


def test_committed_kit_is_what_the_generator_makes() -> None:
    made = kit.files()
    committed = {p.relative_to(kit.KIT).as_posix(): p for p in kit.KIT.rglob("*") if p.is_file()}
    assert set(made) == set(committed) - {"README.md"}
    for name, content in made.items():
        if name.endswith(".zip"):
            # The metadata file in a zip follows the vocabulary; schemas/ holds the one that counts.
            assert _members(content) == _members(committed[name].read_bytes()), name
        else:
            assert content == committed[name].read_bytes(), name


def _members(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {n: packed.read(n) for n in packed.namelist() if n != METADATA}


def test_every_document_is_expected() -> None:
    files = {p.relative_to(kit.KIT).as_posix() for p in kit.KIT.rglob("*") if p.suffix in (".xml", ".zip")}
    assert files == set(EXPECTED)


@pytest.mark.parametrize("name", _of("good/"))
def test_good_documents_are_read_with_these_digests(name: str) -> None:
    batch = _read(name)
    assert len(batch) == EXPECTED[name]["records"]
    assert record_digests(batch) == EXPECTED[name]["digests"]


@pytest.mark.parametrize("name", sorted(kit.GOOD))
def test_both_forms_of_a_good_document_hold_the_same_tables(name: str) -> None:
    made = Batch.from_rows(kit.GOOD[name]())
    assert _read(f"good/{name}.xml").equals(made)
    assert _read(f"good/{name}.zip").equals(made)


@pytest.mark.parametrize("name", _of("refused/"))
def test_refused_documents_say_why_in_one_line(name: str) -> None:
    with pytest.raises(Trouble) as caught:
        if name.endswith(".xml"):
            admit(kit.KIT / name, name)
        else:
            list(archive.formats.read(kit.KIT / name))
    line = str(caught.value)
    assert EXPECTED[name]["says"] in line
    assert "\n" not in line
    assert "Traceback" not in line
    assert name.split("/")[1].split(".")[0] in line or ".csv" in line, "the line names the file"


@pytest.mark.parametrize("name", _of("aside/"))
def test_bad_records_are_set_aside_and_the_others_read(name: str) -> None:
    batch = _read(name)
    assert len(batch) == EXPECTED[name]["records"]
    rows = batch["set_aside"].to_pylist()
    assert rows
    assert any(EXPECTED[name]["says"] in row["reason"] for row in rows), [r["reason"] for r in rows]
    known = set(batch["sources"].column("source_id").to_pylist())
    for row in rows:
        assert row["place"]
        assert row["remedy"]
        assert row["source_id"] in known, "the file it stands in is accounted for"


def test_no_entity_was_ever_expanded() -> None:
    for name in ("entity-bomb", "external-entity"):
        with pytest.raises(Trouble) as caught:
            list(archive.formats.read(kit.KIT / f"refused/{name}.xml"))
        assert "haha" not in str(caught.value)
