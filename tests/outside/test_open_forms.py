"""The open forms against programs that nobody here wrote.

lxml's Canonical XML and the one of Python's standard library, lxml's XSD validator against xmlschema's, the csvw
library (W3C CSV on the Web), Python's csv module, DuckDB and pandas.
"""

from __future__ import annotations

import csv
import hashlib
import io
import tempfile
import warnings
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from lxml import etree

import archive.formats
from archive import schemas
from archive.formats.open_csv import METADATA
from archive.formats.open_xml.explain import judge, reasons
from archive.formats.open_xml.gate import schema
from archive.formats.open_xml.xsd import FILE_NAME
from archive.tables import Batch, tables
from archive.tables.canonical import record_bytes, record_digests
from archive.tables.tokens import uncell
from tests.formats import conformance_kit as kit
from tests.strategies import batches

SOME = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
NAMESPACE = "{urn:muniment:link-record:1}"


def _xml(batch: Batch) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        archive.formats.write([batch], Path(folder) / "a.xml")
        return (Path(folder) / "a.xml").read_bytes()


# Canonical XML


@SOME
@given(batches())
def test_libxml2_canonicalises_a_record_to_our_bytes(batch: Batch) -> None:
    """W3C Canonical XML 1.0, of the record as a document subset."""
    records = etree.fromstring(_xml(batch)).findall(f"{NAMESPACE}record")
    assert [etree.tostring(r, method="c14n", with_tail=False) for r in records] == record_bytes(batch)


@SOME
@given(batches())
def test_the_standard_library_canonicalises_a_record_to_our_bytes(batch: Batch) -> None:
    """Another implementation (Python's, Canonical XML 2.0, which differs from 1.0 in nothing that a record holds)."""
    for canonical in record_bytes(batch):
        assert ElementTree.canonicalize(canonical.decode()).encode() == canonical


def test_a_digest_can_be_had_with_no_program_of_ours() -> None:
    """As schemas/README.md says: cut the bytes out of the document and digest them."""
    for name, make in kit.GOOD.items():
        document = (kit.KIT / "good" / f"{name}.xml").read_bytes()
        cut = [b"<record " + part.split(b"</record>")[0] + b"</record>" for part in document.split(b"\n<record ")[1:]]
        digests = [f"link-record-1:{hashlib.sha256(c).hexdigest()}" for c in cut]
        assert digests == record_digests(Batch.from_rows(make()))


def test_an_independent_parser_sees_the_same_cells() -> None:
    """expat, by way of ElementTree, over the document with every odd text."""
    root = ElementTree.parse(kit.KIT / "good" / "texts.xml").getroot()
    import base64

    found = []
    for extra in root.iter(f"{NAMESPACE}extra"):
        text = None if extra.get("null") else (extra.text or "")
        if text is not None and "value" in extra.get("encoded", "").split():
            text = base64.b64decode(text).decode()
        found.append(text)
    assert found == [row["value"] for row in kit.texts()["extras"]]


# The XML Schema, by two validators


def _verdicts(document: bytes) -> tuple[bool, bool]:
    """What lxml and what xmlschema say."""
    root = etree.fromstring(document, etree.XMLParser(resolve_entities=False, no_network=True))
    return bool(schema().validate(root)), bool(judge().is_valid(root))


def test_both_validators_accept_the_schema() -> None:
    path = schemas.root() / FILE_NAME
    assert etree.XMLSchema(etree.parse(str(path))) is not None
    assert judge().target_namespace == NAMESPACE.strip("{}")
    # The schema is an instance of the W3C schema for schemas, which xmlschema carries.
    import xmlschema

    assert xmlschema.XMLSchema10.meta_schema.is_valid(str(path))


KNOWN = {
    "aside/exponent-without-digits.xml": (
        True,
        False,
        "libxml2 takes 1e for a double; XML Schema 1.0 part 2, 3.2.5.1 asks for digits. The reader sets such a record "
        "aside, so nothing wrong comes in.",
    ),
}
"""Where lxml and xmlschema differ on the kit: lxml, xmlschema, and who is right."""


def test_both_validators_agree_on_the_kit() -> None:
    differ = {}
    checked = 0
    for path in sorted(kit.KIT.rglob("*.xml")):
        try:
            found = _verdicts(path.read_bytes())
        except etree.XMLSyntaxError:
            continue  # not XML, or not whole: no matter of the schema
        checked += 1
        name = path.relative_to(kit.KIT).as_posix()
        if found[0] != found[1]:
            differ[name] = found
        if name.startswith(("good/", "aside/")):
            assert found[0], name
    assert checked > 40
    assert differ == {name: (a, b) for name, (a, b, _) in KNOWN.items()}


