"""Which records are of one link: places as far as given, and cables that contradict each other."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from archive.store.identity import Decision, contradiction, sides


def row(number: int, **facts: Any) -> dict[str, Any]:
    """A passing permanent link of category 6A, 40 m long, of no stated place."""
    return {
        "row": number,
        "job_id": "J",
        "building": None,
        "floor": None,
        "space": None,
        "medium": "copper",
        "cable_type": "cat6a/f-utp",
        "length_m": 40.0,
        "configuration": "permanent-link",
        "verdict": "pass",
        "reported_verdict": "pass",
        "tested_local": f"2019-05-{number:02d}",
        "tested_at": None,
        **facts,
    }


def rows_of(found: list[Any]) -> list[tuple[int, ...]]:
    return [s.rows for s in found]


def test_floors_part_two_links_of_one_label() -> None:
    found = sides([row(1, floor="1"), row(2, floor="2"), row(3, floor="1")])
    assert rows_of(found) == [(1, 3), (2,)]
    assert not any(s.doubt for s in found)


def test_a_record_that_gives_less_joins_the_one_candidate() -> None:
    found = sides([row(1, building="A", space="TR2"), row(2)])
    assert rows_of(found) == [(1, 2)]


def test_with_two_candidates_it_is_in_doubt() -> None:
    found = sides([row(1, floor="1"), row(2, floor="2"), row(3)])
    assert rows_of(found) == [(1,), (2,), (3,)]
    assert [bool(s.doubt) for s in found] == [False, False, True]


def test_a_person_settles_where_it_belongs() -> None:
    listed = [row(1, floor="1"), row(2, floor="2"), row(3)]
    assert rows_of(sides(listed, [Decision(2, 3, True)])) == [(1,), (2, 3)]
    apart = sides(listed, [Decision(1, 3, False), Decision(2, 3, False)])
    assert not any(s.doubt for s in apart)


def test_another_category_is_kept_apart_in_doubt_until_somebody_decides() -> None:
    listed = [row(1, cable_type="cat5e/u-utp"), row(2, cable_type="cat6a/u-utp", job_id="K")]
    found = sides(listed)
    assert rows_of(found) == [(1,), (2,)]
    assert all("cat5e and cat6a" in s.doubt for s in found)
    assert rows_of(sides(listed, [Decision(1, 2, True)])) == [(1, 2)]
    apart = sides(listed, [Decision(1, 2, False)])
    assert rows_of(apart) == [(1,), (2,)]
    assert not any(s.doubt for s in apart)


def test_another_length_is_a_contradiction_and_a_repair_explains_one() -> None:
    assert contradiction(row(1), row(2, length_m=61.0))
    assert not contradiction(row(1), row(2, length_m=43.0))
    assert not contradiction(row(1, verdict="fail"), row(2, length_m=61.0))
    assert contradiction(row(1), row(2, length_m=61.0, verdict="fail"))
    assert not contradiction(row(1), row(2, length_m=54.0, configuration="channel"))


def test_what_is_not_known_contradicts_nothing() -> None:
    assert not contradiction(row(1), row(2, cable_type="unknown", length_m=None, medium=None))
    assert not contradiction(row(1), row(2, cable_type="cat6a"))


def test_case_and_blanks_of_a_place_tell_nothing_apart() -> None:
    assert rows_of(sides([row(1, space="TR 2"), row(2, space=" tr  2 ")])) == [(1, 2)]


@given(
    st.lists(
        st.fixed_dictionaries(
            {
                "building": st.sampled_from([None, "A", "B"]),
                "floor": st.sampled_from([None, "1", "2"]),
                "cable_type": st.sampled_from([None, "unknown", "cat6", "cat6a/f-utp", "cat6a/u-utp"]),
                "length_m": st.sampled_from([None, 20.0, 40.0, 80.0]),
                "verdict": st.sampled_from(["pass", "fail", None]),
            }
        ),
        min_size=1,
        max_size=8,
    )
)
def test_each_record_is_of_one_side_and_no_side_contradicts_itself_by_place(facts: list[dict[str, Any]]) -> None:
    listed = [row(n, **f) for n, f in enumerate(facts, 1)]
    found = sides(listed)
    assert sorted(n for s in found for n in s.rows) == [r["row"] for r in listed]
    by_row = {r["row"]: r for r in listed}
    for side in found:
        for name in ("building", "floor"):
            assert len({by_row[n][name] for n in side.rows} - {None}) <= 1
