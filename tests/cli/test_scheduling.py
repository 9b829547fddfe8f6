"""The recipes of schemas/scheduling.md are commands that this program takes. Neither cron nor Windows is run here."""

from __future__ import annotations

import re
import shlex

import click
import pytest

from archive import schemas
from archive.cli import cli

TEXT = (schemas.root() / "scheduling.md").read_text(encoding="utf-8")
TABLE = re.findall(r"`(muniment [a-z][^`]+)`", TEXT)
CRON = re.findall(r"^    \S+ \S+ \S+ \S+ \S+\s+(muniment .*)$", TEXT, re.M)
WINDOWS = re.findall(r'/tr "(muniment [^"]+)"', TEXT)


def test_there_are_recipes_of_each_kind() -> None:
    assert len(TABLE) >= 8
    assert len(CRON) == 6
    assert len(WINDOWS) == 4


@pytest.mark.parametrize("line", [*TABLE, *CRON, *WINDOWS])
def test_a_recipe_is_a_command_with_options_that_it_has(line: str) -> None:
    words = shlex.split(line.split(" || ")[0].replace("\\", "/"))[1:]
    if words == ["fixity"]:
        return  # only named
    command = cli.get_command(click.Context(cli), words[0])
    assert command is not None
    if words[0] != "me":
        command.make_context(words[0], words[1:])  # raises where an option is unknown or a word is lacking