def _record(attributes: str = "", inside: str = "") -> bytes:
    return (
        f'<link-records xmlns="{NAMESPACE.strip("{}")}"><record record_id="a" evidence="full-sweep"{attributes}>'
        f"{inside}</record></link-records>"
    ).encode()


def _sweep(attributes: str, content: str) -> bytes:
    return _record("", f'<sweep parameter="next" origin="measured" axis_id="a"{attributes}>{content}</sweep>')


LEXICAL: dict[str, list[str]] = {
    "double": [
        "1",
        "+1",
        " 1 ",
        "1E5",
        ".5",
        "5.",
        ".",
        "",
        "NaN",
        "INF",
        "-INF",
        "+INF",
        "inf",
        "0x1",
        "1_0",
        "1,5",
        "--1",
        "e5",
        "1e5.0",
        "- 1",
        "1e400",
        "-0",
        "00012",
        "1e+05",
        "&#xA;1&#x9;",
        "1e",
        "-1e+",
        "\u00a01",
        "1\u2028",
    ],
    "long": [
        "5",
        "+5",
        " 5 ",
        "-0",
        "1.0",
        "",
        "9223372036854775807",
        "9223372036854775808",
        "-9223372036854775808",
        "-9223372036854775809",
        "0x5",
        "5e0",
        "00005",
        "\u0665",
    ],
    "bool": ["true", "false", "1", "0", "True", "TRUE", " true ", "", "yes"],
    "instant": [
        "2019-03-04T10:15:00.000Z",
        "2019-02-29T10:15:00.000Z",
        "2020-02-29T10:15:00.000Z",
        "0000-01-01T00:00:00.000Z",
        "0001-01-01T00:00:00.000Z",
        "9999-12-31T23:59:59.999Z",
        "2019-03-04T24:00:00.000Z",
        "2019-03-04T24:00:01.000Z",
        "2019-03-04T23:59:60.000Z",
        "2019-13-01T00:00:00.000Z",
        "2019-03-04T10:15:00Z",
        "2019-03-04T10:15:00.000+00:00",
        " 2019-03-04T10:15:00.000Z ",
        "-2019-03-04T10:15:00.000Z",
    ],
    "points": ["", "1 2", " 1\t2\n3 ", "-", "- -", "1 - 2", "--", "1,2", "1 NaN", "1 +2", "-  -", "1\u00a02"],
    "counts": ["", "1", "1 2", " 1  2 ", "-", "1.5", "-1"],
    "word": ["full-sweep", " full-sweep", "Full-sweep", "", "full-sweep "],
    "names": ["comment", "comment link_label", "", " comment ", "1", "a/b", "comment,name", "\u00e9"],
}

LEXICAL_DIFFER: dict[tuple[str, str], tuple[bool, str]] = {
    ("double", "1e"): (True, "libxml2 is wrong; the reader sets the record aside"),
    ("double", "-1e+"): (True, "libxml2 is wrong; the reader sets the record aside"),
    ("double", "\u00a01"): (False, "xmlschema is wrong: only #x20, #x9, #xA and #xD are white space"),
    ("double", "1\u2028"): (False, "xmlschema is wrong, as before"),
    ("points", "1\u00a02"): (False, "xmlschema is wrong, as before"),
    ("long", "\u0665"): (False, "xmlschema is wrong: digits are 0 to 9"),
}
"""Where they differ on single values: what lxml says, and who is right."""


def _document(kind: str, value: str) -> bytes:
    attribute = {"double": "velocity_percent", "long": "connections", "bool": "reported_marginal"}
    attribute |= {"instant": "tested_at", "names": "encoded"}
    if kind in attribute:
        return _record(f' {attribute[kind]}="{value}"')
    if kind == "points":
        return _sweep("", value)
    if kind == "counts":
        return _sweep(f' above="{value}"', "")
    return _record().replace(b'"full-sweep"', f'"{value}"'.encode())


@pytest.mark.parametrize("kind", sorted(LEXICAL))
def test_both_validators_agree_on_single_values(kind: str) -> None:
    for value in LEXICAL[kind]:
        ours, other = _verdicts(_document(kind, value))
        if (kind, value) in LEXICAL_DIFFER:
            assert (ours, other) == (LEXICAL_DIFFER[kind, value][0], not LEXICAL_DIFFER[kind, value][0]), value
        else:
            assert ours == other, (value, ours, other)


@SOME
@given(batches(most_records=2))
def test_both_validators_accept_what_the_writer_writes(batch: Batch) -> None:
    assert _verdicts(_xml(batch)) == (True, True)


@pytest.mark.parametrize("name", ["unknown-word", "unknown-attribute", "missing-attribute", "letters-in-a-sweep"])
def test_what_lxml_rejects_xmlschema_can_explain(name: str) -> None:
    document = (kit.KIT / "refused" / f"{name}.xml").read_bytes()
    assert reasons(document), "a rejection without a reason would leave a person alone"


