"""Confirmations by a person who owns the standard: what they change, where they are kept, what a wrong one is told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from archive import limits
from archive.errors import Trouble
from archive.limits import confirm

LIMIT = "tia-568.2-d/cat6a/permanent-link"
HEAD = f'limit = "{LIMIT}"\nby = "A. Reader"\non = 2026-11-20\ndocument = "the standard, own copy (invented)"\n'
SAID = "by A. Reader on 2026-11-20 from the standard, own copy (invented)"


@pytest.fixture(autouse=True)
def users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")
    yield tmp_path / "data"


def _confirm(folder: Path, text: str, limit_id: str = LIMIT, name: str = "c.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return confirm.confirm(limit_id, path)


def test_confirmed_lines_become_a_and_say_who(tmp_path: Path) -> None:
    before = limits.get(LIMIT)
    assert before.lines["return_loss"].confidence == "B" and before.confirmations == ()
    _confirm(tmp_path, HEAD + 'confirms = ["return_loss", "insertion_loss", "propagation_delay"]\n')
    after = limits.get(LIMIT)
    for name in ("return_loss", "insertion_loss"):
        assert after.lines[name].confidence == "A" and after.lines[name].confirmed == SAID
        assert (after.lines[name].at([1, 100, 500]) == before.lines[name].at([1, 100, 500])).all()
    assert after.scalars["propagation_delay"].confidence == "A"
    assert after.lines["return_loss"].exemptions[0].confidence == "A"
    assert after.lines["ps_next"].confidence == "B" and after.lines["ps_next"].confirmed == ""
    assert after.confirmations == (f"return_loss, insertion_loss, propagation_delay confirmed {SAID}",)
    assert after.files[-1].name == "1.toml"


def test_a_line_can_be_replaced(tmp_path: Path) -> None:
    _confirm(
        tmp_path,
        HEAD + "[lines.ps_next]\npieces = [{ to = 300, formula = 'vsum(cable_ps_next, 1 x connector_ps_next)' }, "
        "{ to = 500, formula = '31 - 34*lg(f/300)' }]\ncap = { value = 62 }\n[lines.return_loss]\nformula = '9'\n",
    )
    limit = limits.get(LIMIT)
    assert limit.lines["ps_next"].at(300).item() == 31 and limit.lines["ps_next"].confidence == "A"
    assert limit.lines["return_loss"].informational == {"il_below": 3.0}  # not stated, so it stays
    assert limit.confirmations == (f"ps_next, return_loss supplied {SAID}",)


def test_what_is_not_established_can_be_supplied(tmp_path: Path) -> None:
    other = "tia-568.2-d/cat8/channel"
    text = HEAD.replace(LIMIT, other) + "[lines.insertion_loss]\nformula = '0.7*sqrt(f)'\n"
    assert not limits.get(other).established
    _confirm(tmp_path, text, other)
    limit = limits.get(other)
    assert limit.established and limit.confidence == "A" and limit.range_mhz == (1, 2000)
    assert limit.lines["insertion_loss"].at(100).item() == 7


def test_a_later_confirmation_lies_over_an_earlier_one(tmp_path: Path) -> None:
    _confirm(tmp_path, HEAD + "[scalars]\ndelay_skew = { value = 43 }\n")
    _confirm(tmp_path, HEAD + "[scalars]\ndelay_skew = { value = 42 }\n", name="d.toml")
    limit = limits.get(LIMIT)
    assert limit.scalars["delay_skew"].value == 42 and len(limit.confirmations) == 2


def test_withdrawn_is_as_before_and_kept(tmp_path: Path, users_folder: Path) -> None:
    _confirm(tmp_path, HEAD + 'confirms = ["return_loss"]\n')
    (kept,) = confirm.withdraw(LIMIT)
    assert kept.name == "1.toml.withdrawn" and kept.is_file()
    assert limits.get(LIMIT).lines["return_loss"].confidence == "B"
    assert _confirm(tmp_path, HEAD + 'confirms = ["return_loss"]\n').name == "2.toml"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "a key is missing; expected limit"),
        (HEAD, "confirms nothing"),
        (HEAD.replace(LIMIT, "tia-568.2-d/cat6/channel") + 'confirms = ["next"]', "confirms another limit"),
        (HEAD.replace('by = "A. Reader"\n', "") + 'confirms = ["next"]', "a key is missing; expected by"),
        (
            HEAD.replace("2026-11-20", '"last week"') + 'confirms = ["next"]',
            "on: this is not a date; found 'last week'",
        ),
        (HEAD + 'confirms = ["nxt"]', "there is nothing to confirm"),
        (HEAD + 'confirms = "next"', "confirms: a value of another kind; found text; expected a list"),
        (HEAD + 'confirmed = ["next"]', "a key that nothing reads; found confirmed"),
        (HEAD + "[lines.next]\nformula = '19 +'", "this formula cannot be read"),
        (HEAD + "[lines.next]\nformula = 'lg(f - 100)'", "gives no number"),
        (HEAD + "[lines]\nnext = 3", "lines.next: a value of another kind; found a whole number; expected a table"),
    ],
)
def test_a_wrong_confirmation_is_told_and_not_kept(tmp_path: Path, users_folder: Path, text: str, told: str) -> None:
    with pytest.raises(Trouble) as caught:
        _confirm(tmp_path, text)
    assert told in str(caught.value), str(caught.value)
    assert "c.toml" in str(caught.value) and not list(users_folder.rglob("*"))


def test_the_same_file_twice(tmp_path: Path) -> None:
    _confirm(tmp_path, HEAD + 'confirms = ["next"]\n')
    with pytest.raises(Trouble, match="kept already"):
        _confirm(tmp_path, HEAD + 'confirms = ["next"]\n', name="copy.toml")


def test_an_unknown_limit(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="no such limit"):
        _confirm(tmp_path, HEAD, "tia-568.2-d/cat9/channel")


def test_a_stored_file_that_was_damaged_is_named(tmp_path: Path) -> None:
    kept = _confirm(tmp_path, HEAD + 'confirms = ["next"]\n')
    kept.write_text("damaged", encoding="utf-8")
    with pytest.raises(Trouble) as caught:
        limits.get(LIMIT)
    assert str(kept) in str(caught.value)
