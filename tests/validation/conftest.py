"""At the end of the test run: the rules that have no test. There must be none."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from archive.validation import catalogue

TESTS = Path(__file__).resolve().parent.parent


@cache
def _texts() -> str:
    return "\n".join(p.read_text(encoding="utf-8") for p in sorted(TESTS.rglob("*.py")))


def untested() -> list[str]:
    """Rules without a test that they fire or without one that they stay silent.

    Examples of the catalogue are run as tests; a rule that a reader or a command raises is tested beside it, by name.
    """
    out = []
    for rule in catalogue.rules().values():
        # of a rule that a command raises the examples are words; what counts is the test that names it
        outcomes = {e["outcome"] for e in rule.examples if rule.by not in ("archive", "program")}
        named = f'"{rule.name}"' in _texts()
        if not ({"bad", "good"} <= outcomes or (rule.by in ("reader", "archive", "program") and named)):
            out.append(rule.name)
    return out


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Prints the list."""
    names = untested()
    terminalreporter.section("rules without a test")
    terminalreporter.line(", ".join(names) if names else "none")
