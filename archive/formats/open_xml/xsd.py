"""Link record XML as an XML Schema 1.0, made from the table definitions."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from archive import schemas, vocabulary
from archive.tables import Column, Table, namespace, tables, version

FILE_NAME = f"link-record-{version()}.xsd"

_PLAIN = {"text": "xs:string", "key": "xs:string", "real": "xs:double", "int": "xs:long", "bool": "xs:boolean"}
_TYPES = {"instant": "instant", "reals": "numbers", "ints": "counts", "texts": "xs:string"}

_HEAD = """\
<?xml version="1.0" encoding="UTF-8"?>
<!-- Made from tables.toml and vocabulary.toml by `muniment schema`; do not edit. -->
<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns="{namespace}" targetNamespace="{namespace}"
           elementFormDefault="qualified" version="{version}{status}">
  <xs:annotation>
    <xs:documentation xml:lang="en">
      Link record XML, version {version}{status}. README.md beside this file explains every field, the lexical form of
      numbers and of text, and the canonical form and digest of a record. What a schema cannot say stands there too:
      NaN and infinity are never legal; a sweep has one value per point of its axis; an axis rises strictly and its id
      is its digest; an axis stands before the records that use it; no document type declaration.
    </xs:documentation>
  </xs:annotation>

  <xs:simpleType name="missing">
    <xs:annotation><xs:documentation xml:lang="en">a missing point</xs:documentation></xs:annotation>
    <xs:restriction base="xs:token"><xs:enumeration value="-"/></xs:restriction>
  </xs:simpleType>
  <xs:simpleType name="point"><xs:union memberTypes="xs:double missing"/></xs:simpleType>
  <xs:simpleType name="points">
    <xs:annotation><xs:documentation xml:lang="en">numbers with white space between, - for a missing one
    </xs:documentation></xs:annotation>
    <xs:list itemType="point"/>
  </xs:simpleType>
  <xs:simpleType name="numbers"><xs:list itemType="xs:double"/></xs:simpleType>
  <xs:simpleType name="counts"><xs:list itemType="xs:long"/></xs:simpleType>
  <xs:simpleType name="names"><xs:list itemType="xs:NMTOKEN"/></xs:simpleType>
  <xs:simpleType name="instant">
    <xs:annotation><xs:documentation xml:lang="en">UTC, to the millisecond</xs:documentation></xs:annotation>
    <xs:restriction base="xs:dateTime">
      <xs:pattern value="[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}T[0-9]{{2}}:[0-9]{{2}}:[0-9]{{2}}\\.[0-9]{{3}}Z"/>
    </xs:restriction>
  </xs:simpleType>
"""

_ROOT = """
  <xs:element name="link-records">
    <xs:annotation><xs:documentation xml:lang="en">the document: records, the rows they share and what was said of
    them, in any order, but an axis before the records that use it</xs:documentation></xs:annotation>
    <xs:complexType>
      <xs:choice minOccurs="0" maxOccurs="unbounded">
{choices}
      </xs:choice>
    </xs:complexType>
  </xs:element>
"""


def xsd() -> str:
    """The schema document as text."""
    state = schemas.load("tables.toml")["schema"]
    status = f" {state['status']}" if state["status"] != "released" else ""
    parts = [_HEAD.format(namespace=namespace(), version=version(), status=status)]
    parts += [_words(name) for name in sorted(_vocabularies())]
    choices = [_choice(t) for t in tables().values() if t.level != "record" or t.name == "records"]
    parts.append(_ROOT.format(choices="\n".join(choices)))
    parts.append(_record())
    parts += [_row(t) for t in tables().values() if t.name != "records"]
    return "\n".join(part.strip("\n") for part in parts) + "\n</xs:schema>\n"


def _vocabularies() -> set[str]:
    return {c.vocabulary for t in tables().values() for c in t.columns if c.vocabulary}


def _words(name: str) -> str:
    lines = [f'  <xs:simpleType name="word-{name}">', '    <xs:restriction base="xs:string">']
    for word in schemas.load("vocabulary.toml")[name]:
        note = _documentation(vocabulary.meaning(name, word))
        lines.append(f"      <xs:enumeration value={quoteattr(word)}>{note}</xs:enumeration>")
    return "\n".join([*lines, "    </xs:restriction>", "  </xs:simpleType>"])


def _choice(table: Table) -> str:
    if table.name == "records":
        return '        <xs:element ref="record"/>'
    return f'        <xs:element name="{table.row}" type="row-{table.row}"/>'


def _record() -> str:
    table = tables()["records"]
    rows = [
        f'        <xs:element name="{t.row}" type="row-{t.row}" minOccurs="0" maxOccurs="unbounded"/>'
        for t in tables().values()
        if t.level == "record" and t.name != "records"
    ]
    inside = ["      <xs:sequence>", *rows, "      </xs:sequence>", *_attributes(table, "      ")]
    head = [f'  <xs:element name="{table.row}">', f"    {_documentation(table.meaning)}", "    <xs:complexType>"]
    return "\n".join([*head, *inside, "    </xs:complexType>", "  </xs:element>"])


def _row(table: Table) -> str:
    head = [f'  <xs:complexType name="row-{table.row}">', f"    {_documentation(table.meaning)}"]
    if not table.content:
        return "\n".join([*head, *_attributes(table, "    "), "  </xs:complexType>"])
    column = table.column(table.content)
    base = "points" if column.kind == "reals" else _type(column)
    note = _documentation(_note(column, "the content: "))
    body = [
        "    <xs:simpleContent>",
        f'      <xs:extension base="{base}">',
        f"        {note}",
        *_attributes(table, "        "),
        "      </xs:extension>",
        "    </xs:simpleContent>",
    ]
    return "\n".join([*head, *body, "  </xs:complexType>"])


def _attributes(table: Table, indent: str) -> list[str]:
    lines = []
    for column in table.columns:
        # The record that surrounds a row says which record it belongs to.
        if column.name == table.content or (
            table.level == "record" and table.name != "records" and column.name == "record_id"
        ):
            continue
        use = "" if column.nullable else ' use="required"'
        lines.append(
            f'{indent}<xs:attribute name="{column.name}" type="{_type(column)}"{use}>'
            f"{_documentation(_note(column))}</xs:attribute>"
        )
    if any(c.kind in ("text", "key") for c in table.columns):
        note = _documentation("names of the columns whose text stands as base64 of its UTF-8")
        lines.append(f'{indent}<xs:attribute name="encoded" type="names">{note}</xs:attribute>')
    if table.content and table.column(table.content).nullable:
        note = _documentation("there where the content is null and not the empty text")
        lines.append(
            f'{indent}<xs:attribute name="null">{note}<xs:simpleType><xs:restriction base="xs:string">'
            f'<xs:enumeration value="{table.content}"/></xs:restriction></xs:simpleType></xs:attribute>'
        )
    return lines


def _type(column: Column) -> str:
    if column.kind == "word":
        return f"word-{column.vocabulary}"
    return _PLAIN.get(column.kind) or _TYPES[column.kind]


def _note(column: Column, before: str = "") -> str:
    unit = f", {column.unit}" if column.unit else ""
    return f"{before}{column.meaning}{unit} ({column.origin})"


def _documentation(text: str) -> str:
    return f'<xs:annotation><xs:documentation xml:lang="en">{escape(text)}</xs:documentation></xs:annotation>'
