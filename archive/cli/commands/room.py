"""muniment room: the archive in a browser."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, say
from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.room.serve import Outward
    from archive.room.users import Role

FILE = click.Path(path_type=Path, dir_okay=False)


@click.command("room")
@click.argument("archive", type=ARCHIVE)
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port; by default any free one.")
@click.option("--name", "names", multiple=True, metavar="NAME", help="A name by which this machine is reached.")
@click.option("--again", is_flag=True, help="Print a new address for the room that is open, and end.")
@click.option("--host", metavar="ADDRESS", help="Listen there for other machines; needs TLS, a name and users.")
@click.option("--certificate", type=FILE, help="Certificate chain for TLS, PEM.")
@click.option("--key", type=FILE, help="Its private key, PEM.")
@click.option("--users", type=FILE, help="File of users, which others may not read.")
@click.option("--add-user", metavar="NAME", help="Ask for a password, add the user to --users, and end.")
@click.option("--user-role", type=click.Choice(["read", "deposit", "manage"]), default="read", show_default=True)
@click.option("--desk", is_flag=True, help="With a desk: hand in exports and look after the archive, too.")
@click.option(
    "--tray",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="With --desk: what lies in this folder can be handed in without being sent.",
)
@output_options
def command(
    archive: Path,
    port: int,
    names: tuple[str, ...],
    again: bool,
    host: str | None,
    certificate: Path | None,
    key: Path | None,
    users: Path | None,
    add_user: str | None,
    user_role: Role,
    desk: bool,
    tray: Path | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Opens an archive for reading in a browser on this machine, until Ctrl-C. The first line printed is the address.
    The token in it is good once, and for whoever has it: tell it to nobody. Nothing in the archive is changed.

    With --desk it is for handing in and looking after, too; entries carry the name set once with `muniment me NAME`.

    With --host other machines reach it: by TLS alone, and with a name and a password of --users, whose role says what
    each may.

    \b
    Example:
      muniment room certificates
      muniment room certificates --desk
      muniment room certificates --users users.toml --add-user ostrander
      muniment room certificates --host 0.0.0.0 --name room.example --certificate c.pem --key k.pem --users users.toml
    """
    from archive.cli import signer
    from archive.room.holder import Holder
    from archive.room.serve import Opening, another_token, serve

    def announce(address: str) -> None:
        print_json({"address": address}) if as_json else print_line(address)
        sys.stdout.flush()

    def log(line: str) -> None:
        click.echo(line, err=True)  # a line of a log is never folded

    def opened(address: str) -> None:
        announce(address)
        say("open this address in a browser; Ctrl-C closes the room", quiet=quiet)

    if tray is not None and not desk:
        raise Trouble("--tray is for a desk", code="option.needs-another", expected="--desk")
    if add_user is not None:
        _add(users, add_user, user_role, quiet)
    elif again:
        announce(another_token(archive))
    elif host is None:
        holder = Holder(signer.name(None), signer.sign)
        if desk and holder.by is None:
            say("entries will name nobody; `muniment me NAME` sets a name once", quiet=quiet)
        serve(archive, port, opened, log, Opening(names, holder=holder, desk=desk, tray=tray))
    else:
        outward = _outward(archive, host, names, certificate, key, users)
        serve(archive, port, opened, log, Opening(outward=outward, desk=desk, tray=tray))


def _add(users: Path | None, name: str, role: Role, quiet: bool) -> None:
    from archive.room.users import add

    if users is None:
        raise Trouble("into which file?", code="option.needs-another", expected="--users FILE")
    password = click.prompt(f"Password of {name}", hide_input=True, confirmation_prompt=True, err=True)
    add(users, name, role, password)
    say(f"{users}: {name} may {role}", quiet=quiet)


def _outward(
    archive: Path,
    host: str,
    names: tuple[str, ...],
    certificate: Path | None,
    key: Path | None,
    users: Path | None,
) -> Outward:
    from archive.room.serve import Outward
    from archive.room.users import load

    if certificate is None or key is None or users is None or not names:
        example = shlex.join(["muniment", "room", str(archive), "--users", "users.toml", "--add-user", "NAME"])
        raise Trouble(
            "a room for other machines needs TLS, users, and the name by which it is reached",
            code="option.needs-another",
            expected="--certificate, --key, --users and --name",
            remedy=f"make a file of users with `{example}`",
        )
    return Outward(host, names, certificate, key, load(users))
