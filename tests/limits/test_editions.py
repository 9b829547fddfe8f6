"""Editions: what is inherited, what a letter is worth in another edition, and that a released one stays as it is."""

from __future__ import annotations

import hashlib
import tomllib
from typing import Any

import numpy as np
import pytest

from archive import limits, schemas
from archive.errors import Trouble
from archive.limits import confirm, editions, library

LIBRARY = tomllib.loads((schemas.root() / "limits" / "library.toml").read_text(encoding="utf-8"))


def test_the_version_stands_for_the_files() -> None:
    """A changed file needs a new version with its own digest: a verdict names the version it was given by."""
    assert LIBRARY["digests"][limits.version()] == library.digest(), "raise the version in library.toml"


def test_every_file_is_listed_and_names_itself() -> None:
    files = {p.stem for p in (schemas.root() / "limits").glob("*.toml")} - {"library", "field", "cords"}
    assert files == set(editions.edition_ids())
    for name in files:
        assert editions.edition(name).head.id == name


def _letters(part: Any) -> list[str]:
    if isinstance(part, dict):
        own = [
            v
            for k, v in part.items()
            if k in ("confidence", "confidence_between", "tolerance_confidence") and isinstance(v, str)
        ]
        return own + [x for v in part.values() for x in _letters(v)]
    return [x for v in part for x in _letters(v)] if isinstance(part, list) else []


@pytest.mark.parametrize("name", [n for n in editions.edition_ids() if editions.edition(n).head.inherits])
def test_a_letter_carried_to_another_edition_is_b_at_most(name: str) -> None:
    head = editions.edition(name).head
    own = tomllib.loads((schemas.root() / "limits" / f"{name}.toml").read_text(encoding="utf-8"))
    stated = own.get("limits", {})
    parent = editions.edition(head.inherits)
    carried, read = 0, 0
    for key, table in parent.limits.items():
        if key in head.without:
            continue
        for part in ("lines", "scalars"):
            for parameter, line in table.get(part, {}).items():
                parameter = head.renames.get(parameter, parameter)
                if parameter in stated.get(key, {}).get(part, {}) or parameter in stated.get(key, {}).get(
                    "without", ()
                ):
                    continue
                here = editions.edition(name).limits[key][part][parameter]
                marked = {n for names in stated.get(key, {}).get("read", {}).values() for n in names}
                if marked & {parameter, f"{parameter}.cap", f"{parameter}.floor"}:
                    read += 1
                    continue
                for before, after in zip(_letters(line), _letters(here), strict=True):
                    assert after == max(before, "B"), (key, parameter)
                    carried += 1
    assert carried and bool(read) == (name == "tia-568-c.2")


def test_a_line_read_in_a_source_is_as_it_was_with_that_source() -> None:
    """TIA-568-C.2 takes lines over from 568-B; what S51 quotes of them is A there, what it does not stays."""
    before, read = (limits.get(f"{edition}/cat6a/permanent-link") for edition in ("tia-568-b", "tia-568-c.2"))
    f = before.lines["return_loss"].grid()
    assert np.array_equal(before.lines["return_loss"].at(f), read.lines["return_loss"].at(f))
    assert set(read.lines["return_loss"].confidence_at(f)) == {"A"}
    assert {source for segment in read.lines["return_loss"].segments for source in segment.sources} == {"S51"}
    assert read.lines["return_loss"].exemptions[0].confidence == "C"  # S51 has no 3 dB rule
    caps = [limit.lines["next"].cap for limit in (before, read)]
    assert [cap.confidence for cap in caps if cap] == ["B", "A"]
    acr_f = read.lines["acr_f"]
    assert acr_f.confidence == "A" and acr_f.cap is not None and acr_f.cap.confidence == "C"
    assert limits.get("tia-568.2-d/cat6a/permanent-link").lines["return_loss"].confidence == "B"


def test_an_a_stays_where_its_source_quotes_the_other_edition_too() -> None:
    """S39 states the 3 dB rule for ISO/IEC 11801 and for EN 50173-1."""
    rule = limits.get("en-50173-1-2007/class-e/channel").lines["return_loss"].exemptions[0]
    assert (rule.confidence, rule.sources) == ("A", ("S39",))


