"""Guards of the limits room: each of these once held by nothing but luck."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from archive import limits
from archive.errors import Trouble
from archive.limits import editions, file_tables, find
from archive.limits.build import build
from archive.structs import convert

LINE: dict[str, Any] = {"range_mhz": [1, 100], "formula": "40", "confidence": "A", "source": ["S1"]}


def _limit(**table: Any) -> limits.Limit:
    return build("x/cat6/channel", "x", table, where="x.toml")


def _own(folder: Path, text: str) -> limits.Limit:
    path = folder / "own.toml"
    path.write_text(f'id = "a"\ntitle = "t"\nby = "b"\n{text}', encoding="utf-8")
    return limits.get(str(path))


def test_the_confidence_of_a_limit_counts_its_numbers() -> None:
    number = {"value": 50, "confidence": "C", "source": ["M1"]}
    assert _limit(lines={"next": LINE}).confidence == "A"
    assert _limit(lines={"next": LINE}, scalars={"delay_skew": number}).confidence == "C"
    assert _limit(scalars={"delay_skew": number}).confidence == "C"
    for role in ("where measured", "advisory", "information"):
        assert _limit(lines={"next": LINE}, scalars={"delay_skew": {**number, "role": role}}).confidence == "A"
        assert _limit(lines={"next": LINE, "ps_next": {**LINE, "confidence": "C", "role": role}}).confidence == "A"


def test_sources_of_a_line_count_its_cap_floor_and_rules_each_once() -> None:
    line = {
        **LINE,
        "cap": {"value": 60, "confidence": "A", "source": ["S2", "S1"]},
        "floor": {"value": 3, "confidence": "A", "source": ["S3"]},
        "informational": {"il_below": 3, "confidence": "A", "source": ["S4"]},
    }
    number = {"value": 50, "confidence": "C", "source": ["S5", "S4"]}
    assert _limit(lines={"next": line}).lines["next"].sources == ("S1", "S2", "S3", "S4")
    assert _limit(lines={"next": line}, scalars={"delay_skew": number}).sources == ("S1", "S2", "S3", "S4", "S5")


def test_the_range_of_a_limit_is_that_of_what_a_pass_needs() -> None:
    wider = {**LINE, "range_mhz": [0.1, 2000]}
    assert _limit(lines={"next": LINE}).range_mhz == (1, 100)
    for role in ("information", "where measured", "advisory"):
        assert _limit(lines={"next": LINE, "tcl": {**wider, "role": role}}).range_mhz == (1, 100)
    assert _limit(lines={"next": LINE, "tcl": wider}).range_mhz == (0.1, 2000)
    assert _limit(scalars={"delay_skew": {"value": 1, "confidence": "A", "source": []}}).range_mhz is None


def test_a_confidence_carried_by_like_to_another_edition_is_b_at_most() -> None:
    carried, model = limits.get("tia-568-a-5/cat5e/channel"), limits.get("tia-568-b/cat5e/channel")
    assert model.lines["next"].confidence == "A" and carried.lines["next"].confidence == "B"
    cap = carried.lines["next"].cap
    assert cap is not None and cap.confidence == "B"
    assert {p.confidence for part in (carried.lines, carried.scalars) for p in part.values()} <= {"B", "C"}  # type: ignore[attr-defined]


def test_within_an_edition_like_carries_the_confidence_as_it_is() -> None:
    two, three = (limits.get(f"iso-11801/class-ea/permanent-link-{n}") for n in (2, 3))
    assert two.lines["acr_n"].segments[0].confidence == three.lines["acr_n"].segments[0].confidence == "A"
    assert limits.get("ieee-802.3/poe-type-4").note == limits.get("ieee-802.3/poe-type-3").note


def test_an_own_limit_like_another_has_b_at_most_and_keeps_what_it_states(tmp_path: Path) -> None:
    own = _own(tmp_path, 'like = "tia-568-b/cat5e/channel"\n[lines.return_loss]\nformula = "12"\n')
    assert own.lines["next"].confidence == "B" and own.lines["return_loss"].confidence == "A"
    doubtful = _own(tmp_path, 'like = "tia-568-b/cat5e/channel"\nconfidence_at_most = "C"\n')
    assert {line.confidence for line in doubtful.lines.values()} == {"C"}
    assert own.same_as == "" and own.document == "t"


def test_what_an_own_limit_says_of_its_confidence_stays(tmp_path: Path) -> None:
    text = "[lines.next]\nrange_mhz = [1, 2]\nformula = '40'\nconfidence = 'C'\nsource = ['S1']\n"
    text += "cap = { value = 60 }\n[scalars]\ndelay_skew = { value = 40, confidence = 'B' }\n"
    own = _own(tmp_path, text)
    line = own.lines["next"]
    assert (line.segments[0].confidence, line.segments[0].sources) == ("C", ("S1",))
    assert line.cap is not None and (line.cap.confidence, line.cap.sources) == ("A", ("own",))
    assert (own.scalars["delay_skew"].confidence, own.scalars["delay_skew"].sources) == ("B", ("own",))


@pytest.mark.parametrize(
    ("sources", "quoted_by", "left"),
    [
        (["S1"], {"S1"}, "A"),
        (["S1"], {"S1", "S2"}, "A"),
        (["S1", "S2"], {"S1"}, "B"),  # a part of what it rests on speaks of the other edition only
        (["S2"], {"S1"}, "B"),
        ([], {"S1"}, "B"),
        ([], set(), "B"),
    ],
)
def test_a_confidence_stays_only_where_all_its_sources_quote_the_edition(
    sources: list[str], quoted_by: set[str], left: str
) -> None:
    table = {"lines": {"next": {"confidence": "A", "source": sources}}, "document": "d", "same_as": "s", "note": "n"}
    carried = editions.carried(table, "B", frozenset(quoted_by))
    assert carried == {"lines": {"next": {"confidence": left, "source": sources}}, "note": "n"}
    assert table["lines"]["next"]["confidence"] == "A"  # type: ignore[index]


def test_an_edition_does_not_have_what_it_is_without() -> None:
    assert {i for i in limits.ids() if i.startswith("tsb-95/")} == {"tsb-95/cat5/channel", "tsb-95/cat5/basic-link"}
    assert "length" not in limits.get("ieee-802.3/100base-tx").scalars
    assert "resistance_unbalance_between_pairs" not in limits.get("iso-11801-1/class-a/channel").scalars
    assert "resistance_unbalance_between_pairs" in limits.get("iso-11801-1/class-c/channel").scalars


def test_what_an_edition_states_is_no_longer_open() -> None:
    assert "return_loss" in limits.get("tsb-95/cat5/channel").lines
    assert "return_loss" not in limits.get("tsb-95/cat5/channel").open
    assert "elfext" in limits.get("tsb-95/cat5/basic-link").open


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ({"pieces": [{"from": 0, "to": 10, "formula": "1"}]}, "pieces[0].from: a value out of range; found 0"),
        ({"pieces": [{"from": 10, "to": 5, "formula": "1"}]}, "a piece that runs backwards; found 10 to 5 MHz"),
        (
            {"pieces": [{"from": 1, "to": 10, "formula": "1"}, {"from": 9, "to": 20, "formula": "1"}]},
            "a piece that runs backwards; found 9 to 20 MHz",
        ),
        ({"breakpoints": [[1, 2], [1, 3]], "between_points": "straight over f"}, "frequencies do not rise"),
        ({"breakpoints": [[1, 2], [2, 3]]}, "between_points does not say"),
        ({"points": [[2, 1], [1, 1]]}, "frequencies do not rise"),
        ({"range_mhz": [1, 10], "formula": "1", "cap": {"value": True, "confidence": "A"}}, "found true or false"),
        ({"range_mhz": [10, 1], "formula": "1"}, "a range that runs backwards: 10 to 1 MHz"),
        ({"range_mhz": [1, 10]}, "a line without a formula"),
        ({"range_mhz": [1, 10], "formula": "n"}, "a formula names something unknown; found 'n'"),
        ({"range_mhz": [1, 10], "formula": "1", "confidence": None}, "expected A, B, C"),
    ],
)
def test_a_line_that_cannot_be(line: dict[str, Any], message: str) -> None:
    stated = {"confidence": "A", "source": ["S1"], **line}
    for piece in stated.get("pieces", []):
        piece.setdefault("confidence", "A")
    with pytest.raises(Trouble) as raised:
        _limit(lines={"next": {k: v for k, v in stated.items() if v is not None or k != "confidence"}})
    if line.get("confidence", "A") is None:
        assert "a confidence is missing; expected A, B or C" in str(raised.value)
    else:
        assert message in str(raised.value), str(raised.value)


def test_pieces_may_touch_and_a_single_frequency_is_a_piece() -> None:
    piece = {"confidence": "A", "source": ["S1"]}
    pieces = [
        {"from": 1, "to": 10, "formula": "1", **piece},
        {"from": 10, "to": 20, "formula": "2", **piece},
        {"from": 20, "to": 20, "formula": "3", **piece},
    ]
    line = _limit(lines={"next": {"pieces": pieces}}).lines["next"]
    assert line.at([1, 9.9, 10, 19.9, 20]).tolist() == [1, 1, 2, 2, 3]
    pieces[0]["closed"] = True
    line = _limit(lines={"next": {"pieces": pieces}}).lines["next"]
    assert line.at([9.9, 10, np.nextafter(10, 11), 20]).tolist() == [1, 1, 2, 3]
    gap = _limit(lines={"next": {"pieces": [pieces[0], {**pieces[1], "from": 15}]}}).lines["next"]
    assert np.isnan(gap.at(12)) and gap.at(15) == 2


@pytest.mark.parametrize(
    ("tolerance", "confidence"), [({"tolerance_percent": 10}, None), ({"tolerance_confidence": "C"}, "C")]
)
def test_a_tolerance_has_a_confidence(tolerance: dict[str, Any], confidence: str | None) -> None:
    with pytest.raises(Trouble, match="go together"):
        _limit(scalars={"length": {"value": 90, "confidence": "A", **tolerance}})


def test_a_tolerance_that_a_user_states_is_his(tmp_path: Path) -> None:
    own = _own(tmp_path, "[scalars]\nlength = { value = 80, tolerance_percent = 5 }\n")
    assert own.scalars["length"].tolerance_confidence == "A"


@pytest.mark.parametrize(
    "kind",
    [
        file_tables.Steps,
        file_tables.Bound,
        file_tables.Alternative,
        file_tables.ExemptionTable,
        file_tables.SegmentTable,
        file_tables.LineTable,
        file_tables.ScalarTable,
        file_tables.LimitTable,
        file_tables.WholeLimit,
        file_tables.EditionHead,
        file_tables.EditionFile,
        file_tables.CordEffect,
        file_tables.Cords,
        file_tables.OwnLimitFile,
        file_tables.ConfirmationFile,
    ],
)
def test_a_key_that_nothing_reads_is_refused_in_every_table(kind: Any) -> None:
    with pytest.raises(Trouble, match=r"a key that nothing reads; found frmula|a key is missing"):
        convert({"frmula": 1}, kind, "x", code="x")
    assert kind.__struct_config__.forbid_unknown_fields


# Words: what may be meant.


@pytest.mark.parametrize("words", ["TIA-568.2-D category 6 cable", "TIA-568.2-D Cat 6 connecting hardware"])
def test_a_link_is_never_tested_to_a_cable_or_to_hardware(words: str) -> None:
    found = find(words)
    assert found.limit_id is None and found.candidates
    assert not [c for c in found.candidates if c.endswith(("/cable", "/connecting-hardware"))]


def test_every_year_that_is_named_has_to_fit() -> None:
    assert find("ISO/IEC 11801:2002 class E channel").limit_id == "iso-11801/class-e/channel"
    both = find("ISO/IEC 11801:2002 2017 class E channel")
    assert both.limit_id is None and "no edition" in both.reason


@pytest.mark.parametrize(("tested", "too_early"), [("2017-10-31", True), ("2017-11-01", False), ("2017-11", False)])
def test_an_edition_may_be_meant_from_the_month_in_which_it_came_out(tested: str, too_early: bool) -> None:
    found = find("ISO/IEC 11801-1 class E channel", tested)
    assert found.limit_id == "iso-11801-1/class-e/channel"  # the words name it; a clock may have been reset
    assert bool(found.remarks) == too_early


@pytest.mark.parametrize(("tested", "edition"), [("2017-10-31", "en-50173-1-2007"), ("2018-11-01", "en-50173-1")])
def test_without_a_year_the_latest_edition_of_the_day_is_meant(tested: str, edition: str) -> None:
    assert find("EN 50173-1 class E channel", tested).limit_id == f"{edition}/class-e/channel"


def test_how_the_edition_was_found_is_said() -> None:
    assert find("EN 50173-1:2018 class E channel").reason == "named by the words"
    latest = find("EN 50173-1 class E channel", "2018-11-01").reason
    assert latest == "no year is named: the latest edition is meant, EN 50173-1:2018"


def test_two_documents_with_editions_of_their_own_leave_the_edition_open() -> None:
    found = find("ISO/IEC 11801-1, EN 50173-1 class E channel")
    assert found.limit_id is None
    assert {"iso-11801-1/class-e/channel", "en-50173-1/class-e/channel"} <= set(found.candidates)
