"""The list of all texts that documents print, for whoever translates them: schemas/messages/muniment.pot.

    python -m archive.answers.messages      rebuilds it

A translation is a gettext .po file of it: schemas/messages/LANGUAGE.po, or a file given with --words.
"""

from __future__ import annotations

import ast
import io
import sys
from collections.abc import Iterator
from pathlib import Path

from archive import schemas, vocabulary
from archive.answers.cautions import cautions
from archive.vocabulary import told_phrases
from archive.vocabulary.role_reasons import REASONS

POT = Path("messages") / "muniment.pot"
_CALLED = frozenset({"words", "w", "self"})
"""Names under which code calls a Wording."""
_SPEAKERS = frozenset({"asked", "self"})
"""Names of what has one, as `words`."""
_VOCABULARIES = (
    "direction",
    "document_kind",
    "end",
    "evidence",
    "launch_condition",
    "reference_method",
    "reported_verdict",
    "severity",
    "trace_event_kind",
    "verdict",
    "wiremap_fault",
)


def texts() -> dict[str, list[str]]:
    """Every text in alphabetical order, with where it stands: files inside the repository."""
    found: dict[str, set[str]] = {}
    for text, place in (*_of_code(), *_of_templates(), *_of_schemas()):
        found.setdefault(text, set()).add(place)
    return {text: sorted(found[text]) for text in sorted(found)}


def catalogue() -> bytes:
    """The .pot file. The same texts give the same bytes."""
    from babel.messages.catalog import Catalog
    from babel.messages.pofile import write_po

    made = Catalog(project="Muniment", charset="utf-8", header_comment="# Texts of the documents that Muniment writes.")
    for text, places in texts().items():
        made.add(text, locations=[(place, 0) for place in places])
    out = io.BytesIO()
    write_po(out, made, omit_header=True, width=120, sort_output=True, include_lineno=False)
    head = (
        b"# Texts of the documents that Muniment writes. Words in braces are filled in and must stand in the\n"
        b'# translation too. Made by python -m archive.answers.messages.\nmsgid ""\nmsgstr ""\n'
        b'"Content-Type: text/plain; charset=utf-8\\n"\n"Content-Transfer-Encoding: 8bit\\n"\n\n'
    )
    return head + out.getvalue()


def _of_code() -> Iterator[tuple[str, str]]:
    archive = Path(__file__).parents[1]
    for path in sorted([*(archive / "answers").rglob("*.py"), *(archive / "room").rglob("*.py")]):
        place = path.relative_to(archive.parent).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            yield from ((text, place) for text in _literals(node))


def _of_templates() -> Iterator[tuple[str, str]]:
    """Texts of w("...") and w.counted(n, "...", "...") in the pages of the room."""
    from jinja2 import Environment, nodes

    archive = Path(__file__).parents[1]
    for path in sorted((archive / "room" / "templates").glob("*.html")):
        place = path.relative_to(archive.parent).as_posix()
        for call in Environment().parse(path.read_text(encoding="utf-8")).find_all(nodes.Call):
            name = getattr(call.node, "name", getattr(call.node, "attr", ""))
            given = {"w": call.args[:1], "counted": call.args[1:3]}.get(name, [])
            yield from ((a.value, place) for a in given if isinstance(a, nodes.Const) and isinstance(a.value, str))


def _literals(node: ast.AST) -> Iterator[str]:
    """Texts of words("...") and asked.words("..."), of words.counted(n, "...", "..."), and of
    [words(h) for h in ("...", "...")]."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "counted":
        for text in node.args[1:3]:
            yield from _strings(text)
    if isinstance(node, ast.Call) and _is_wording(node.func) and node.args:
        yield from _strings(node.args[0])
    if isinstance(node, ast.ListComp) and isinstance(node.elt, ast.Call):
        called = node.elt.func
        if isinstance(called, ast.Name) and called.id in _CALLED:
            yield from _strings(node.generators[0].iter)


def _is_wording(called: ast.AST) -> bool:
    """Whether a Wording is called: words(...), w(...), asked.words(...)."""
    if isinstance(called, ast.Attribute):
        return called.attr == "words" and isinstance(called.value, ast.Name) and called.value.id in _SPEAKERS
    return isinstance(called, ast.Name) and called.id in _CALLED


def _strings(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.strip():
        yield node.value
    if isinstance(node, ast.Tuple):
        for element in node.elts:
            yield from _strings(element)
    if isinstance(node, ast.IfExp):
        yield from _strings(node.body)
        yield from _strings(node.orelse)


def _of_schemas() -> Iterator[tuple[str, str]]:
    for name in _VOCABULARIES:
        for word in sorted(vocabulary.words(name)):
            yield word.replace("-", " "), "schemas/vocabulary.toml"
    for parameter in vocabulary.parameters().values():
        yield parameter.name, "schemas/vocabulary.toml"
    for text in REASONS.values():
        yield text, "archive/vocabulary/role_reasons.py"
    for text in told_phrases.texts():
        yield text, "schemas/told.toml"
    for text in cautions(()):
        yield text, "schemas/cautions.toml"
    for text in schemas.load("cautions.toml")["optical"]["texts"]:
        yield text, "schemas/cautions.toml"
    for texts in schemas.load("causes.toml")["causes"].values():
        for text in texts.values():
            yield text, "schemas/causes.toml"
    for path in sorted((schemas.root() / "rules").glob("*.toml")):
        place = f"schemas/rules/{path.name}"
        for name, rule in sorted(schemas.load(f"rules/{path.name}").get("rules", {}).items()):
            yield from ((text, place) for text in (name.replace("-", " "), rule["message"], rule["remedy"]))


def untranslated(path: Path) -> list[str]:
    """Texts that a translation does not have."""
    from babel.messages.pofile import read_po

    with path.open("rb") as file:
        there = {str(m.id) for m in read_po(file) if m.id and m.string}
    return [text for text in texts() if text not in there]


def main() -> None:
    """Writes the file, and says what the translations beside it lack."""
    path = schemas.root() / POT
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(catalogue())
    for translation in sorted(path.parent.glob("*.po")):
        for text in untranslated(translation):
            sys.stdout.write(f"{translation.name} lacks: {text}\n")


if __name__ == "__main__":
    main()
