"""After every command that changes something one line says what comes next, with a command that there is.

The table holds the whole list of commands: a new one fails here until it says what comes next, or why nothing does.
"""

from __future__ import annotations

import shlex
from pathlib import Path

import click
import pytest

from archive.answers.known_names import links_named
from archive.cli import cli
from archive.store import open as open_archive
from tests.cli.conftest import JOB, World
from tests.cli.person import Said, typed

LINK = "01-1A-A01"
READS = "changes nothing"
DERIVED = "makes anew what is derived from the archive; nobody has to follow"
PAGE = "names the file that it wrote, which is the end of it"

NEXT: dict[str, tuple[str, str] | str] = {
    "accept": (f"accept A --job {JOB} --reason minutes", "progress"),
    "amend": (f"amend A --job {JOB} --link {LINK} --set floor=9 --reason plan", "history"),
    "attach": (f"attach A letter.txt --job {JOB} --kind letter", "job"),
    "book": (f"book A --job {JOB} --out book --with summary --by R", "verify"),
    "cables": ("cables A --out cables.csv", "cables"),
    "calibrations": ("calibrations A calibrations.csv --by R", "health"),
    "case": (f"case A open C-1 --link {LINK} --complaint slow --by R", "claim"),
    "check": READS,
    "claim": (f"claim A {LINK} --out claim --by R", "verify"),
    "convert": ("convert good.xml --to open.xml", "check"),
    "copies": READS,
    "demo": PAGE,
    "deposit": (f"deposit good.xml --into A --job {JOB}", "progress"),
    "dispose": "asks for a job past its retention and two people: tests of disposal",
    "export": ("export A --to copy", "fixity"),
    "export-data": PAGE,
    "find": READS,
    "fixity": READS,
    "grade": READS,
    "head": "tells the head, which a person takes elsewhere",
    "health": READS,
    "history": READS,
    "hold": (f"hold A --job {JOB} --reason letter --by R", "hold"),
    "identity": READS,
    "inbox": ("inbox uploads --into A --rest 0 --by R", "progress"),
    "init": ("init another", "me"),
    "job": (f"job A {JOB} --set client=Quay --by R", "progress"),
    "keys": ("keys make A --by R", "keys"),
    "limits confirm": "tested with worksheets: tests/limits/test_fiber_command.py",
    "limits list": READS,
    "limits plot": PAGE,
    "limits show": READS,
    "limits worksheet": ("limits worksheet tia-568.2-d/cat6a/channel -o sheet.csv", "limits"),
    "mapping confirm": ("mapping confirm A heron.toml --by R", "deposit"),
    "mapping draft": "says what is to be looked at, and asks",
    "mapping list": READS,
    "mapping take-off": ("mapping take-off A heron --by R", "mapping"),
    "mapping try": READS,
    "me": ('me "R. Ostrander"', "me"),
    "merge": ("merge A other --by R", "identity"),
    "progress": READS,
    "promote": ("promote copy --by R --reason disk", "fixity"),
    "prove": ("prove A RECORD --out proof.json", "verify"),
    "rates": READS,
    "ready": READS,
    "recall": READS,
    "receipt": "shows the receipt again, with its next step",
    "redact": ("redact A --file ORIGINALS --by R --dry-run", ""),
    "regrade": ("regrade A --against tia-568.2-d/cat6/channel --by R", "rates"),
    "reindex": DERIVED,
    "repair": ("repair A --from copy", "fixity"),
    "reread": "prints a receipt, as deposit does: tests/answers/test_shelf.py",
    "room": READS,
    "rules list": READS,
    "rules show": READS,
    "schema": PAGE,
    "setaside": (f'setaside A --job {JOB} --keep "*" --reason notes --by R', "progress"),
    "sql": READS,
    "stamp": ("stamp A --request request.tsq", "stamp"),
    "survey": READS,
    "verify": READS,
    "void": "asks for a torn entry: tests/store",
    "withdraw": ("withdraw A --record RECORD --reason double --by R", "history"),
    "witness": "works for another machine, and says what it saw",
}
"""What is typed and the command that comes next; or why none does. Typed in an order that works."""

_ORDER = ("mapping take-off", "withdraw", "merge", "export", "repair", "promote")
"""Typed last, in this order: they take something away, or need a copy of what the others left."""


@pytest.fixture
def desk(world: World, monkeypatch: pytest.MonkeyPatch) -> World:
    from tests.answers.test_shelf import MAPPING

    monkeypatch.setenv("MUNIMENT_CACHE", str(world.root / "cache-of-next"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(world.root / "config-of-next"))
    monkeypatch.chdir(world.root)
    world.archive.rename(world.root / "A")
    (world.root / "letter.txt").write_text("Dear Sir or Madam\n")
    (world.root / "heron.toml").write_text(MAPPING, encoding="utf-8")
    (world.root / "calibrations.csv").write_text("serial,calibrated_on,valid_until\n40-1,2019-01-02,2020-01-02\n")
    (world.root / "uploads" / JOB).mkdir(parents=True)
    (world.root / "uploads" / JOB / "good.xml").write_bytes(world.good.read_bytes())
    typed("init", "other", "--yes")
    return world


def all_commands(group: click.Group = cli, before: str = "") -> list[str]:
    """Every command with those of groups, as a person types them."""
    context = click.Context(group)
    found = []
    for name in group.list_commands(context):
        one = group.get_command(context, name)
        assert one is not None
        found += all_commands(one, f"{before}{name} ") if isinstance(one, click.Group) else [before + name]
    return found


def test_the_table_holds_the_whole_list_of_commands() -> None:
    assert sorted(NEXT) == sorted(all_commands())


def test_each_says_in_one_line_what_comes_next(desk: World) -> None:
    opened = open_archive(Path("A"))
    opened.catch_up()
    record = next(iter(opened.db.execute("SELECT record_id FROM records WHERE current ORDER BY row")))[0]
    assert links_named(opened, [record]) == [(LINK, JOB)]
    originals = next(Path("A").glob("deposits/*/*/data/originals*")).relative_to("A").as_posix()
    for name in [*(n for n, row in NEXT.items() if not isinstance(row, str) and n not in _ORDER), *_ORDER]:
        row = NEXT[name]
        assert not isinstance(row, str)
        said = typed(*shlex.split(row[0].replace("RECORD", record).replace("ORIGINALS", originals)))
        _one_line(name, said, row[1])
        assert all(len(line) <= 80 for line in said.out.splitlines() if "sha" not in line.lower()), (name, said.out)


def _one_line(name: str, said: Said, wanted: str) -> None:
    lines = [line for line in said.out.splitlines() if line.startswith("next: ")]
    assert said.code in (0, 1) and len(lines) == 1, (name, said)
    words = shlex.split(lines[0].removeprefix("next: "))
    if wanted:
        assert words[:2] == ["muniment", wanted], (name, lines)
        _can_be_typed(words[1:])


def _can_be_typed(words: list[str]) -> None:
    """That the command is there, and takes the options that are named."""
    command: click.Command | None = cli
    rest = list(words)
    while isinstance(command, click.Group):
        command = command.get_command(click.Context(command), rest.pop(0))
    assert command is not None, words
    known = {option for parameter in command.params for option in parameter.opts}
    assert [w for w in rest if w.startswith("--") and w not in known] == [], words


def test_quiet_says_nothing_of_it(desk: World) -> None:
    assert "next:" not in typed("job", "A", JOB, "--set", "client=Quay", "--by", "R", "-q").out
