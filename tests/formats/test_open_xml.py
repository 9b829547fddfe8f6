"""The gate and the reader of link record XML: what is refused names its line, what is read is bounded."""

from __future__ import annotations

from pathlib import Path

import pytest

import archive.formats
from archive.errors import Trouble
from archive.formats.open_xml.gate import admit
from archive.formats.open_xml.prolog import doctype, root
from archive.formats.recognition import Entry
from archive.tables import Batch, concat
from archive.tables.canonical import record_bytes
from tests.formats import conformance_kit as kit

HEAD = '<link-records xmlns="urn:muniment:link-record:1">\n'
RECORD = '<record record_id="{}" evidence="full-sweep"></record>\n'


def _refusal(tmp_path: Path, text: str) -> str:
    path = tmp_path / "a.xml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Trouble) as caught:
        admit(path, "a.xml")
    return str(caught.value)


@pytest.mark.parametrize("before", [0, 3, 5_000])
def test_a_refusal_names_line_and_path_however_far_down(tmp_path: Path, before: int) -> None:
    records = "".join(RECORD.format(i) for i in range(before))
    bad = '<record record_id="x" evidence="full-sweep">\n\n<reading quantity="size" origin="measured"/>\n</record>\n'
    line = _refusal(tmp_path, f"{HEAD}{records}{bad}{RECORD.format('y')}</link-records>")
    assert f"a.xml, line {before + 4}, /link-records/record[{before + 1}]/reading: " in line
    assert "'size'" in line


def test_beyond_65535_lines_the_path_still_is_exact(tmp_path: Path) -> None:
    """libxml2 keeps line numbers in 16 bits and only finds near ones beyond (its documentation of xmlGetLineNo)."""
    records = "".join(RECORD.format(i) for i in range(70_000))
    line = _refusal(tmp_path, f'{HEAD}{records}<record record_id="x" evidence="all"></record></link-records>')
    assert "/link-records/record[70001]: " in line


def test_several_faults_of_one_record_are_counted(tmp_path: Path) -> None:
    bad = '<record record_id="x" evidence="all"><reading quantity="size" origin="seen"/></record>'
    assert "(and 2 more in this element)" in _refusal(tmp_path, f"{HEAD}{bad}</link-records>")


def test_a_document_cut_off_anywhere_is_refused(tmp_path: Path) -> None:
    """lxml's parser says nothing of a cut document while it validates; the gate must."""
    whole = kit.xml_of(kit.every_table()).encode()
    path = tmp_path / "a.xml"
    last = whole.rindex(b">")
    for end in [*range(0, last, 97), last]:
        path.write_bytes(whole[:end])
        with pytest.raises(Trouble):
            admit(path, "a.xml")
    path.write_bytes(whole[: last + 1])
    admit(path, "a.xml")


@pytest.mark.parametrize(
    "before",
    ["", " \n", "<?xml version='1.0'?>", "<!-- <a> -->", "<?pi <!-- ?><!-- ?> -->", "\ufeff"],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_declaration_of_a_document_type_is_seen_in_any_prolog(before: str, encoding: str) -> None:
    assert doctype(f"{before}<!DOCTYPE a []><a/>".encode(encoding))
    assert not doctype(f"{before}<a><![CDATA[<!DOCTYPE b>]]></a>".encode(encoding))


def test_a_declaration_behind_a_long_comment_is_refused(tmp_path: Path) -> None:
    comment = f"<!-- {'x' * 300_000} -->"
    bomb = '<!DOCTYPE a [<!ENTITY b "c">]>'
    line = _refusal(tmp_path, f"{comment}{bomb}{HEAD}{RECORD.format('&b;')}</link-records>")
    assert "document type declaration" in line


def test_the_root_of_a_short_document() -> None:
    found = root(b"<a/>")
    assert found is not None
    assert (found.namespace, found.name) == ("", "a")
    assert root(b"plain text") is None
    assert root(b"") is None


def test_attributes_of_the_root_and_text_before_the_first_row(tmp_path: Path) -> None:
    assert "attributes that are not allowed" in _refusal(tmp_path, HEAD.replace(">", ' a="b">') + "</link-records>")
    assert "text before the first row" in _refusal(tmp_path, HEAD + "hello" + RECORD.format(1) + "</link-records>")


def test_what_was_set_aside_is_kept_as_text(tmp_path: Path) -> None:
    document = kit.ASIDE["nan-in-a-sweep"][0]
    path = tmp_path / "a.xml"
    path.write_text(document, encoding="utf-8")
    row = concat(archive.formats.read(path))["set_aside"].to_pylist()[0]
    assert 'record_id="re-1"' in row["text"]
    assert "NaN" in row["text"]
    assert row["link_label"] == "A1"
    assert row["place"] == "line 4, /link-records/record[1]"


def test_names_of_people_never_stand_in_a_record() -> None:
    rows = kit.every_table()
    names = [p["name"].encode() for p in rows["people"]]
    assert names
    assert not [n for n in names for r in record_bytes(Batch.from_rows(rows)) if n in r]


def test_shared_rows_come_with_every_batch_that_refers_to_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("archive.formats.open_xml.gather.MOST_RECORDS", 1)
    path = tmp_path / "a.xml"
    archive.formats.write([Batch.from_rows(kit.every_table())], path)
    from archive.formats.open_xml.read_xml import read

    first, second = read(Entry(path, "a.xml"))
    assert first["places"].num_rows == 2, "the place and the place with its former name"
    assert second["places"].num_rows == 0
    assert len(first["axes"]) == 2, "all rows that were read until then"
    assert second["axes"].column("axis_id").to_pylist() == [kit.KM["axis_id"]]


def test_a_batch_that_breaks_a_rule_is_not_written(tmp_path: Path) -> None:
    batch = Batch.from_rows({"records": [{"record_id": "a", "evidence": "a rumour"}]})
    with pytest.raises(ValueError, match="a rumour"):
        archive.formats.write([batch], tmp_path / "a.xml")
    assert list(tmp_path.iterdir()) == []


def test_a_prefix_that_nothing_declares_is_no_bug() -> None:
    found = root(b"<lr:link-records><lr:axis/></lr:link-records>")
    assert found is not None
    assert (found.namespace, found.name) == ("", "lr:link-records")
    found = root(b'<lr:link-records xmlns:lr="urn:x"/>')
    assert found is not None
    assert (found.namespace, found.name) == ("urn:x", "link-records")


def test_a_name_in_letters_that_ascii_lacks_is_explained(tmp_path: Path) -> None:
    assert "'évidence' attribute not allowed" in _refusal(
        tmp_path, f'{HEAD}<record record_id="x" évidence="full-sweep" evidence="full-sweep"/>\n</link-records>'
    )
