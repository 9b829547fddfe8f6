"""The documents for people: no link leads nowhere, and the README stays short."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "schemas").rglob("*.md"))]
LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_no_link_leads_nowhere(document: Path) -> None:
    named = [t for t in LINK.findall(document.read_text(encoding="utf-8")) if "://" not in t]
    assert [t for t in named if not (document.parent / t).exists()] == []


def test_the_readme_shows_the_room_first_and_stays_short() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 250
    heads = re.findall(r"^## (.+)$", text, re.M)
    assert heads[:3] == ["The reading room", "Two commands", "Who it is for"]
    assert len([t for t in LINK.findall(text) if t.startswith("schemas/guide/")]) == 5
