"""Which limit: the one a record names, others that somebody asks for, applications, limits of one's own."""

import numpy as np
import pytest

from archive import limits
from archive.errors import Trouble
from archive.grading import grade, load_accuracy
from archive.tables import Batch
from tests.grading.making import CAT5, CAT6A, CLASS_EA_LINK, batch, grades, grid, record, verdict


def test_words_of_an_export_are_resolved():
    part = record(CAT6A)
    part["records"][0]["limit_found"] = "TIA-568.2-D Cat 6A Permanent Link"
    found = verdict(grade(batch(part)))
    assert (found["limit_id"], found["verdict"]) == (CAT6A, "pass")
    assert found["limit_found"] == "TIA-568.2-D Cat 6A Permanent Link"


@pytest.mark.parametrize("words", [None, "", "Harbour special 4711"])
def test_an_unknown_limit_is_never_guessed(words):
    part = record(CAT6A)
    part["records"][0]["limit_found"] = words
    graded = grade(batch(part))
    found = verdict(graded)
    assert (found["verdict"], found["limit_id"]) == ("not graded", None)
    assert found["reason"].startswith("limit unknown: ")
    assert graded["grades"].num_rows == 0


def test_an_ambiguous_limit_lists_its_candidates():
    part = record("iso-11801-1/class-ea/permanent-link-2")
    part["records"][0]["limit_found"] = "iso-11801-1/class-ea/permanent-link"
    found = verdict(grade(batch(part)))
    assert found["limit_id"] is None
    for candidate in ("iso-11801-1/class-ea/permanent-link-2", "iso-11801-1/class-ea/permanent-link-3"):
        assert candidate in found["reason"]


def test_what_the_record_says_apart_from_the_limit_decides_between_candidates():
    part = record("iso-11801-1/class-ea/permanent-link-2")
    part["records"][0].update(
        limit_found="iso-11801-1/class-ea/permanent-link", configuration="permanent-link", connections=2
    )
    assert verdict(grade(batch(part)))["limit_id"] == "iso-11801-1/class-ea/permanent-link-2"


def test_a_limit_that_is_not_established_gives_no_verdict():
    part = record(CAT6A)
    part["records"][0]["limit_found"] = "tia-568.2-d/cat8/channel"
    found = verdict(grade(batch(part)))
    assert (found["verdict"], found["reason"]) == ("not graded", "limit not established")


def test_would_this_category_6_link_have_been_a_6a():
    part = record("tia-568.2-d/cat6/permanent-link", margin=12)
    found = verdict(grade(batch(part), CAT6A))
    assert (found["verdict"], found["limit_id"]) == ("not graded", CAT6A)
    assert found["reason"] == "covers 1-250 of 1-500 MHz"
    assert found["margin"] is not None
    bad = record("tia-568.2-d/cat6/permanent-link", margin=-2)
    assert verdict(grade(batch(bad), CAT6A))["verdict"] == "fail"


def test_several_limits_at_once_keep_the_order_of_records_and_of_asking():
    parts = [record(CAT6A, record_id="re-1"), record(CAT6A, record_id="re-2")]
    graded = grade(batch(*parts), [CAT6A, CAT5], applications=["10gbase-t"])
    rows = [(r["record_id"], r["limit_id"]) for r in graded["verdicts"].to_pylist()]
    wanted = [CAT6A, CAT5, "ieee-802.3/10gbase-t"]
    assert rows == [(record_id, limit) for record_id in ("re-1", "re-2") for limit in wanted]
    seen = list(dict.fromkeys((r["record_id"], r["limit_id"]) for r in graded["grades"].to_pylist()))
    assert seen == rows


def test_an_application_is_graded_besides_the_records_own_limit():
    rows = grade(batch(record(CAT6A)), applications=["ieee-802.3/1000base-t"])["verdicts"].to_pylist()
    assert [r["limit_id"] for r in rows] == [CAT6A, "ieee-802.3/1000base-t"]
    judged = "judged as a permanent link with 10 m of category 5e cords added by formula (the standard's allowance)"
    assert (rows[1]["verdict"], rows[1]["reason"]) == ("pass", judged)


def test_an_application_of_two_pairs_looks_at_two_pairs():
    part = record(CAT5)
    part["sweeps"] = [r for r in part["sweeps"] if set(r["pairing"].split("/")) <= {"1-2", "3-6"}]
    graded = grade(batch(part), applications=["100base-tx"])
    assert [r["verdict"] for r in graded["verdicts"].to_pylist()] == ["not graded", "pass"]
    whole = record(CAT5)
    for row in whole["sweeps"]:
        if "7-8" in row["pairing"] and row["parameter"] == "next":
            row["values"] = [1.0] * len(row["values"])
    graded = grade(batch(whole), applications=["100base-tx"])
    assert [r["verdict"] for r in graded["verdicts"].to_pylist()] == ["fail", "pass"]
    pairings = {r["pairing"] for r in grades(graded, limit_id="ieee-802.3/100base-tx") if r["pairing"]}
    assert pairings == {"1-2", "3-6", "1-2/3-6"}


def test_a_wrong_id_is_trouble_that_names_what_is_near():
    with pytest.raises(Trouble) as trouble:
        grade(batch(record(CAT6A)), "tia-568.2-d/cat6a/chanel")
    assert "tia-568.2-d/cat6a/channel" in str(trouble.value)
    with pytest.raises(Trouble):
        grade(Batch({}), applications=["1tbase-x"])


def own(tmp_path, text):
    path = tmp_path / "harbour.toml"
    path.write_text(text, encoding="utf-8")
    return limits.load_own(path)


