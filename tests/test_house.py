"""What keeps the house easy to find one's way in: a class name is used once. (The import contract: pyproject.toml.)"""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

HOUSE = Path(__file__).resolve().parent.parent / "archive"


def test_no_class_name_is_used_twice() -> None:
    """Outside the drafting of mappings, which is to be replaced."""
    found: dict[str, list[str]] = defaultdict(list)
    for file in sorted(HOUSE.rglob("*.py")):
        if "draft" not in file.parts:
            for node in ast.walk(ast.parse(file.read_text("utf-8"))):
                if isinstance(node, ast.ClassDef):
                    found[node.name].append(str(file.relative_to(HOUSE)))
    assert len(found) > 100
    assert {name: files for name, files in found.items() if len(files) > 1} == {}
