"""The JSON schema of mapping files for editors, from the keys that their reader knows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from archive import vocabulary
from archive.formats.mapping.load import CELL_KEYS, FILE_KEYS, HEAD_KEYS, TABLE_KEYS
from archive.formats.mapping.load_fields import FIELD_KEYS, PART_KEYS
from archive.formats.mapping.model import KINDS, LANGUAGE, MARKS, ROWS
from archive.formats.mapping.pairs import SCHEMES

TITLE = "A mapping: how one layout of export becomes the tables, schemas/mapping.md"

_TYPES = {str: "string", bool: "boolean", int: "integer", float: "number", list: "array", dict: "object"}
_TEXTS = {"type": "array", "items": {"type": "string"}}


def schema() -> dict[str, Any]:
    """The schema as a tree."""
    parts = {"type": "object", "additionalProperties": {"anyOf": [{"type": "string"}, _ref("part")]}}
    texts = [{"type": "string"}, _TEXTS]
    head = _keys(HEAD_KEYS, {"language": {"type": "integer", "minimum": 1, "maximum": LANGUAGE}, "require": _TEXTS})
    cells = _keys(
        CELL_KEYS, {**_words(), "decimal": {"enum": [".", ","]}, "pairs": {"enum": [*SCHEMES]}, "empty": _TEXTS}
    )
    named = {
        "type": "array",
        "items": _keys(dict.fromkeys(("each", "name", "value"), str), {}, "each", "name", "value"),
    }
    file = _keys(
        FILE_KEYS,
        {
            "kind": {"enum": [*KINDS]},
            **dict.fromkeys(("skip", "ignore", "groups"), _TEXTS),
            "named": named,
            "table": {"type": "array", "items": _ref("table"), "minItems": 1},
        },
        "kind",
        "table",
    )
    table = _keys(
        TABLE_KEYS,
        {
            "rows": {"enum": [*ROWS]},
            "headings_are": {"enum": ["frequencies", "links"]},
            **dict.fromkeys(("ignore", "columns"), _TEXTS),
            "widths": {"type": "array", "items": {"type": "integer", "minimum": 0}},
            "fields": {"type": "array", "items": _ref("field")},
        },
        "rows",
    )
    of_field = {"words": {"type": "object", "additionalProperties": {"type": "string"}}}
    field = _keys(FIELD_KEYS, {**of_field, "pattern": {"anyOf": texts}, "parts": parts}, "from")
    field["oneOf"] = [{"required": ["to"]}, {"required": ["pattern", "parts"]}]
    return {
        **_keys(
            {"mapping": dict, "cells": dict, "file": list},
            {
                "mapping": {**head, "required": ["layout"]},
                "cells": cells,
                "file": {"type": "array", "items": _ref("file"), "minItems": 1},
            },
            "mapping",
            "file",
        ),
        "$defs": {"file": file, "table": table, "field": field, "part": _keys(PART_KEYS, of_field, "to")},
    }


def _ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/$defs/{name}"}


def _keys(known: Mapping[str, Any], closer: dict[str, Any], *required: str) -> dict[str, Any]:
    """A table of keys. closer: what is said of some beside their type."""
    made = {key: closer.get(key) or {"type": _type(kind)} for key, kind in known.items()}
    out: dict[str, Any] = {"type": "object", "additionalProperties": False, "properties": made}
    return {**out, "required": [*required]} if required else out


def _type(kind: Any) -> str:
    return "number" if kind == (int, float) else _TYPES[kind]


def _words() -> dict[str, Any]:
    """Tables of the layout's words, and what these may mean."""
    meanings = {
        "ends": [*vocabulary.ENDS],
        "directions": sorted(vocabulary.words("direction")),
        "kinds": sorted(vocabulary.words("point_kind")),
        "origins": sorted(vocabulary.words("origin")),
        "verdicts": sorted(vocabulary.words("reported_verdict") | {"marginal pass", "marginal fail"}),
        "marks": [*MARKS],
        "pair_names": [*vocabulary.PAIRS, *vocabulary.ORDERED],
    }
    out = {name: {"type": "object", "additionalProperties": {"enum": listed}} for name, listed in meanings.items()}
    # A word for a quantity may carry a unit, an end and a pair.
    some = "|".join(vocabulary.parameters())
    out["parameters"] = {"type": "object", "additionalProperties": {"type": "string", "pattern": f"^(?:{some})(?: |$)"}}
    return out
