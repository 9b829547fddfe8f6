"""The command line: one thin file per command in archive/cli/commands, loaded only when it is asked for."""

from __future__ import annotations

import errno
import importlib
import os
import pkgutil
import signal
import sys
from pathlib import Path
from typing import NoReturn

import click

from archive.cli.common import caveats
from archive.cli.plain import Plain, plain
from archive.errors import Trouble
from archive.version import __version__

_COMMANDS = Path(__file__).parent / "commands"


class Commands(click.Group):
    """Finds a command in the file of its name: `muniment job` is commands/job.py, its object `command`."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(m.name.replace("_", "-") for m in pkgutil.iter_modules([str(_COMMANDS)]))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is meant; of one that is not there its near names are told."""
        given = args[0] if args else ""
        if given and given not in self.list_commands(ctx) and not given.startswith("-"):
            from archive.near_names import offered

            meant = offered(given, self.list_commands(ctx))
            ctx.fail(f"No such command {given!r}." + (f" Did you mean {meant}?" if meant else ""))
        return super().resolve_command(ctx, args)

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
    """Entry point of the command. No traceback for anything that a person can fix: one line, exit code 2.

    A bug is one line too; MUNIMENT_TRACEBACK in the environment shows it in full.
    """
    _prepare()
    try:
        with caveats() as found:
            code = cli.main(standalone_mode=False)
    except Trouble as trouble:
        _end(str(trouble))
    except click.exceptions.Abort:
        _end("stopped; nothing was left half-done")
    except click.ClickException as usage:
        usage.show()
        sys.exit(2)
    except BrokenPipeError:
        sys.exit(0)
    except PermissionError as error:
        from archive.permission import not_permitted

        _end(str(not_permitted(error)))
    except OSError as error:
        _end(_system_message(error))
    except MemoryError:
        _end("there is not enough memory for this; hand in less at a time")
    except Exception as fault:
        if os.environ.get("MUNIMENT_TRACEBACK"):
            raise
        _end(_bug_message(fault))
    code = code if isinstance(code, int) else 0
    sys.exit(1 if found and code == 0 else code)


def _prepare() -> None:
    """End on a signal as after Ctrl-C, with everything cleaned up, and write nothing that a terminal would obey."""
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="backslashreplace")
    sys.stdout = Plain(sys.stdout)


def _end(text: str) -> NoReturn:
    click.echo(f"muniment: {plain(' '.join(text.split()))}", err=True)
    sys.exit(2)


def _system_message(error: OSError) -> str:
    """What the system refused, with what to do where the disk is the trouble."""
    where = f"{os.fsdecode(error.filename)}: " if error.filename else ""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"{where}the disk is full. Free some space and run it again"
    if error.errno == errno.ENOENT:
        return f"{where}there is no such file or folder. Check the path"
    if error.errno == errno.EFBIG:
        return f"{where}a file would grow beyond what the system allows. Ask for a higher limit and run it again"
    return f"{where or 'the system: '}{error.strerror or error}"


def _bug_message(fault: Exception) -> str:
    """A fault of the program in one line: what, and the innermost place of our own code."""
    from archive.isolation import in_one_line

    return (
        f"a fault of this program, not yours: {in_one_line(fault)}. Please report it; "
        "MUNIMENT_TRACEBACK=1 before the command shows more"
    )
