"""The declared files in schemas/ are what the definitions make, and say everything that the definitions say."""

from __future__ import annotations

import json

import pytest
from lxml import etree

from archive import schemas
from archive.formats import declared
from archive.formats.open_csv import METADATA
from archive.formats.open_xml.xsd import FILE_NAME
from archive.tables import tables

XS = "{http://www.w3.org/2001/XMLSchema}"


@pytest.mark.parametrize("name", sorted(declared.made()))
def test_committed_files_are_what_the_definitions_make(name: str) -> None:
    committed = (schemas.root() / name).read_text(encoding="utf-8")
    assert committed == declared.made()[name](), "after a change of the definitions: muniment schema --write"


def test_every_column_stands_in_the_schema_with_a_note() -> None:
    tree = etree.parse(str(schemas.root() / FILE_NAME))
    for table in tables().values():
        holder = tree.find(f".//{XS}element[@name='{table.row}']") if table.name == "records" else None
        if holder is None:
            holder = tree.find(f".//{XS}complexType[@name='row-{table.row}']")
        assert holder is not None, table.name
        noted = {a.get("name") for a in holder.iter(f"{XS}attribute") if a.find(f"{XS}annotation") is not None}
        implied = (
            {table.content, "record_id"} if table.level == "record" and table.name != "records" else {table.content}
        )
        assert {c.name for c in table.columns} - noted <= implied


def test_every_column_stands_in_the_metadata_with_a_note() -> None:
    metadata = json.loads((schemas.root() / METADATA).read_text(encoding="utf-8"))
    described = {t["url"]: {c["name"]: c for c in t["tableSchema"]["columns"]} for t in metadata["tables"]}
    for table in tables().values():
        columns = described[f"{table.name}.csv"]
        assert list(columns) == [c.name for c in table.columns]
        assert all(c["dc:description"] for c in columns.values())


def test_every_field_stands_in_the_guide_with_unit_origin_and_example() -> None:
    guide = (schemas.root() / "README.md").read_text(encoding="utf-8")
    for table in tables().values():
        section = guide.split(f"### {table.name}\n")[1].split("\n### ")[0]
        for column in table.columns:
            row = next(line for line in section.splitlines() if line.startswith(f"| `{column.name}` "))
            assert column.meaning.replace("|", "\\|") in row
            assert column.origin in row
            assert column.unit in row
            assert column.example.replace("|", "\\|") in row


def test_every_word_stands_in_the_guide() -> None:
    guide = (schemas.root() / "README.md").read_text(encoding="utf-8")
    for table in tables().values():
        for column in table.columns:
            missing = [w for w in column.words if f"`{w}`" not in guide]
            assert not missing, missing
