"""Port maps: what they may say, where they are looked for, and every slip that is told."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from archive.errors import Trouble
from archive.formats.recognition import Entry
from archive.formats.touchstone import port_map as maps
from archive.formats.touchstone.record_facts import test_time as columns_of_time
from tests.formats.touchstone_files import pairs_toml

GOOD = 'link = "2-TR2-A117"\n' + pairs_toml(2)


def load(tmp_path: Path, content: str, name: str = "a.s8p", ports: int = 8) -> maps.PortMap:
    path = tmp_path / "map.toml"
    path.write_text(content, encoding="utf-8")
    return maps.read_map(path, name, ports)


def test_pairs_come_in_the_order_of_the_standards(tmp_path: Path) -> None:
    content = 'link = "x"\n[pairs."7-8"]\nlocal = [1, 2]\n[pairs."1-2"]\nlocal = 3\nremote = [4, 5]\n'
    found = load(tmp_path, content)
    assert [(p.name, p.local, p.remote) for p in found.pairs] == [("1-2", (3,), (4, 5)), ("7-8", (1, 2), ())]
    assert found.ports == (1, 2, 3, 4, 5)


def test_an_entry_takes_the_place_of_what_holds_for_the_folder(tmp_path: Path) -> None:
    content = 'link = "{stem}"\ncable = "one"\n' + pairs_toml(2) + '[files."b.s8p"]\ncable = "two"\nlink = "B"\n'
    assert (load(tmp_path, content).link, load(tmp_path, content).facts.cable) == ("a", "one")
    of_b = load(tmp_path, content, "b.s8p")
    assert (of_b.link, of_b.facts.cable) == ("B", "two")
    assert 'files."b.s8p"' in of_b.where


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('link = "2-TR2-A117"', "link = ", "TOML"),
        ('link = "2-TR2-A117"', "", "names no link"),
        ('link = "2-TR2-A117"', 'link = "  "', "names no link"),
        ('link = "2-TR2-A117"', "link = [1]", "value of another kind"),
        ('link = "2-TR2-A117"', 'link = "x"\ntestedby = "y"', "key that nothing reads"),
        ('link = "2-TR2-A117"', 'link = "x"\nlength_m = -3', "value out of range"),
        ('link = "2-TR2-A117"', 'link = "x"\nlength_m = nan', "value out of range"),
        ('link = "2-TR2-A117"', 'link = "x"\nlength_m = "35"', "value of another kind"),
        ('link = "2-TR2-A117"', 'link = "x"\nlength_m = true', "value of another kind"),
        ('link = "2-TR2-A117"', 'link = "x"\nconfiguration = "chanel"', "no such configuration"),
        ('link = "2-TR2-A117"', 'link = "x"\nconnections = 2.5', "value of another kind"),
        ('link = "2-TR2-A117"', 'link = "x"\ntested = 5', "value of another kind"),
        ('link = "2-TR2-A117"', 'link = "x"\nends = "TR2"', "value of another kind"),
        ('link = "2-TR2-A117"', 'link = "x"\nends.near.port = "1"', "key that nothing reads"),
        ('link = "2-TR2-A117"', 'link = "x"\nends.local.door = "1"', "key that nothing reads"),
        ('link = "2-TR2-A117"', 'link = "x"\ninstrument.brand = "1"', "key that nothing reads"),
        ('link = "2-TR2-A117"', 'link = "x"\nignore_ports = [1]', "stands at two places"),
        ('link = "2-TR2-A117"', 'link = "x"\nignore_ports = [99]', "cannot be"),
        ('link = "2-TR2-A117"', 'link = "x"\nignore_ports = "1"', "value of another kind"),
        ('link = "2-TR2-A117"', 'link = "x"\nfiles = 3', "must be tables"),
        ("local = [1, 2]", "local = [1, 9]", "cannot be"),
        ("local = [1, 2]", "local = [0, 1]", "cannot be"),
        ("local = [1, 2]", "local = [1, 2, 3]", "cannot be"),
        ("local = [1, 2]", "local = [1, true]", "value of another kind"),
        ("local = [1, 2]", 'local = "1,2"', "value of another kind"),
        ("local = [1, 2]", "local = []", "cannot be"),
        ("local = [1, 2]", "local = [1, 1]", "stands at two places"),
        ("local = [1, 2]", "local = [1, 3]", "stands at two places"),
        ("local = [1, 2]", "near = [1, 2]", "key that nothing reads"),
        ('"3-6"', '"3-5"', "key that nothing reads"),
        (pairs_toml(2), "", "names no pairs"),
    ],
)
def test_a_slip_is_told_with_its_place(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in GOOD
    with pytest.raises(Trouble) as caught:
        load(tmp_path, GOOD.replace(old, new))
    assert said in caught.value.message
    assert caught.value.where.startswith("map.toml")
    assert caught.value.expected or caught.value.remedy


def test_a_near_miss_of_a_key_names_the_key(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="expected tested_by"):
        load(tmp_path, GOOD.replace("link =", 'testedby = "x"\nlink ='))


def test_where_a_map_is_looked_for(tmp_path: Path) -> None:
    entry = Entry(tmp_path / "a.s4p", "week 2/a.s4p")
    assert maps.find(entry) is None
    (tmp_path / "links.toml").write_text('[files."b.s4p"]\nlink = "b"\n')
    assert maps.find(entry) is None, "a map that names other files does not speak for this one"
    (tmp_path / "links.toml").write_text('[files."a.s4p"]\nlink = "the a"\n')
    assert maps.find(entry) == tmp_path / "links.toml"
    (tmp_path / "port-map.toml").write_text('link = "{stem}"\n' + pairs_toml(1))
    assert maps.find(entry) == tmp_path / "port-map.toml"
    (tmp_path / "a.toml").write_text("")
    assert maps.find(entry) == tmp_path / "port-map.toml", "an empty file says nothing"
    (tmp_path / "a.toml").write_text("link = 3")
    assert maps.find(entry) == tmp_path / "a.toml"


def test_a_damaged_map_of_the_folder_is_told_and_not_passed_over(tmp_path: Path) -> None:
    (tmp_path / "links.toml").write_text("link = \n")
    assert maps.find(Entry(tmp_path / "a.s4p", "a.s4p")) == tmp_path / "links.toml"


def test_an_edited_map_is_read_anew(tmp_path: Path) -> None:
    assert load(tmp_path, GOOD).link == "2-TR2-A117"
    assert load(tmp_path, GOOD.replace("A117", "A1180")).link == "2-TR2-A1180"


def test_a_mapping_of_another_kind_is_no_port_map(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text('[layout]\nname = "rows"\n')
    (tmp_path / "p.toml").write_text(GOOD)
    assert maps.given(tmp_path / "m.toml") is None
    assert maps.given(str(tmp_path / "p.toml")) == tmp_path / "p.toml"
    assert maps.given(None) is None
    assert maps.given(tmp_path / "absent.toml") is None


@pytest.mark.parametrize(
    ("given", "zone", "local", "utc", "offset"),
    [
        ("2019-03-04", "Europe/Lisbon", "2019-03-04", None, None),
        ("2019-03-04T10:15", None, "2019-03-04T10:15", None, None),
        ("2019-03-04 10:15:07", "Europe/Lisbon", "2019-03-04T10:15:07", "2019-03-04T10:15:07", 0),
        ("2019-07-04T10:15:07", "Europe/Lisbon", "2019-07-04T10:15:07", "2019-07-04T09:15:07", 60),
        ("2019-07-04T10:15:07+05:30", "Europe/Lisbon", "2019-07-04T10:15:07", "2019-07-04T04:45:07", 330),
        ("2019-07-04T10:15:07Z", None, "2019-07-04T10:15:07", "2019-07-04T10:15:07", 0),
        (datetime.datetime(2019, 7, 4, 10, 15), "America/New_York", "2019-07-04T10:15:00", "2019-07-04T14:15:00", -240),
        (datetime.date(2019, 7, 4), "Europe/Lisbon", "2019-07-04", None, None),
    ],
)
def test_times(given: object, zone: str | None, local: str, utc: str | None, offset: int | None) -> None:
    """Offsets from the IANA time zone database."""
    columns, doubts = columns_of_time(given, zone, "map.toml")
    assert columns["tested_local"] == local
    found = columns.get("tested_at")
    assert (found.isoformat()[:19] if found else None, columns.get("utc_offset_min")) == (utc, offset)
    assert columns.get("zone_basis") == ("record" if utc else None)
    assert not doubts


@pytest.mark.parametrize(("given", "times"), [("2019-10-27T01:30:00", "twice"), ("2019-03-31T01:30:00", "not at all")])
def test_an_hour_that_clocks_repeat_or_skip_gives_no_utc(given: str, times: str) -> None:
    """Lisbon went back at 02:00 on 27 October 2019 and forward at 01:00 on 31 March 2019 (IANA database)."""
    columns, (doubt,) = columns_of_time(given, "Europe/Lisbon", "map.toml")
    assert "tested_at" not in columns
    assert (doubt["rule"], doubt["expected"]) == ("local-time-not-unique", times)


@pytest.mark.parametrize(
    "given", ["04.03.2019", "2019-13-01", "2019-02-30", "yesterday", "2019-03-04T25:00", "2019-03-04T10:15+99:00"]
)
def test_dates_that_are_none(given: str) -> None:
    with pytest.raises(Trouble, match="no date of a test"):
        columns_of_time(given, None, "map.toml")


@pytest.mark.parametrize("zone", ["Lisbon", "../../etc/passwd", "CET+1", "/etc/localtime"])
def test_zones_that_are_none(zone: str) -> None:
    with pytest.raises(Trouble, match="no such time zone"):
        columns_of_time("2019-03-04", zone, "map.toml")
