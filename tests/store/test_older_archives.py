"""Archives that earlier states of the program made still open, and give the answers that they gave then.

Each is a zip in fixtures/archives, made by commands alone, beside the answers of the program that made it.
"""

from __future__ import annotations

import json
import re
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive import store
from archive.cli import main
from archive.grading import grade
from archive.store import records

KEPT = sorted((Path(__file__).resolve().parents[2] / "fixtures" / "archives").glob("*.zip"))

QUESTIONS: dict[str, tuple[str, ...]] = {
    "find": ("find", "ARCHIVE"),
    "history of a corrected link": ("history", "ARCHIVE", "1A-X03"),
    "history of a retested link": ("history", "ARCHIVE", "1A-X01"),
    "history of a withdrawn test": ("history", "ARCHIVE", "1A-A02"),
    "job": ("job", "ARCHIVE", "HARBOUR-2019-04"),
    "documents": ("sql", "ARCHIVE", "SELECT * FROM documents"),
    "what stands": (
        "sql",
        "ARCHIVE",
        "SELECT deposit, position, link_label, standing, verdict FROM records ORDER BY deposit, position",
    ),
    "fixity": ("fixity", "ARCHIVE", "--depth", "deep"),
}
"""Questions by name; each is a command that prints one JSON document."""

_PASSING = ("checked_against", "copies", "findings")
"""Fields of an answer that depend on the machine it is given on, or on today's readers."""


def answers(archive: Path, ask: Callable[..., Any]) -> dict[str, Any]:
    """The answer to each question, by its name."""
    found = {}
    for name, (command, *rest) in QUESTIONS.items():
        said = ask(command, *(str(archive) if word == "ARCHIVE" else word for word in rest))
        found[name] = {k: v for k, v in said.items() if k not in _PASSING} if isinstance(said, dict) else said
    return found


def unpack(kept: Path, target: Path) -> Path:
    """The archive in a folder of its own."""
    with zipfile.ZipFile(kept) as packed:
        packed.extractall(target)
    return target


@pytest.mark.parametrize("kept", KEPT, ids=lambda path: path.stem)
def test_an_older_archive_gives_the_answers_of_its_day(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def ask(*words: str) -> Any:
        monkeypatch.setattr(sys, "argv", ["muniment", *words, "--json"])
        with pytest.raises(SystemExit):
            main()
        said = capsys.readouterr()
        assert said.out, said.err
        return json.loads(said.out)

    expected = json.loads(kept.with_suffix(".json").read_text("utf-8"))
    found = answers(unpack(kept, tmp_path / "archive"), ask)
    assert expected.keys() == QUESTIONS.keys()
    for name, answer in expected.items():
        assert _kept_of(found[name], answer) == answer, name


@pytest.mark.parametrize("kept", KEPT, ids=lambda path: path.stem)
def test_an_older_archive_gives_the_leading_margins_of_its_grades(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither its index files nor its verdicts have them; the same records graded by today's program do."""
    monkeypatch.setattr(records, "_GRADED_TOGETHER", 7)
    opened = store.open(unpack(kept, tmp_path / "archive"))
    opened.catch_up()
    names = ("leading_parameter", "leading_pairing", "leading_end", "leading_frequency_mhz", "leading_margin")
    there = 0
    for row in opened.db.execute(f"SELECT deposit, position, limit_id, {', '.join(names)} FROM records").fetchall():
        stored = opened.tables(row["deposit"]).record(row["position"])
        assert not any(v["leading_parameter"] for v in stored["verdicts"].to_pylist())
        if row["limit_id"] is None:
            assert [row[name] for name in names] == [None] * len(names)
            continue
        (now,) = grade(stored, against=[row["limit_id"]])["verdicts"].to_pylist()
        assert [row[name] for name in names] == [pytest.approx(now[name]) for name in names]
        there += row["leading_margin"] is not None
    assert there == 3, "the records of it that have curves"

    monkeypatch.setattr(sys, "argv", ["muniment", "history", str(opened.root), "1A-X01"])
    with pytest.raises(SystemExit):
        main()
    assert "leading margin" in capsys.readouterr().out


def _read(text: Any) -> Any:
    """A sentence without the verb of a count: earlier states said "1 of its 2 records are of this link"."""
    return re.sub(r"\b(\d+ of its \d+) records? (?:is|are)\b", r"\1", text) if isinstance(text, str) else text


def _place(expected: list[Any], entry: dict[str, Any]) -> int:
    """Where an entry of a history stood."""
    named = [[_read(e[name]) for name in ("kind", "when", "what")] for e in expected]
    wanted = [_read(entry[name]) for name in ("kind", "when", "what")]
    return named.index(wanted) if wanted in named else len(named)


def _kept_of(found: Any, expected: Any) -> Any:
    """The answer without the fields that a later program added."""
    if isinstance(found, dict) and isinstance(expected, dict):
        return {name: _kept_of(found[name], expected[name]) for name in expected if name in found}
    if isinstance(found, list) and isinstance(expected, list) and len(found) == len(expected):
        if (
            found and isinstance(found[0], dict) and "when" in found[0]
        ):  # a history, which is in the order of the ledger
            found = sorted(found, key=lambda e: _place(expected, e))
        return [_kept_of(f, e) for f, e in zip(found, expected, strict=True)]
    return expected if _read(found) == _read(expected) else found


def test_an_older_archive_is_kept() -> None:
    assert KEPT
