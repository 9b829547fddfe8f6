"""check-link-record.pyz, run as a stranger runs it: an isolated Python, none of our packages on its path.

The documents and what a reader must make of each: fixtures/conformance/expected.toml.
"""

from __future__ import annotations

import ast
import hashlib
import io
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from lxml import etree

from archive.formats import declared, one_file_validator
from tests.formats import conformance_kit as kit

EXPECTED = tomllib.loads((kit.KIT / "expected.toml").read_text(encoding="utf-8"))
DOCUMENTS = sorted(name for name in EXPECTED if name.endswith(".xml"))
OTHERWISE = {f"good/one-sweep-{name}.xml" for name in kit.written_otherwise()}
BASE = kit.xml_of(kit.one_sweep())


@pytest.fixture(scope="module")
def validator(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stranger")
    declared.copy([one_file_validator.NAME], folder)
    return folder / one_file_validator.NAME


def _run(validator: Path, *words: str, bare: bool = False) -> tuple[int, list[str]]:
    """bare: without site packages, so without lxml, and without programs, so without xmllint."""
    command = [sys.executable, "-I", *(["-S"] if bare else []), validator.name, *words]
    run = subprocess.run(
        command,
        cwd=validator.parent,
        env={"PATH": ""} if bare else None,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert run.stderr == ""
    return run.returncode, run.stdout.splitlines()


def _of(lines: list[str], name: str) -> list[str]:
    found = [line for line in lines if line.startswith((f"{name}:", f"{name},"))]
    assert found, name
    return found


def _digests(lines: list[str]) -> list[str]:
    return [line.rpartition(" ")[2] for line in lines if line.rpartition(" ")[2].startswith("link-record-1:")]


def test_every_document_of_the_kit_is_told_as_expected(validator: Path) -> None:
    """In one call: digests of the good ones, records of those with some set aside, refusals."""
    assert len(DOCUMENTS) > 50
    paths = {name: str(kit.KIT / name) for name in DOCUMENTS}
    code, lines = _run(validator, *paths.values())
    assert code == 2
    for name, path in paths.items():
        said, expected = _of(lines, path), EXPECTED[name]
        last = said[-1].removeprefix(f"{path}: ")
        if name.startswith("refused/"):
            assert last.startswith("not a link record"), name
            assert len(said) > 1, name
        elif name.startswith("aside/"):
            assert last.startswith("something to look at"), name
            assert len(_digests(said)) == expected["records"], name
            assert "; found '" in said[0] or "; found '" in said[1], name
        else:
            assert _digests(said) == expected["digests"], name
            assert last.startswith("something to look at" if name in OTHERWISE else "sound"), name
            assert last.endswith("schema checked by lxml"), name


def test_without_a_schema_validator_nothing_is_called_sound(validator: Path) -> None:
    path = str(kit.KIT / "good/every-table.xml")
    code, lines = _run(validator, path, bare=True)
    assert code == 1
    assert any("schema not checked: neither lxml nor xmllint is there" in line for line in lines)
    assert _digests(lines) == EXPECTED["good/every-table.xml"]["digests"]
    assert "something to look at" in lines[-1]


def test_good_documents_end_with_0(validator: Path) -> None:
    good = [str(kit.KIT / name) for name in DOCUMENTS if name.startswith("good/") and name not in OTHERWISE]
    assert len(good) == len(kit.GOOD)
    assert _run(validator, *good)[0] == 0


def _swap(old: str, new: str, text: str = BASE) -> str:
    assert old in text, old
    return text.replace(old, new, 1)


_EVERY = kit.xml_of(kit.every_table())
# What is wrong with a document, the document, the exit status, words of the line that says so.
WRONG = {
    "attributes-out-of-order": (
        _swap('evidence="full-sweep" link_label="A1"', 'link_label="A1" evidence="full-sweep"'),
        1,
        "not in canonical form",
    ),
    "second-namespace-on-a-record": (
        _swap(' evidence="full-sweep"', ' xmlns:x="urn:example:x" evidence="full-sweep"'),
        1,
        "not in canonical form",
    ),
    "second-namespace-on-the-root": (
        _swap("<link-records ", '<link-records xmlns:x="urn:example:x" '),
        1,
        "carries into records; found 'x: urn:example:x'",
    ),
    "element-of-another-namespace": (
        _swap("<sweep ", '<sweep xmlns="urn:example:x" '),
        2,
        "not allowed in record; found 'sweep in urn:example:x'",
    ),
    "comment-in-a-record": (_swap("</record>", "<!-- x --></record>"), 1, "not in canonical form"),
    "number-in-another-form": (_swap("64.2", "64.20"), 1, "found '"),
    "tag-closed-in-itself": (
        _swap("</sweep>\n", '</sweep>\n<extra name="a" null="value"/>\n'),
        1,
        "not in canonical form",
    ),
    "damaged-axis-id": (BASE.replace("fc07e34", "fc07e35"), 1, "is not the digest of its numbers; found 'fc07e35"),
    "wrong-place": (
        _swap('local_place_id="pl-97', 'local_place_id="pl-98', _EVERY),
        1,
        "links.local_place_id names a row that is not in the document",
    ),
    "wrong-instrument": (
        _swap('local_instrument_id="in-62', 'local_instrument_id="in-63', _EVERY),
        1,
        "records.local_instrument_id names a row",
    ),
    "statement-of-no-record": (
        _swap('<verdict limit_id="tia-568.2-d/cat6a/channel" limits_version="2026-11" program="muniment 0.1.0" '
              'provisional="false" record_id="re-copper"',
              '<verdict limit_id="tia-568.2-d/cat6a/channel" limits_version="2026-11" program="muniment 0.1.0" '
              'provisional="false" record_id="re-c"', _EVERY),
        1,
        "verdicts.record_id names a row",
    ),
    "control-characters": (_swap('"A1"', '"A1" colour="&#x9b;31m"'), 2, "colour"),
}  # fmt: skip


@pytest.fixture(scope="module")
def told(validator: Path) -> list[str]:
    for name, (document, _, _) in WRONG.items():
        (validator.parent / f"{name}.xml").write_text(document, encoding="utf-8")
    return _run(validator, *(f"{name}.xml" for name in WRONG))[1]


@pytest.mark.parametrize("name", sorted(WRONG))
def test_what_is_wrong_is_told(told: list[str], name: str) -> None:
    said = _of(told, f"{name}.xml")
    _, code, words = WRONG[name]
    assert any(words in line for line in said), said
    assert ("not a link record" if code == 2 else "something to look at") in said[-1]


def test_digests_are_those_of_canonical_xml(validator: Path) -> None:
    """W3C Canonical XML 1.0 by lxml (libxml2) of each record of the file, and SHA-256."""
    path = kit.KIT / "good/texts.xml"
    roots = etree.parse(str(path)).getroot()
    made = []
    for record in roots.findall("{*}record"):
        record.tail = None
        alone = etree.fromstring(etree.tostring(record))
        made.append(f"link-record-1:{hashlib.sha256(etree.tostring(alone, method='c14n')).hexdigest()}")
    assert made
    assert _digests(_run(validator, str(path))[1]) == made


def test_digests_are_held_against_a_list(validator: Path) -> None:
    path, listed = str(kit.KIT / "good/one-sweep.xml"), validator.parent / "digests.txt"
    first, second = EXPECTED["good/one-sweep.xml"]["digests"]
    listed.write_text(f"A1 {first}\nA2 {second}\n", encoding="utf-8")
    assert _run(validator, "--digests", "digests.txt", path)[0] == 0
    damaged = second[:-1] + ("0" if second[-1] != "0" else "1")
    listed.write_text(f"A1 {first}\nA2 {damaged}\n", encoding="utf-8")
    code, lines = _run(validator, "--digests", "digests.txt", path)
    assert code == 1
    assert [line for line in lines if "its digest is not in the list" in line and "record re-2" in line]


def test_what_cannot_be_read_is_not_called_sound(validator: Path) -> None:
    code, lines = _run(validator, "nowhere.xml")
    assert code == 2
    assert lines == ["nowhere.xml: cannot be read: No such file or directory; nothing was checked"]
    assert _run(validator)[0] == 2
    assert _run(validator, "--help")[0] == 0


def test_it_imports_the_standard_library_alone_and_is_the_same_each_time() -> None:
    packed = one_file_validator.packed()
    assert packed == one_file_validator.packed()
    with zipfile.ZipFile(io.BytesIO(packed)) as members:
        names = {n for n in members.namelist() if n.endswith(".py")}
        own = {n.removesuffix(".py") for n in names}
        nodes = [node for n in names for node in ast.walk(ast.parse(members.read(n)))]
    imported = {a.name.split(".")[0] for n in nodes if isinstance(n, ast.Import) for a in n.names}
    imported |= {str(n.module).split(".")[0] for n in nodes if isinstance(n, ast.ImportFrom)}
    assert imported - own - set(sys.stdlib_module_names) == {"lxml"}
