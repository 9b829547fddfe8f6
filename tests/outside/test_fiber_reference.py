"""Every number about optical links that the reference states with letter A or B, row by row, against the library.

Written from the reference and its addenda (its sections are named), not from the files of the library. Letters must not
be better than the reference's. Sources are those of schemas/sources.toml with the O of optical.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.limits import fiber
from archive.limits.fiber import OpticalApplication, OpticalLimit

# 1.2: edition, fiber, nm, dB/km, letter
COEFFICIENTS = [
    ("tia-568-b.1", "om1", 850, 3.5, "A"),
    ("tia-568-b.1", "om1", 1300, 1.5, "A"),
    ("tia-568-b.1", "om2", 850, 3.5, "A"),
    ("tia-568-b.1", "om2", 1300, 1.5, "A"),
    ("tia-568-b.1", "os1", 1310, 1.0, "A"),
    ("tia-568-b.1", "os2", 1310, 0.5, "A"),
    ("tia-568-b.1", "os2", 1550, 0.5, "A"),
    ("iso-11801", "om1", 850, 3.5, "A"),
    ("iso-11801", "om2", 1300, 1.5, "A"),
    ("tia-568.3-d", "om1", 850, 3.5, "B"),
    ("iso-11801-1", "om3", 850, 3.5, "A"),
    ("iso-11801-1", "om4", 850, 3.5, "A"),
    ("iso-11801-1", "om3", 1300, 1.5, "B"),
    ("iso-11801-1", "om4", 1300, 1.5, "B"),
    ("tia-568.3-d", "om3", 850, 3.0, "B"),
    ("tia-568.3-d", "om4", 850, 3.0, "B"),
    ("tia-568-c.3", "om3", 850, 3.5, "B"),
    ("iso-11801-1", "om5", 850, 3.0, "A"),
    ("tia-568.3-d", "om5", 850, 3.0, "B"),
    ("tia-568.3-d", "om5", 1300, 1.5, "B"),
    ("tia-568.3-d", "om5", 953, 2.3, "C"),
    ("iso-11801", "os1", 1310, 1.0, "A"),
    ("iso-11801", "os1", 1550, 1.0, "A"),
    ("en-50173-1-2010", "os1", 1383, 1.0, "A"),
    ("iso-11801-1", "os1a", 1310, 1.0, "A"),
    ("iso-11801-1", "os1a", 1383, 1.0, "A"),
    ("iso-11801-1", "os1a", 1550, 1.0, "A"),
    ("iso-11801-1", "os2", 1310, 0.4, "A"),
    ("iso-11801-1", "os2", 1383, 0.4, "A"),
    ("iso-11801-1", "os2", 1550, 0.4, "A"),
    ("tia-568.3-d", "os1a", 1310, 1.0, "A"),
    ("tia-568.3-d", "indoor-outdoor", 1310, 0.5, "A"),
    ("tia-568.3-d", "os2", 1550, 0.4, "A"),
    # the same rows of 1.2 for the other editions and wavelengths that they name, and 11.9 for the letters
    ("tia-568-b.1", "os1", 1550, 1.0, "A"),
    ("tia-568-c.3", "om1", 850, 3.5, "B"),
    ("tia-568-c.3", "om1", 1300, 1.5, "B"),
    ("tia-568-c.3", "om2", 850, 3.5, "B"),
    ("tia-568-c.3", "om2", 1300, 1.5, "B"),
    ("tia-568-c.3", "om3", 1300, 1.5, "B"),
    ("tia-568-c.3", "om4", 850, 3.5, "B"),
    ("tia-568-c.3", "om4", 1300, 1.5, "B"),
    ("tia-568-c.3", "os1", 1310, 1.0, "B"),
    ("tia-568-c.3", "os1", 1550, 1.0, "B"),
    ("tia-568-c.3", "os2", 1310, 0.5, "B"),
    ("tia-568-c.3", "os2", 1550, 0.5, "B"),
    ("tia-568.3-d", "om1", 1300, 1.5, "B"),
    ("tia-568.3-d", "om2", 850, 3.5, "B"),
    ("tia-568.3-d", "om2", 1300, 1.5, "B"),
    ("tia-568.3-d", "om3", 1300, 1.5, "B"),
    ("tia-568.3-d", "om4", 1300, 1.5, "B"),
    ("tia-568.3-d", "os1a", 1383, 1.0, "A"),
    ("tia-568.3-d", "os1a", 1550, 1.0, "A"),
    ("tia-568.3-d", "os2", 1310, 0.4, "A"),
    ("tia-568.3-d", "os2", 1383, 0.4, "A"),
    ("tia-568.3-d", "indoor-outdoor", 1383, 0.5, "A"),
    ("tia-568.3-d", "indoor-outdoor", 1550, 0.5, "A"),
    ("iso-11801", "om1", 1300, 1.5, "A"),
    ("iso-11801", "om2", 850, 3.5, "A"),
    ("iso-11801", "om3", 850, 3.5, "B"),
    ("iso-11801", "om3", 1300, 1.5, "B"),
    ("iso-11801", "om4", 850, 3.5, "B"),
    ("iso-11801", "om4", 1300, 1.5, "B"),
    ("iso-11801", "os2", 1310, 0.4, "A"),
    ("iso-11801", "os2", 1383, 0.4, "A"),
    ("iso-11801", "os2", 1550, 0.4, "A"),
    ("iso-11801-1", "om1", 850, 3.5, "B"),
    ("iso-11801-1", "om1", 1300, 1.5, "B"),
    ("iso-11801-1", "om2", 850, 3.5, "B"),
    ("iso-11801-1", "om2", 1300, 1.5, "B"),
    ("iso-11801-1", "om5", 1300, 1.5, "B"),
    ("iso-11801-1", "os1", 1310, 1.0, "B"),
    ("iso-11801-1", "os1", 1550, 1.0, "B"),
    ("en-50173-1-2010", "om1", 850, 3.5, "B"),
    ("en-50173-1-2010", "om1", 1300, 1.5, "B"),
    ("en-50173-1-2010", "om2", 850, 3.5, "B"),
    ("en-50173-1-2010", "om2", 1300, 1.5, "B"),
    ("en-50173-1-2010", "om3", 850, 3.5, "B"),
    ("en-50173-1-2010", "om3", 1300, 1.5, "B"),
    ("en-50173-1-2010", "os1", 1310, 1.0, "A"),
    ("en-50173-1-2010", "os1", 1550, 1.0, "A"),
    ("en-50173-1-2010", "os2", 1310, 0.4, "B"),
    ("en-50173-1-2010", "os2", 1383, 0.4, "B"),
    ("en-50173-1-2010", "os2", 1550, 0.4, "B"),
]

# 2.1, 2.2 with sections 10 and 11: application, fiber, nm, most m, its letter, most dB, its letter
BUDGETS = [
    ("ieee-802.3/100base-fx", "om1", 1300, 2000, "A", 11.0, "A"),
    ("ieee-802.3/100base-fx", "om2", 1300, 2000, "B", 6.0, "B"),
    ("ieee-802.3/1000base-sx", "62.5-160", 850, 220, "A", 2.38, "B"),
    ("ieee-802.3/1000base-sx", "om1", 850, 275, "A", 2.60, "B"),
    ("ieee-802.3/1000base-sx", "50-400", 850, 500, "A", 3.37, "B"),
    ("ieee-802.3/1000base-sx", "om2", 850, 550, "A", 3.56, "A"),
    ("ieee-802.3/1000base-lx", "om2", 1300, 550, "A", 2.35, "C"),
    ("ieee-802.3/1000base-lx", "os2", 1310, 5000, "A", 4.57, "C"),
    ("ieee-802.3/10gbase-sr", "62.5-160", 850, 26, "A", 1.6, "B"),
    ("ieee-802.3/10gbase-sr", "om1", 850, 33, "A", 1.6, "B"),
    ("ieee-802.3/10gbase-sr", "50-400", 850, 66, "A", 1.7, "B"),
    ("ieee-802.3/10gbase-sr", "om2", 850, 82, "A", 1.8, "B"),
    ("ieee-802.3/10gbase-sr", "om3", 850, 300, "A", 2.6, "A"),
    ("ieee-802.3/10gbase-sr", "om4", 850, 400, "A", 2.9, "A"),
    ("ieee-802.3/10gbase-lr", "os2", 1310, 10000, "A", 6.2, "B"),
    ("ieee-802.3/10gbase-er", "os2", 1550, 30000, "A", 10.9, "B"),
    ("ieee-802.3/10gbase-lrm", "om3", 1300, 220, "A", 1.9, "A"),
    ("ieee-802.3/10gbase-lrm", "50-400", 1300, 100, "A", 1.7, "A"),
    ("ieee-802.3/25gbase-sr", "om3", 850, 70, "A", 1.8, "A"),
    ("ieee-802.3/25gbase-sr", "om4", 850, 100, "A", 1.9, "A"),
    ("ieee-802.3/25gbase-sr", "om5", 850, 100, "A", 1.9, "A"),
    ("ieee-802.3/40gbase-sr4", "om3", 850, 100, "A", 1.9, "B"),
    ("ieee-802.3/40gbase-sr4", "om4", 850, 150, "A", 1.5, "A"),
    ("ieee-802.3/40gbase-lr4", "os2", 1310, 10000, "A", 6.7, "A"),
    ("ieee-802.3/40gbase-lr4", "indoor-outdoor", 1310, 8000, "A", 6.7, "A"),
    ("ieee-802.3/40gbase-lr4", "os1a", 1310, 4000, "A", 6.7, "A"),
    ("ieee-802.3/50gbase-sr", "om4", 850, 100, "A", 1.9, "A"),
    ("ieee-802.3/100gbase-sr10", "om3", 850, 100, "B", 1.9, "B"),
    ("ieee-802.3/100gbase-sr10", "om4", 850, 150, "A", 1.5, "A"),
    ("ieee-802.3/100gbase-sr4", "om3", 850, 70, "A", 1.8, "B"),
    ("ieee-802.3/100gbase-sr4", "om5", 850, 100, "A", 1.9, "B"),
    ("ieee-802.3/100gbase-lr4", "os2", 1310, 10000, "B", 6.3, "B"),
    ("ieee-802.3/100gbase-er4", "os2", 1310, 40000, "C", 18.0, "A"),
    ("ieee-802.3/100gbase-dr", "os2", 1310, 500, "B", 3.0, "B"),
    ("ieee-802.3/100gbase-fr1", "os2", 1310, 2000, "A", 4.0, "A"),
    ("ieee-802.3/100gbase-fr1", "indoor-outdoor", 1310, 2000, "A", 4.0, "A"),
    ("ieee-802.3/100gbase-fr1", "os1a", 1310, 1000, "A", 4.0, "A"),
    ("ieee-802.3/200gbase-sr4", "om4", 850, 100, "A", 1.9, "A"),
    ("ieee-802.3/400gbase-sr8", "om3", 850, 70, "A", 1.8, "A"),
    ("ieee-802.3/400gbase-sr8", "om4", 850, 100, "A", 1.9, "A"),
    ("ieee-802.3/400gbase-sr4.2", "om3", 850, 70, "A", 1.7, "A"),
    ("ieee-802.3/400gbase-sr4.2", "om4", 850, 100, "A", 1.8, "A"),
    ("ieee-802.3/400gbase-sr4.2", "om5", 850, 150, "A", 2.0, "A"),
    ("ieee-802.3/400gbase-dr4", "os2", 1310, 500, "A", 3.0, "B"),
    ("ieee-802.3/400gbase-fr4", "os2", 1310, 2000, "A", 4.0, "C"),
    ("ieee-802.3/400gbase-lr8", "os2", 1310, 10000, "A", 6.3, "A"),
    ("ieee-802.3/400gbase-lr8", "indoor-outdoor", 1310, 8000, "A", 6.3, "A"),
    ("ieee-802.3/400gbase-lr8", "os1a", 1310, 4000, "A", 6.3, "A"),
    ("fibre-channel/128gfc", "om4", 850, 85, "A", 1.9, "A"),
    ("fibre-channel/1gfc-lx", "om1", 1300, 550, "A", 5.0, "A"),
    # the other classes that the same rows name: single-mode is any of them, OM2 and better, OM4 and OM5
    ("ieee-802.3/100base-fx", "om3", 1300, 2000, "B", 6.0, "B"),
    ("ieee-802.3/100base-fx", "om4", 1300, 2000, "B", 6.0, "B"),
    ("ieee-802.3/100base-fx", "om5", 1300, 2000, "B", 6.0, "B"),
    ("ieee-802.3/1000base-lx", "om1", 1300, 550, "A", 2.35, "C"),
    ("ieee-802.3/1000base-lx", "os1", 1310, 5000, "A", 4.57, "C"),
    ("ieee-802.3/1000base-lx", "os1a", 1310, 5000, "A", 4.57, "C"),
    ("ieee-802.3/10gbase-sr", "om5", 850, 400, "B", 2.9, "B"),
    ("ieee-802.3/10gbase-lr", "os1", 1310, 10000, "A", 6.2, "B"),
    ("ieee-802.3/10gbase-lr", "os1a", 1310, 10000, "A", 6.2, "B"),
    ("ieee-802.3/10gbase-er", "os1", 1550, 30000, "A", 10.9, "B"),
    ("ieee-802.3/10gbase-er", "os1a", 1550, 30000, "A", 10.9, "B"),
    ("ieee-802.3/10gbase-lrm", "om1", 1300, 220, "A", 1.9, "A"),
    ("ieee-802.3/10gbase-lrm", "om2", 1300, 220, "A", 1.9, "A"),
    ("ieee-802.3/10gbase-lrm", "62.5-160", 1300, 220, "A", 1.9, "A"),
    ("ieee-802.3/100gbase-sr4", "om4", 850, 100, "A", 1.9, "B"),
    ("ieee-802.3/100gbase-lr4", "os1", 1310, 10000, "B", 6.3, "B"),
    ("ieee-802.3/100gbase-lr4", "os1a", 1310, 10000, "B", 6.3, "B"),
    ("ieee-802.3/100gbase-er4", "os1", 1310, 40000, "C", 18.0, "A"),
    ("ieee-802.3/100gbase-er4", "os1a", 1310, 40000, "C", 18.0, "A"),
    ("ieee-802.3/100gbase-dr", "os1", 1310, 500, "B", 3.0, "B"),
    ("ieee-802.3/100gbase-dr", "os1a", 1310, 500, "B", 3.0, "B"),
    ("ieee-802.3/400gbase-sr8", "om5", 850, 100, "A", 1.9, "A"),
    ("ieee-802.3/400gbase-dr4", "os1", 1310, 500, "A", 3.0, "B"),
    ("ieee-802.3/400gbase-dr4", "os1a", 1310, 500, "A", 3.0, "B"),
    ("ieee-802.3/400gbase-fr4", "os1", 1310, 2000, "A", 4.0, "C"),
    ("ieee-802.3/400gbase-fr4", "os1a", 1310, 2000, "A", 4.0, "C"),
    ("ieee-802.3/400gbase-fr8", "os1", 1310, 2000, "A", 4.0, "C"),
    ("ieee-802.3/400gbase-fr8", "os1a", 1310, 2000, "A", 4.0, "C"),
    ("ieee-802.3/400gbase-fr8", "os2", 1310, 2000, "A", 4.0, "C"),
    ("fibre-channel/4gfc", "om5", 850, 400, "A", 2.95, "A"),
    ("fibre-channel/8gfc", "om5", 850, 190, "A", 2.19, "A"),
    ("fibre-channel/16gfc", "om5", 850, 125, "A", 1.95, "A"),
    ("fibre-channel/32gfc", "om5", 850, 100, "A", 1.86, "A"),
]
# 2.2, all A: rate, then m and dB for OM1, OM2, OM3, OM4; None where there is none
FIBRE_CHANNEL = {
    "1gfc": [(300, 3.00), (500, 3.85), (860, 4.62), None],
    "2gfc": [(150, 2.10), (300, 2.62), (500, 3.31), None],
    "4gfc": [(70, 1.78), (150, 2.06), (380, 2.88), (400, 2.95)],
    "8gfc": [(21, 1.58), (50, 1.68), (150, 2.04), (190, 2.19)],
    "16gfc": [None, (35, 1.63), (100, 1.86), (125, 1.95)],
    "32gfc": [None, (20, 1.57), (70, 1.75), (100, 1.86)],
}


def _limit(limit_id: str) -> OpticalLimit:
    found = fiber.get(limit_id)
    assert isinstance(found, OpticalLimit)
    return found


def _application(name: str) -> OpticalApplication:
    found = fiber.get(name)
    assert isinstance(found, OpticalApplication)
    return found


@pytest.mark.parametrize("row", COEFFICIENTS, ids=lambda r: f"1.2 {r[0]} {r[1]} {r[2]} nm")
def test_coefficient(row: tuple[str, str, int, float, str]) -> None:
    edition, glass, nm, db_km, letter = row
    value, here, sources = _limit(f"{edition}/{glass}/link").coefficients[nm]
    assert value == db_km and here >= letter and sources


@pytest.mark.parametrize("row", BUDGETS, ids=lambda r: f"2.1 {r[0]} {r[1]}")
def test_budget(row: tuple[str, str, int, int, str, float, str]) -> None:
    name, glass, nm, most_m, length_letter, most_db, loss_letter = row
    bounds = _application(name).over(glass)
    assert bounds is not None
    assert (bounds.nm, bounds.most_m, bounds.most_db) == (nm, most_m, most_db)
    assert bounds.length_confidence >= length_letter and bounds.loss_confidence >= loss_letter


@pytest.mark.parametrize("rate", FIBRE_CHANNEL, ids=lambda r: f"2.2 {r}")
def test_fibre_channel(rate: str) -> None:
    for glass, wanted in zip(("om1", "om2", "om3", "om4"), FIBRE_CHANNEL[rate], strict=True):
        bounds = _application(f"fibre-channel/{rate}").over(glass)
        assert (bounds and (bounds.most_m, bounds.most_db)) == wanted


def test_1_3_connection_and_splice_are_the_same_everywhere() -> None:
    editions = {i.split("/")[0] for i in fiber.limit_ids()} - {"tia-568.3-e"}
    assert len(editions) == 6
    for limit_id in (i for i in fiber.limit_ids() if i.split("/")[0] in editions):
        found = _limit(limit_id)
        assert found.connection and found.splice
        assert (found.connection.db, found.splice.db) == (0.75, 0.30)
        assert (found.connection.confidence, found.splice.confidence) == ("A", "A")


def test_1_3_ends_of_reference_grade_are_from_memory_in_iso_and_open_in_tia() -> None:
    om4, os2 = (_limit(f"iso-11801-1/{glass}/link-reference-grade") for glass in ("om4", "os2"))
    assert om4.end and os2.end and (om4.end.db, os2.end.db) == (0.30, 0.50)
    assert {om4.end.confidence, os2.end.confidence} == {"C"}
    assert not _limit("tia-568.3-d/om4/link-reference-grade").established


@pytest.mark.parametrize(
    ("limit_id", "nm", "metres", "connections", "splices", "db"),
    [
        ("iso-11801-1/om3/link", 850, 300, 2, 0, 2.55),  # W7
        ("tia-568.3-d/om3/link", 850, 300, 2, 0, 2.40),  # W7
        ("iso-11801-1/os2/link", 1310, 2000, 2, 4, 3.50),  # W8
        ("iso-11801-1/os2/link", 1550, 10000, 2, 4, 6.70),  # W9
    ],
    ids=["W7 ISO", "W7 TIA", "W8", "W9"],
)
def test_1_8_worked_examples(
    limit_id: str, nm: float, metres: float, connections: int, splices: int, db: float
) -> None:
    found = _limit(limit_id).loss(nm, metres, connections, splices, "one-cord")
    assert not isinstance(found, str) and found.db == pytest.approx(db, abs=1e-12)


def test_1_8_w5_and_w6_published_checks_of_budgets() -> None:
    """100GBASE-FR1: 3.0 dB of connections and 2 km at 0.5 dB/km are its 4.0 dB (O5). 40GBASE-LR4: 10 km at 0.4 dB/km
    and 2.0 dB lie within its 6.7 dB (O6)."""
    fr1, lr4 = _application("ieee-802.3/100gbase-fr1"), _application("ieee-802.3/40gbase-lr4")
    between, inside, outside = fr1.over("indoor-outdoor"), fr1.over("os1a"), lr4.over("os2")
    assert between and inside and outside
    km = _limit("tia-568.3-d/indoor-outdoor/link").coefficients[1310][0]
    assert between.most_db == pytest.approx(3.0 + km * between.most_m / 1000)
    assert inside.most_db == pytest.approx(3.0 + 1.0 * inside.most_m / 1000)
    assert 2.0 + _limit("tia-568.3-d/os2/link").coefficients[1310][0] * 10 <= outside.most_db


def test_1_4_reference_methods_leave_two_one_none_and_two_end_connections() -> None:
    methods = ("one-cord", "two-cord", "three-cord", "three-cord-enhanced")
    found = [fiber.reference(method) for method in methods]
    assert [r.ends for r in found if r] == [2, 1, 0, 2]
    assert [r.confidence for r in found if r] == ["B", "B", "B", "A"]


def test_what_is_missing_in_the_reference_is_not_invented() -> None:
    """11.10: single-mode Fibre Channel, 1625 nm, 1000BASE-SX and -LX on OM3 and later."""
    assert not [i for i in fiber.application_ids() if i.startswith("fibre-channel/") and _application(i).over("os2")]
    assert isinstance(_limit("iso-11801-1/os2/link").loss(1625, 1000, 2, 0, "one-cord"), str)
    for name in ("1000base-sx", "1000base-lx"):
        assert _application(f"ieee-802.3/{name}").over("om3") is None


@pytest.mark.parametrize(
    ("glass", "rows"),
    [
        ("om1", [(850, "overfilled", 200, "A"), (1300, "overfilled", 500, "A")]),
        ("om2", [(850, "overfilled", 500, "A"), (1300, "overfilled", 500, "A")]),
        ("om3", [(850, "laser", 2000, "A"), (850, "overfilled", 1500, "B"), (1300, "overfilled", 500, "B")]),
        ("om4", [(850, "laser", 4700, "A"), (850, "overfilled", 3500, "A"), (1300, "overfilled", 500, "A")]),
        (
            "om5",
            [
                (850, "laser", 4700, "A"),
                (850, "overfilled", 3500, "B"),
                (953, "laser", 2470, "A"),
                (1300, "overfilled", 500, "B"),
            ],
        ),
    ],
)
def test_1_2_least_modal_bandwidth(glass: str, rows: list[tuple[float, str, float, str]]) -> None:
    """1.2, last row: O1 for OM1 and OM2, O12 and O13 for lasers, O14 for OM4 overfilled, O43 for 953 nm; what a class
    has only from another ('OM5 as OM4'), and 500 at 1300 nm of OM3, is B."""
    assert [(b.nm, b.launch, b.mhz_km, b.confidence) for b in fiber.bandwidths(glass)] == rows


def test_an_application_says_on_which_modal_bandwidth_its_length_rests() -> None:
    """850 nm takes the laser's, 910 nm of 400GBASE-SR4.2 that of 953 nm where there is one; single-mode has none."""
    assert [b.mhz_km for b in (fiber.needed("om4", 850), fiber.needed("om5", 910), fiber.needed("om1", 850)) if b] == [
        4700, 2470, 200,
    ]  # fmt: skip
    assert fiber.needed("os2", 1310) is None and fiber.bandwidths("os2") == ()


