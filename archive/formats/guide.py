"""schemas/README.md, the guide to every field of the link record, made from the definitions."""

from __future__ import annotations

from pathlib import Path

from archive import schemas, vocabulary
from archive.tables import Column, Table, namespace, tables, version

NAME = "README.md"

_PROSE = Path(__file__).with_name("guide.md")
"""What stands before the tables: the rules, the lexical forms, the forms, the digest."""

_KINDS = {
    "text": "text",
    "key": "key",
    "real": "number",
    "int": "whole number",
    "bool": "true or false",
    "instant": "instant",
    "reals": "list of numbers",
    "ints": "list of whole numbers",
    "texts": "list of texts",
}

_LEVELS = {
    "shared": "shared: rows that records refer to, each written once",
    "record": "of the record: its rows stand inside it",
    "statement": "statement: what the program said",
}


def text() -> str:
    """The guide as Markdown."""
    state = schemas.load("tables.toml")["schema"]
    words = sorted({c.vocabulary for t in tables().values() for c in t.columns if c.vocabulary})
    draft = (
        "\n**This version is a draft.** It may still change until the first release; from then on its writer is frozen "
        "and every later version reads it.\n"
        if state["status"] != "released"
        else ""
    )
    body = _PROSE.read_text(encoding="utf-8").replace("@NAMESPACE@", namespace()).replace("@VERSION@", str(version()))
    parts = [body.replace("@DRAFT@", draft).replace("@TABLES@", _overview())]
    parts += [_table(t) for t in tables().values()]
    parts.append("## The words\n")
    parts += [_words(name) for name in words]
    parts.append(_counts())
    return "\n".join(part.strip("\n") + "\n" for part in parts)


def _overview() -> str:
    lines = ["| table | rows | element | level |", "|---|---|---|---|"]
    for t in tables().values():
        lines.append(f"| [`{t.name}`](#{t.name}) | {_cell(t.meaning)} | `{t.row}` | {t.level} |")
    return "\n".join(lines)


def _table(table: Table) -> str:
    content = f" `{table.content}` is its content, every other column an attribute." if table.content else ""
    lines = [
        f"### {table.name}",
        "",
        f"{table.meaning} Element `{table.row}`; {_LEVELS[table.level]}.{content}",
        "",
        "| column | type | unit | null | origin | meaning | example |",
        "|---|---|---|---|---|---|---|",
    ]
    for c in table.columns:
        null = "may be" if c.nullable else "never"
        example = f"`{_cell(c.example)}`" if c.example else ""
        lines.append(f"| `{c.name}` | {_kind(c)} | {c.unit} | {null} | {c.origin} | {_cell(c.meaning)} | {example} |")
    return "\n".join(lines)


def _kind(column: Column) -> str:
    if column.kind == "word":
        return f"[{column.vocabulary}](#{column.vocabulary})"
    return _KINDS[column.kind]


def _words(name: str) -> str:
    if name == "parameter":
        return _parameters()
    lines = [f"### {name}", "", "| word | meaning |", "|---|---|"]
    for word in schemas.load("vocabulary.toml")[name]:
        lines.append(f"| `{word}` | {_cell(vocabulary.meaning(name, word))} |")
    return "\n".join(lines)


def _parameters() -> str:
    lines = [
        "### parameter",
        "",
        "`per` says what a subject or pairing names: a pair, a combination of two pairs (the lower first), an ordered "
        "combination (the first disturbs, the second is disturbed), a conductor, a fibre, or the link.",
        "",
        "| word | name | unit | its limit is a | per | at both ends |",
        "|---|---|---|---|---|---|",
    ]
    for p in vocabulary.parameters().values():
        sense = {"max": "maximum", "min": "minimum"}.get(p.sense, p.sense)
        lines.append(f"| `{p.id}` | {p.name} | {p.unit} | {sense} | {p.per} | {'yes' if p.ends else 'no'} |")
    return "\n".join(lines)


def _counts() -> str:
    """What each count of links means, and which of them add up."""
    declared = schemas.load("counts.toml")
    lines = [
        "## The counts",
        "",
        "A link is one label at one place, whatever limits it was tested to. Every document and answer takes its "
        "counts from one place, so that they agree.",
        "",
        "| count | meaning |",
        "|---|---|",
        *(f"| `{name}` | {_cell(meaning)} |" for name, meaning in declared["counts"].items()),
        "",
        *(f"* {' + '.join(s['left'])} = {' + '.join(s['right'])}" for s in declared["sums"].values()),
        "",
        " ".join(declared["judged"]["text"].split()),
    ]
    return "\n".join(lines)


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