def test_inherited_lines_are_equal() -> None:
    f = np.geomspace(1, 250, 40)
    first, last = limits.get("tia-568-b/cat6/channel"), limits.get("tia-568.2-d/cat6/channel")
    for parameter in ("insertion_loss", "return_loss", "next", "ps_next"):
        assert np.array_equal(first.lines[parameter].at(f), last.lines[parameter].at(f))


def test_an_alias_is_the_other_standard_by_declaration() -> None:
    ours, theirs = (
        limits.get("en-50173-1/class-ea/permanent-link-2"),
        limits.get("iso-11801-1/class-ea/permanent-link-2"),
    )
    assert ours.same_as == theirs.id and theirs.same_as == ""
    assert ours.lines.keys() == theirs.lines.keys() and ours.scalars.keys() == theirs.scalars.keys()
    f = np.geomspace(1, 500, 60)
    for parameter, line in theirs.lines.items():
        assert np.array_equal(ours.lines[parameter].at(f), line.at(f), equal_nan=True)


def test_what_a_link_rests_on_is_told() -> None:
    names = [p.name for p in limits.get("tia-568.2-d/cat6/channel").files]
    assert names == ["tia-568.2-d.toml", "tia-568-c.2.toml", "tia-568-b.toml"]


def test_mptl_has_the_lines_of_the_permanent_link_from_memory() -> None:
    link, plug = limits.get("tia-568.2-d/cat6a/permanent-link"), limits.get("tia-568.2-d/cat6a/mptl")
    f = np.geomspace(1, 500, 60)
    for parameter, line in link.lines.items():
        assert np.array_equal(plug.lines[parameter].at(f), line.at(f))
        assert plug.lines[parameter].confidence == "C"


def test_a_bare_permanent_link_is_two_limits() -> None:
    with pytest.raises(Trouble) as caught:
        limits.get("iso-11801-1/class-ea/permanent-link")
    assert "permanent-link-2" in str(caught.value) and "permanent-link-3" in str(caught.value)


@pytest.mark.parametrize("wrong", ["", "tia-568.2-d", "tia-568.2-d/cat6a/chanel", "TIA-568.2-D/cat6a/channel", "../x"])
def test_an_unknown_id_is_told_in_one_line(wrong: str) -> None:
    with pytest.raises(Trouble) as caught:
        limits.get(wrong)
    assert "\n" not in str(caught.value)


def test_pairs_and_applications() -> None:
    assert limits.get("ieee-802.3/100base-tx").pairs == ("1-2", "3-6")
    assert limits.get("ieee-802.3/1000base-t").pairs == ()
    assert "ps_anext" in limits.get("ieee-802.3/2.5gbase-t").open


def test_digest_depends_on_every_file(monkeypatch: pytest.MonkeyPatch) -> None:
    before = library.digest()
    real = hashlib.sha256

    def changed(data: bytes = b"") -> Any:
        return real(data.replace(b"1.82*sqrt(f) + 0.0091*f", b"1.83*sqrt(f) + 0.0091*f"))

    monkeypatch.setattr(library.hashlib, "sha256", changed)
    assert library.digest() != before


def test_nothing_changes_what_was_read(tmp_path: Any) -> None:
    """Declarations share their parts: confirming, carrying or reading must not reach into another limit."""
    files = {file.name: tomllib.loads(file.read_text("utf-8")) for file in (schemas.root() / "limits").glob("*.toml")}
    for limit_id in limits.ids():
        limits.get(limit_id)
    path = tmp_path / "c.toml"
    path.write_text(
        'limit = "tia-568-c.2/cat6a/channel"\nby = "a"\non = 2026-11-20\ndocument = "d"\nconfirms = ["next"]\n'
        '[lines.return_loss]\nformula = "9"\n[scalars]\ndelay_skew = { value = 1 }\n'
    )
    before = {i: repr(editions.declaration(i)) for i in limits.ids()}
    found = editions.declaration("tia-568-c.2/cat6a/channel")
    assert found is not None
    confirm.applied("tia-568-c.2/cat6a/channel", found[1], (path,))
    assert {i: repr(editions.declaration(i)) for i in limits.ids()} == before
    assert files and all(schemas.load(f"limits/{name}") == table for name, table in files.items())
