"""Words about cables: each part on its own, nothing guessed."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive import schemas, vocabulary
from archive.errors import Trouble
from archive.formats import cable_types
from archive.formats.cable_types import explained, neutral
from archive.vocabulary import cables

DESCRIPTIONS: dict[str, Any] = tomllib.loads(
    (Path(__file__).parent / "cable_descriptions.toml").read_text(encoding="utf-8")
)
_PARTS = ("category", "construction", "gauge", "conductor", "sheath")


def _expected(row: dict[str, Any], part: str) -> str:
    want = str(row.get(part, ""))
    return f"cat{want}" if want and part == "category" else want.replace("/", "-")


def test_descriptions_in_ten_languages() -> None:
    rows = [row for language in DESCRIPTIONS.values() for row in language["rows"]]
    assert len(DESCRIPTIONS) == 10
    assert len(rows) == 200
    known = right = 0
    guessed = []
    for row in rows:
        found = cables.known(neutral(row["words"]))
        for part in _PARTS:
            want, got = _expected(row, part), found.get("class" if part == "category" else part, "")
            if part in row.get("either", []):
                continue
            known += bool(want)
            right += bool(want) and got == want
            if got and got != want:
                guessed.append((row["words"], part, got))
    assert guessed == []
    assert known > 400
    assert right >= 0.95 * known


def test_cords_are_told_by_their_words() -> None:
    rows = [row for language in DESCRIPTIONS.values() for row in language["rows"] if "use" in row]
    assert len(rows) >= 10
    assert [row["words"] for row in rows if explained(row["words"]).use != row["use"]] == []


@pytest.mark.parametrize(
    ("words", "type_id"),
    [
        ("F/FTP 6A 26AWG stranded", "cat6a/f-ftp/awg26/stranded"),
        ("F/FTP 26AWG stranded", "unknown/f-ftp/awg26/stranded"),
        ("カテゴリ6A UTP", "cat6a/u-utp"),
        ("ScTP 5e", "cat5e/f-utp"),
        ("STP", "unknown/screened"),
        ("Cat 6A FTP", "cat6a/screened"),
        ("category 5 enhanced", "cat5e"),
        ("Cat 5 UTP, enhanced", "class-open/u-utp"),
        ("Class EA", "unknown"),
        ("Class EA, F/FTP", "unknown/f-ftp"),
        ("Cat 6 / Cat 6A UTP", "class-contradicted/u-utp"),
        ("UTP shielded cat 6", "cat6/construction-contradicted"),
        ("Cat 6A S/FTP shielded", "cat6a/s-ftp"),
        ("4x2xAWG23/1 Cat.7 S/FTP", "cat7/s-ftp/awg23/solid"),
        ("S/FTP AWG 26/7", "unknown/s-ftp/awg26/stranded"),
        ("CAT_6_A U/UTP", "cat6a/u-utp"),
        ("cavo cat 6 a trefoli", "cat6/stranded"),
        ("categoria 5 e 6", "cat5"),
        ("OM2 62.5/125", "om2/62.5"),
        ("62.5/125", "om1/62.5"),
        ("OM4 50/125", "om4/50"),
        ("9/125 G.652.D", "os2/9"),
        ("nothing of a cable", "unknown"),
        ("Cat 6 UTP 4 pair", "cat6/u-utp"),
        ("S-FTP", "unknown/s-ftp"),
        ("SFTP Cat 7", "cat7/screened"),
        ("SFTP Cat 7, foil round each pair: S/FTP", "cat7/s-ftp"),
        ("Cat 5e or better", "class-open"),
        ("min. Cat 6A U/FTP", "class-open/u-ftp"),
        ("Cat 6A, Dca or better", "cat6a"),
    ],
)
def test_words(words: str, type_id: str) -> None:
    assert neutral(words) == type_id
    assert cables.valid(type_id)


def test_each_part_names_what_said_so() -> None:
    found = explained("Cat 6A FTP 23 AWG, class EA link")
    assert found.rules == {"class": ("cat 6a",), "construction": ("ftp",), "gauge": ("23 awg",)}
    assert found.link_classes == ("EA",)
    assert {p: cables.state(found.type, p) for p in cables.PARTS} == {
        "class": "known",
        "construction": "open",
        "gauge": "known",
        "conductor": "unknown",
        "sheath": "unknown",
    }


def test_cords_and_fixed_cable_are_kept_apart_where_the_words_do() -> None:
    found = explained("installation cable Cat 7 S/FTP AWG23/1, patch cords Cat 6A S/FTP AWG 26/7")
    assert (found.type, found.cord) == ("cat7/s-ftp/awg23/solid", "cat6a/s-ftp/awg26/stranded")
    found = explained("Cat 6 U/UTP 23 AWG solid; Patchkabel Cat 6 AWG 26 Litze")
    assert (found.type, found.cord) == ("cat6/u-utp/awg23/solid", "cat6/awg26/stranded")
    whole = explained("Patchkabel Cat.6A, S/FTP")
    assert (whole.type, whole.use, whole.cord) == ("cat6a/s-ftp", "cord", "")


def test_ids_archived_earlier_stay_valid() -> None:
    old = ["unknown", "om4/50", "os2", "cat6a", "cat6a/awg23", "cat8.1/s-ftp/awg22/solid/lszh", "cat6/u-utp/pvc"]
    assert all(cables.valid(i) for i in old)
    assert [i for i in old if i != "unknown" and cables.joined(cables.known(i)) != i] == []


@pytest.mark.parametrize("bad", ["", "f-utp", "cat6/", "cat6/solid/awg23", "cat6/cat6", "Cat6", "known/f-utp"])
def test_what_is_no_id(bad: str) -> None:
    assert not cables.valid(bad)
    assert not cables.known(bad)


def test_screened_is_derived_from_the_construction() -> None:
    of = {c: cables.screened(f"cat6a/{c}") for c in vocabulary.words("cable_construction")}
    assert of.pop("u-utp") == "unscreened"
    assert set(of.values()) == {"screened"}
    assert cables.screened("cat6/screened") == "screened"
    assert cables.screened("cat6") is cables.screened("cat6/construction-contradicted") is None


@given(st.tuples(*(st.sampled_from(["", *sorted(vocabulary.words(f"cable_{p}") - {"unknown"})]) for p in cables.PARTS)))
def test_parts_and_ids_agree(words: tuple[str, ...]) -> None:
    parts = {p: w for p, w in zip(cables.PARTS, words, strict=True) if w}
    assert cables.known(cables.joined(parts)) == parts


@given(st.text(max_size=60))
def test_any_text_gives_a_valid_id(text: str) -> None:
    assert cables.valid(neutral(text))


def test_own_phrases_and_settled_texts(monkeypatch: pytest.MonkeyPatch) -> None:
    own = {
        "rule": [{"part": "construction", "word": "f-ftp", "phrases": ["double_foil"]}],
        "settled": {"Halyard 1200-X": "cat7/s-ftp"},
    }
    monkeypatch.setattr(cable_types, "_own", lambda: own)
    for cached in (cable_types._book, cable_types._settled, cable_types.explained):
        cached.cache_clear()
    try:
        assert neutral("Cat 6A double-foil") == "cat6a/f-ftp"
        assert neutral("Cat 6A doublefoil") == "cat6a/f-ftp"  # an underscore of the user's is a blank like any other
        assert neutral("HALYARD 1200 X") == "cat7/s-ftp"
        for bad, code in (
            ({"rule": [{"part": "class"}]}, "cable-types.incomplete-rule"),
            ({"rule": [{"part": "class", "word": "cat9", "phrases": ["x"]}]}, "cable-types.unknown-type"),
            ({"settled": {"x": "cat9"}}, "cable-types.unknown-type"),
        ):
            own.clear()
            own.update(bad)
            for cached in (cable_types._book, cable_types._settled, cable_types.explained):
                cached.cache_clear()
            with pytest.raises(Trouble) as caught:
                neutral("cat 6")
            assert caught.value.code == code
    finally:
        monkeypatch.undo()
        for cached in (cable_types._book, cable_types._settled, cable_types.explained):
            cached.cache_clear()


def test_the_constructions_are_those_of_annex_e() -> None:
    """XX/YZZ of ISO/IEC 11801-1 Annex E: XX of U, F, S, SF; Y of U, F; ZZ of TP."""
    made = {f"{overall}-{element}tp" for overall in ("u", "f", "s", "sf") for element in ("u", "f")}
    assert vocabulary.words("cable_construction") == made
    assert {neutral(f"Cat 6A {c.replace('-', '/').upper()}") for c in made} == {f"cat6a/{c}" for c in made}


def test_every_phrase_says_what_its_rule_says() -> None:
    rules = [r for r in schemas.load("cable-types.toml")["rule"] if r["part"] in cables.PARTS and not r.get("weak")]
    assert len(rules) > 20
    wrong = [
        (phrase, rule["word"])
        for rule in rules
        for phrase in rule["phrases"]
        if cables.said(neutral(phrase)).get(rule["part"]) != rule["word"]
    ]
    assert wrong == []
