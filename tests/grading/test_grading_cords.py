"""A permanent link against a channel or a link segment: cords added by formula, or not graded. Advisory lines warn."""

from __future__ import annotations

import numpy as np
import pytest

from archive import limits
from archive.grading import grade
from archive.limits.cords import for_permanent_link
from tests.grading import making
from tests.grading.making import CAT6A, batch, one, record, verdict

CHANNEL = "tia-568.2-d/cat6a/channel"
SEGMENT = "ieee-802.3/10gbase-t"


def test_a_link_beyond_its_own_limit_is_not_passed_for_a_link_segment():
    """48.2 dB at 500 MHz fails the link's limit by 4.4 dB; the segment allows 49.3, with its cords."""
    part = record(CAT6A, margin=5.0)
    line = limits.get(CAT6A).lines["insertion_loss"]
    f = np.array(part["axes"][0]["frequencies_mhz"])
    making.find(part, "insertion_loss", None, "1-2")["values"] = np.round(1.1 * line.at(f), 1).tolist()
    found = verdict(grade(batch(part), applications=["10gbase-t"]), 1)
    assert (found["limit_id"], found["verdict"], found["parameter"]) == (SEGMENT, "fail", "insertion_loss")
    assert "judged as a permanent link with 10 m of category 6A cords added by formula" in found["reason"]
    shorter = for_permanent_link(limits.get(SEGMENT))
    assert shorter is not None
    row = one(grade(batch(part), SEGMENT), parameter="insertion_loss", pairing="1-2", kind="worst_margin")
    assert row["limit"] == pytest.approx(shorter.lines["insertion_loss"].at(row["frequency_mhz"]).item())


def test_the_length_of_the_cords_can_be_given():
    part = record(CAT6A, margin=0.5)
    margins = [verdict(grade(batch(part), SEGMENT, cords_m=metres))["margin"] for metres in (2.0, 10.0, 20.0)]
    assert margins == sorted(margins, reverse=True) and len(set(margins)) > 1
    assert (
        "with 2 m of category 6A cords added by formula (as given)"
        in verdict(grade(batch(part), SEGMENT, cords_m=2.0))["reason"]
    )


def test_a_good_link_carries_the_application():
    found = verdict(grade(batch(record(CAT6A, margin=5.0)), SEGMENT))
    assert found["verdict"] == "pass" and found["reason"].startswith("judged as a permanent link with 10 m")


def test_a_limit_that_names_no_cords_is_not_graded_against_a_link():
    found = verdict(grade(batch(record(CAT6A)), "ieee-802.3/1000base-t1-a"))
    assert (found["verdict"], found["limit_id"]) == ("not graded", "ieee-802.3/1000base-t1-a")
    assert found["reason"] == (
        "measured without the cords of a link segment, and what they add is not declared for this limit"
    )
    graded = grade(batch(record(CAT6A)), "iso-11801-1/class-f/channel")
    assert verdict(graded)["verdict"] == "not graded" and not graded["grades"].num_rows


def test_the_remark_stands_only_where_configurations_differ():
    """A channel is what a link segment is; only where the record does not tell, that is said."""
    channel = verdict(grade(batch(record(CHANNEL)), SEGMENT))
    assert (channel["verdict"], channel["reason"]) == ("pass", None)
    stricter = verdict(grade(batch(record(CHANNEL, margin=9.0)), CAT6A))
    assert stricter["reason"] == "measured as a channel, the limit is for a permanent link"
    silent = verdict(grade(batch(record(CHANNEL, limit_found="nothing known")), SEGMENT))
    assert silent["reason"] == "the record does not say whether the cords of a link segment were measured"


def test_the_configuration_that_a_record_states_counts_before_its_limit():
    part = record(CAT6A, configuration="channel", margin=8.0)
    assert verdict(grade(batch(part), SEGMENT))["reason"] is None


def test_links_and_channels_of_one_batch_are_judged_each_in_its_way():
    parts = [record(CAT6A, record_id="re-1"), record(CHANNEL, record_id="re-2"), record(CAT6A, record_id="re-3")]
    graded = grade(batch(*parts), [SEGMENT])
    assert graded["verdicts"].column("record_id").to_pylist() == ["re-1", "re-2", "re-3"]
    reasons = graded["verdicts"].column("reason").to_pylist()
    assert [bool(reason) for reason in reasons] == [True, False, True]
    alone = [grade(batch(part), [SEGMENT])["verdicts"].to_pylist()[0] for part in parts]
    assert graded["verdicts"].to_pylist() == alone


@pytest.mark.parametrize("level", [-8.8, -0.5, 5.0])
def test_alien_lines_of_10gbase_t_warn_and_never_fail(level):
    """The criterion is an average over frequency and pairs: a point beyond the line is no failure (S90)."""
    part = record(CHANNEL)
    f = np.array(part["axes"][0]["frequencies_mhz"])
    line = limits.get(SEGMENT).lines["ps_anext"].at(f)
    for end in ("local", "remote"):
        for pair in making.PAIRS:
            values = np.round(line + level, 1)
            part["sweeps"].append(making.sweep(("ps_anext", end, pair), values, part["axes"][0]["axis_id"]))
    graded = grade(batch(part), SEGMENT)
    found = verdict(graded)
    assert found["verdict"] == "pass"
    row = one(graded, parameter="ps_anext", kind="overall")
    if level < 0:
        assert f"warning: PS ANEXT is {-level:.1f} dB beyond an advisory line" in found["reason"]
        assert (row["verdict"], row["reason"]) == (
            "not graded",
            "beyond an advisory line, which warns and does not fail",
        )
    else:
        assert found["reason"] is None and row["verdict"] == "pass"
    assert verdict(grade(batch(part), CHANNEL))["verdict"] == ("fail" if level < 0 else "pass")