def test_a_limit_of_ones_own(tmp_path):
    text = f'id = "harbour"\ntitle = "Harbour office, clause 3.2"\nby = "A. Person"\nlike = "{CAT6A}"\n'
    limit = own(tmp_path, text + '[lines.next]\npieces = [{ to = 500, formula = "80" }]\n')
    part = record(CAT6A)
    found = verdict(grade(batch(part), limit.id, user_limits=[limit]))
    assert (found["verdict"], found["limit_id"], found["parameter"]) == ("fail", limit.id, "next")
    assert not found["provisional"]
    part["records"][0]["limit_found"] = "Harbour office, clause 3.2"
    assert verdict(grade(batch(part), user_limits=[limit]))["limit_id"] == limit.id
    with pytest.raises(Trouble):
        grade(batch(part), user_limits=[limit, limit])


def test_a_limit_of_ones_own_may_be_asked_for_by_its_file(tmp_path):
    path = tmp_path / "Harbour.toml"
    path.write_text(f'id = "harbour"\ntitle = "H"\nby = "A. Person"\nlike = "{CAT5}"\n', encoding="utf-8")
    found = verdict(grade(batch(record(CAT5)), str(path)))
    assert (found["verdict"], found["limit_id"]) == ("pass", "own/harbour")


def test_what_a_person_confirmed_is_no_longer_provisional_and_the_verdict_says_who(tmp_path, monkeypatch):
    from archive.limits import confirm

    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")
    part = record(CLASS_EA_LINK)
    before = verdict(grade(batch(part)))
    assert before["provisional"] and before["confirmed_by"] is None
    limit = limits.get(CLASS_EA_LINK)
    unsure = [name for name, line in limit.lines.items() if line.confidence == "C"]
    unsure += [name for name, scalar in limit.scalars.items() if scalar.confidence == "C"]
    path = tmp_path / "confirmed.toml"
    path.write_text(
        f'limit = "{CLASS_EA_LINK}"\nby = "A. Person"\non = 2026-11-20\ndocument = "the standard, tables 58 to 65"\n'
        f"confirms = {sorted(set(unsure))}\n",
        encoding="utf-8",
    )
    confirm.confirm(CLASS_EA_LINK, path)
    after = verdict(grade(batch(part)))
    assert (after["verdict"], after["provisional"]) == ("pass", False)
    assert "A. Person" in after["confirmed_by"] and "2026-11-20" in after["confirmed_by"]
    assert after["margin"] == before["margin"]


def accuracy(tmp_path, text):
    path = tmp_path / "accuracy.toml"
    path.write_text(text, encoding="utf-8")
    return load_accuracy(path)


def test_marginal_results_where_an_accuracy_is_known(tmp_path):
    known = accuracy(
        tmp_path,
        'source = "certificate of unit 40-00317"\n[accuracy]\n'
        "return_loss = { at_mhz = [1, 500], is = [0.5, 3.0] }\nnext = 1.0\ninsertion_loss = 0.1\n",
    )
    for margin, marginal in ((5.0, False), (0.4, True)):
        found = verdict(grade(batch(record(CAT6A, margin=margin)), accuracy=known))
        assert (found["verdict"], found["marginal"]) == ("pass", marginal)
        assert found["marginal_basis"] == "accuracy by accuracy.toml: certificate of unit 40-00317"
    assert verdict(grade(batch(record(CAT6A, margin=0.4))))["marginal"] is None
    near_miss = record(CAT6A, margin=5.0)
    row = near_miss["sweeps"][4]
    assert row["parameter"] == "return_loss"
    bar = limits.get(CAT6A).lines["return_loss"].at(np.array(grid()[-1:]))
    row["values"][-1] = float(bar[0]) - 1
    found = verdict(grade(batch(near_miss), accuracy=known))
    assert (found["verdict"], found["marginal"]) == ("fail", True)
    row["values"][-1] -= 5
    assert verdict(grade(batch(near_miss), accuracy=known))["marginal"] is False


@pytest.mark.parametrize(
    "text",
    [
        "[accuracy]\nnext = 1",
        'source = "x"\n[accuracy]\nnxt = 1',
        'source = "x"\n[accuracy]\nnext = "much"',
        'source = "x"\n[accuracy]\nnext = { at_mhz = [500, 1], is = [1, 2] }',
        'source = "x"\n[accuracy]\nnext = { at_mhz = [1], is = [1, 2] }',
        'source = "x"\n[accuracy]\nnext = -1',
        "not toml at all",
    ],
)
def test_a_bad_accuracy_file_is_told_in_one_line(tmp_path, text):
    with pytest.raises(Trouble) as trouble:
        accuracy(tmp_path, text)
    assert "accuracy.toml" in str(trouble.value) and "\n" not in str(trouble.value)


def test_a_clock_that_was_reset_does_not_hide_an_edition_that_the_words_name():
    part = record(CAT6A, tested_local="2000-01-01T00:00:00")
    part["records"][0]["limit_found"] = "TIA-568.2-D Cat 6A Permanent Link"
    found = verdict(grade(batch(part)))
    assert (found["limit_id"], found["verdict"]) == (CAT6A, "pass")
    assert "568.2 d came out after the date of the test" in found["reason"]
    part["records"][0]["limit_found"] = "Cat 6A Permanent Link"
    assert verdict(grade(batch(part)))["limit_id"] is None


def test_glass_is_offered_no_limits_of_copper():
    words = "TIA-568.3 fiber permanent link"
    part = {"records": [{"record_id": "re-1", "medium": "fiber", "limit_found": words, "evidence": "verdict-only"}]}
    reason = verdict(grade(batch(part)))["reason"]
    assert "tia-568.3-d/om4/link" in reason and "cat6" not in reason
    part["records"][0]["medium"] = "copper"
    assert "cat6" in verdict(grade(batch(part)))["reason"]