# CSV on the Web


def _csvw(folder: Path) -> Any:
    import csvw

    return csvw.CSVW(str(folder / METADATA), validate=True)


@settings(SOME, max_examples=8)
@given(batches(most_records=2))
def test_the_csvw_library_finds_generated_tables_valid(batch: Batch) -> None:
    with tempfile.TemporaryDirectory() as folder:
        archive.formats.write([batch], Path(folder) / "a", "csv")
        checked = _csvw(Path(folder) / "a")
        assert checked.is_valid, [str(w.message) for w in checked.warnings]


@pytest.mark.parametrize("name", sorted(kit.GOOD))
def test_the_csvw_library_reads_the_same_cells(tmp_path: Path, name: str) -> None:
    from csvw import TableGroup

    batch = Batch.from_rows(kit.GOOD[name]())
    archive.formats.write([batch], tmp_path / "a", "csv")
    assert _csvw(tmp_path / "a").is_valid
    read = TableGroup.from_file(tmp_path / "a" / METADATA).read()
    for table, definition in tables().items():
        found = [
            {c.name: _ours(c.kind, row[c.name]) for c in definition.columns} for row in read.get(f"{table}.csv", [])
        ]
        expected = [
            {c.name: _theirs(c.kind, row[c.name]) for c in definition.columns} for row in batch[table].to_pylist()
        ]
        assert found == expected


def _ours(kind: str, value: Any) -> Any:
    """A cell as the library gives it: escapes are ours to undo (schemas/README.md, Link record CSV)."""
    if kind in ("text", "key") and value is not None:
        return uncell(value)
    if kind == "texts" and value == ["\\[]"]:
        return []
    return [uncell(v) for v in value] if kind == "texts" else value


def _theirs(kind: str, value: Any) -> Any:
    """A cell of ours as a general reader must see it: a null list is an empty one, so is a list without items null."""
    if kind in ("reals", "ints"):
        return [] if value is None else (value or None)
    return [] if kind == "texts" and value is None else value


@pytest.mark.parametrize(
    ("table", "old", "new"),
    [
        ("records", "full-sweep", "sweep"),
        ("sweeps", "64.2", "64,2"),
        ("sweeps", "64.2", "many"),
        ("sweeps", "\nre-1,", "\nre-9,"),
        ("records", "\nre-2,", "\nre-1,"),
        ("records", "full-sweep", ""),
    ],
)
def test_the_csvw_library_finds_faults(tmp_path: Path, table: str, old: str, new: str) -> None:
    """The metadata says enough for a general validator to find what is wrong."""
    archive.formats.write([Batch.from_rows(kit.one_sweep())], tmp_path / "a", "csv")
    path = tmp_path / "a" / f"{table}.csv"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            valid = _csvw(tmp_path / "a").is_valid
        except ValueError:
            valid = False
    assert not valid


# Other readers of CSV and Parquet


@settings(SOME, max_examples=8)
@given(batches(most_records=2))
def test_pythons_csv_module_sees_the_same_texts(batch: Batch) -> None:
    with tempfile.TemporaryDirectory() as folder:
        archive.formats.write([batch], Path(folder) / "a", "csv")
        for name, definition in tables().items():
            raw = (Path(folder) / "a" / f"{name}.csv").read_bytes().decode()
            rows = list(csv.DictReader(io.StringIO(raw, newline="")))
            assert raw.count("\n") == len(rows) + 1, "every row is one line"
            for column in definition.columns:
                if column.kind in ("text", "key"):
                    found = [None if r[column.name] == "" else uncell(r[column.name]) for r in rows]
                    assert found == batch[name].column(column.name).to_pylist()


def test_duckdb_and_pandas_read_the_tables(tmp_path: Path) -> None:
    import duckdb
    import pandas

    batch = Batch.from_rows(kit.every_table())
    archive.formats.write([batch], tmp_path / "p", "parquet")
    archive.formats.write([batch], tmp_path / "c", "csv")
    curve = batch["sweeps"].column("values").to_pylist()[0]
    found = duckdb.sql(f"select values from '{tmp_path}/p/sweeps.parquet' where record_id = 're-copper'").fetchall()
    assert found == [(curve,)]
    frame = pandas.read_csv(tmp_path / "c" / "sweeps.csv")
    assert [float("nan") if v == "-" else float(v) for v in frame["values"][0].split()] == pytest.approx(
        [float("nan") if v is None else v for v in curve], nan_ok=True, abs=0, rel=0
    )
    assert pandas.read_parquet(tmp_path / "p" / "records.parquet")["link_label"].tolist() == ["2-TR2-A117", "F7"]