def test_every_source_is_listed() -> None:
    from archive import schemas

    known = schemas.load("sources.toml")
    for limit_id in fiber.limit_ids():
        assert set(_limit(limit_id).sources) <= set(known), limit_id
    rows = [row for i in fiber.application_ids() for row in _application(i).table.rows]
    assert len(rows) > 60
    assert {s for row in rows for s in row[6]} <= set(known)
    classes = ("om1", "om2", "om3", "om4", "om5")
    assert {s for name in classes for b in fiber.bandwidths(name) for s in b.sources} <= set(known)


@pytest.mark.parametrize(
    ("name", "spans", "connection", "splice", "joints", "more", "total"),
    [
        # O30: 1 km at 1.75 and 1 km at 3 dB/km, a connector of 0.6, a splice of 0.3, 2.2 dB where 62.5 meets 50 um
        ("W1", [(1000, 1.75), (1000, 3.0)], 0.6, 0.3, (1, 1), 2.2, 7.85),
        # O31: budget 13 dB, margin 7 dB; 0.5 dB for higher-order modes
        ("W2", [(2000, 1.0)], 0.5, 0.5, (5, 2), 0.5, 13.0 - 7.0),
        # O31: budget 13 dB, margin 5.5 dB
        ("W3", [(8000, 0.5)], 0.5, 0.1, (7, 0), 0.0, 13.0 - 5.5),
    ],
    ids=["W1", "W2", "W3"],
)
def test_1_8_worked_examples_with_coefficients_of_their_own(
    name: str,
    spans: list[tuple[float, float]],
    connection: float,
    splice: float,
    joints: tuple[int, int],
    more: float,
    total: float,
    tmp_path: Path,
) -> None:
    """The published sums, by limits of a user's own; what their formula does not know is added as they add it."""
    found = more
    for number, (metres, db_km) in enumerate(spans):
        path = tmp_path / f"{name}-{number}.toml"
        head = f'id = "{name.lower()}"\ntitle = "{name}"\nby = "published"\nfiber = "om2"\n'
        path.write_text(f"{head}connection = {connection}\nsplice = {splice}\ncoefficients = {{ 1300 = {db_km} }}\n")
        limit = fiber.load_own(path)
        assert isinstance(limit, OpticalLimit)
        ends = joints if number == 0 else (0, 0)
        loss = limit.loss(1300, metres, *ends, "one-cord")
        assert not isinstance(loss, str)
        found += loss.db
    assert found == pytest.approx(total, abs=1e-9)
