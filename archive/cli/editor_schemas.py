"""JSON schemas of declared files, so that editors complete and check them: schemas/editors/.

They are written from the structures that read the files: `python -m archive.cli.editor_schemas`.
"""

from __future__ import annotations

import json
from typing import Any

import msgspec

from archive import schemas, vocabulary
from archive.answers.claim.claim_statement import ClaimStatement
from archive.cli import mapping_schema
from archive.formats.schedule_words import ScheduleWords
from archive.limits.fiber.own import OwnOpticalFile
from archive.limits.file_tables import ConfirmationFile, EditionFile, OwnLimitFile
from archive.validation.catalogue.declared_rules import RuleFile, rules
from archive.validation.catalogue.policy import OFF, Policy

KINDS: dict[str, tuple[type[Any], str]] = {
    "limit-edition": (EditionFile, "An edition of a standard, its limits: schemas/limits/*.toml"),
    "own-limit": (OwnLimitFile, "A limit of a user's own"),
    "own-optical-limit": (OwnOpticalFile, "A limit of a user's own for optical links"),
    "limit-confirmation": (ConfirmationFile, "What a person who owns a standard confirms of a limit"),
    "rules": (RuleFile, "A group of rules: schemas/rules/*.toml"),
    "schedule-words": (ScheduleWords, "Words of link schedules: schemas/schedule.toml"),
    "claim-facts": (ClaimStatement, "What a claim states: muniment claim --facts"),
    "policy": (Policy, "A policy: severities and tolerances of an archive or a job"),
}
"""By file name: the structure that reads such a file, and a title."""
_STATED_BY_USER = ("own-limit", "limit-confirmation")


def texts() -> dict[str, str]:
    """Every schema as JSON text, by file name without its ending."""
    made = {name: _text(name, kind, title) for name, (kind, title) in KINDS.items()}
    return {**made, "mapping": _json(mapping_schema.TITLE, mapping_schema.schema())}


def _text(name: str, kind: type[Any], title: str) -> str:
    schema = msgspec.json.schema(kind)
    for part in schema["$defs"].values():
        for key in ("lines", "scalars"):
            if key in part.get("properties", {}):
                part["properties"][key]["propertyNames"] = {"enum": list(vocabulary.parameters())}
        if name in _STATED_BY_USER and "confidence" in part.get("required", ()):
            part["required"].remove("confidence")  # who states a limit stands for it
        if name == "policy":
            parts = part["properties"]
            parts["severity"]["propertyNames"] = {"enum": list(rules())}
            parts["severity"]["additionalProperties"]["enum"] = [*sorted(vocabulary.words("severity")), OFF]
            parts["tolerances"]["propertyNames"] = {"enum": [n for n, rule in rules().items() if rule.tolerances]}
    return _json(title, schema)


def _json(title: str, schema: dict[str, Any]) -> str:
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title}
    return json.dumps({**head, **schema}, indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    """Writes schemas/editors/."""
    folder = schemas.root() / "editors"
    folder.mkdir(exist_ok=True)
    for name, text in texts().items():
        (folder / f"{name}.json").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
