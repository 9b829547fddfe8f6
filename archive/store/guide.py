"""READ-ME-FIRST.txt: how to read an archive with no program of ours."""

from __future__ import annotations

from importlib import resources


def guide() -> str:
    """Text of READ-ME-FIRST.txt."""
    return (resources.files("archive.store") / "read_me_first.txt").read_text(encoding="utf-8")
