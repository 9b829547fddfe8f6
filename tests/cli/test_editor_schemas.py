"""The JSON schemas for editors are those of the structures, and say of real files what the readers say."""

from __future__ import annotations

import json
import re
import tomllib
from typing import Any

import jsonschema
import pytest

from archive import schemas
from archive.cli import editor_schemas
from archive.errors import Trouble
from archive.formats.mapping.load import of_tree
from tests.formats.mapping.guide import examples

FOLDER = schemas.root() / "editors"
EXPORTS = schemas.root().parent / "fixtures" / "exports"
LIMITS = schemas.root() / "limits"


def _validator(name: str) -> Any:
    schema = json.loads((FOLDER / f"{name}.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def _faults(name: str, table: dict[str, Any]) -> list[str]:
    plain = json.loads(json.dumps(table, default=str))  # dates as text
    return [error.message for error in _validator(name).iter_errors(plain)]


def test_the_files_are_written_from_the_structures() -> None:
    texts = editor_schemas.texts()
    assert {file.stem for file in FOLDER.glob("*.json")} == set(texts)
    assert texts
    for name, text in texts.items():
        assert (FOLDER / f"{name}.json").read_text("utf-8") == text, "run python -m archive.cli.editor_schemas"


def test_every_edition_fits() -> None:
    files = [file for file in sorted(LIMITS.glob("*.toml")) if file.stem not in ("library", "field", "cords")]
    assert len(files) > 10
    for file in files:
        assert _faults("limit-edition", tomllib.loads(file.read_text("utf-8"))) == [], file.name


def test_every_file_of_rules_fits() -> None:
    files = sorted((schemas.root() / "rules").glob("*.toml"))
    assert len(files) > 10
    for file in files:
        assert _faults("rules", tomllib.loads(file.read_text("utf-8"))) == [], file.name


def test_a_policy_fits_and_a_wrong_one_does_not() -> None:
    good = {"severity": {"zone-missing": "off"}, "tolerances": {"velocity-implausible": {"percent": [50.0, 90]}}}
    assert _faults("policy", good) == []
    for wrong in (
        {"colours": {}},
        {"severity": {"zone-missing": "grave"}},
        {"severity": {"zone-mising": "off"}},
        {"tolerances": {"clock-reset": 3}},
    ):
        assert len(_faults("policy", wrong)) == 1


def test_the_examples_of_the_readme_fit() -> None:
    text = (LIMITS / "README.md").read_text("utf-8")
    blocks = [tomllib.loads(block) for block in re.findall(r"```toml\n(.*?)```", text, re.DOTALL)]
    confirmation, own, *optical = blocks
    assert _faults("limit-confirmation", confirmation) == []
    assert _faults("own-limit", own) == []
    assert len(optical) == 2 and [_faults("own-optical-limit", limit) for limit in optical] == [[], []]


@pytest.mark.parametrize(
    "wrong",
    [
        {"lines": {"nxt": {"formula": "19"}}},
        {"lines": {"next": {"frmula": "19"}}},
        {"lines": {"next": {"formula": 19}}},
        {"lines": {"next": {"formula": "19", "confidence": "D"}}},
        {"scalars": {"delay_skew": {}}},
        {"title": " "},
    ],
)
def test_what_the_reader_refuses_an_editor_marks(wrong: dict[str, Any]) -> None:
    good = {"id": "a", "title": "t", "by": "b"}
    assert _faults("own-limit", good) == []
    assert len(_faults("own-limit", {**good, **wrong})) >= 1


def _mappings() -> list[dict[str, Any]]:
    shipped = [file.read_text("utf-8") for file in sorted(EXPORTS.glob("*/mapping.toml"))]
    return [tomllib.loads(text) for text in [*shipped, *(e.mapping for e in examples())]]


def test_mappings_that_are_read_fit() -> None:
    listed = _mappings()
    assert len(listed) > 15
    for mapping in listed:
        assert _faults("mapping", mapping) == [], mapping["mapping"]["layout"]


@pytest.mark.parametrize(
    ("table", "wrong"),
    [
        ("mapping", {"layuot": "x"}),
        ("cells", {"decimal": ";"}),
        ("cells", {"ends": {"Main": "near"}}),
        ("cells", {"marks": {"*": "perhaps"}}),
        ("cells", {"parameters": {"NEXT": "nxt"}}),
        ("file", {"kind": "spreadsheet"}),
        ("field", {"to": "records.link_label", "pattern": "{a}", "parts": {"a": "records.link_label"}}),
    ],
)
def test_a_mapping_that_its_reader_refuses_an_editor_marks(table: str, wrong: dict[str, Any]) -> None:
    good: dict[str, Any] = _mappings()[0]
    assert _faults("mapping", good) == []
    into = {"file": good["file"][0], "field": good["file"][0]["table"][0]["fields"][0]}.get(table)
    (good.setdefault(table, {}) if into is None else into).update(wrong)
    assert len(_faults("mapping", good)) >= 1
    with pytest.raises(Trouble):
        of_tree(good, b"", "m.toml")
