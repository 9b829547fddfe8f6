"""The command line: one thin file per command in archive/cli/commands, loaded only when it is asked for."""

from __future__ import annotations

import importlib
import pkgutil
import sys
from pathlib import Path

import click

from archive.errors import Trouble
from archive.version import __version__

_COMMANDS = Path(__file__).parent / "commands"


class Commands(click.Group):
    """Finds a command in the file of its name: `muniment job` is commands/job.py, its object `command`."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(m.name.replace("_", "-") for m in pkgutil.iter_modules([str(_COMMANDS)]))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        module = importlib.import_module(f"archive.cli.commands.{cmd_name.replace('-', '_')}")
        found = module.command
        assert isinstance(found, click.Command)
        return found


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="muniment")
def cli() -> None:
    """Archive of cabling certification records.

    \b
    Exit codes: 0 done and sound; 1 done, and there is something to look at; 2 nothing was done.
    \b
    Example:
      muniment demo
    """


def main() -> None:
    """Entry point of the command. No traceback for a fault that a person can mend: one line, exit code 2."""
    try:
        code = cli.main(standalone_mode=False)
    except Trouble as trouble:
        click.echo(f"muniment: {trouble}", err=True)
        sys.exit(2)
    except click.exceptions.Abort:
        click.echo("muniment: stopped; nothing was left half-done", err=True)
        sys.exit(2)
    except click.ClickException as usage:
        usage.show()
        sys.exit(2)
    except BrokenPipeError:
        sys.exit(0)
    except OSError as error:
        where = error.filename if error.filename else "the system"
        click.echo(f"muniment: {where}: {error.strerror or error}", err=True)
        sys.exit(2)
    sys.exit(code if isinstance(code, int) else 0)
