"""muniment keys: signing keys."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next, signer_options
from archive.errors import Trouble


@click.command("keys")
@click.argument("action", type=click.Choice(["make", "list", "retire"]))
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option("--key", metavar="KEY", help="The key to retire.")
@signer_options
@output_options
def command(
    action: str, archive: Path, key: str | None, by: str | None, reason: str | None, as_json: bool, quiet: bool
) -> None:
    """Makes, lists and retires signing keys (Ed25519).

    Once made, a key signs every entry of this user. Its private half stays in this user's settings and never comes
    into an archive. To change a key, make a new one and retire the old one.

    \b
    Example:
      muniment keys make certificates --by "R. Ostrander"
      muniment keys retire certificates --key ke-4be1...
    """
    from archive import store
    from archive.cli import signer
    from archive.store.events import record
    from archive.store.keys import known_keys, make

    opened = store.open(archive)
    who = signer.name(by)
    if action == "make":
        pair = make(signer.key_folder(opened.id))
        facts = {"action": "add", "key": pair.id, "public": pair.public}
        record(opened, "key", by=who, texts={"reason": reason, **facts}, facts=facts, sign=pair.sign)
    elif action == "retire":
        known = known_keys(opened.entries())
        if key not in known or known[key]["retired"] is not None:
            raise Trouble(
                "no key that holds",
                code="keys.not-held",
                found=str(key),
                expected="one that `muniment keys list` shows as held",
            )
        facts = {"action": "retire", "key": key}
        record(opened, "key", by=who, texts={"reason": reason, **facts}, facts=facts, sign=signer.sign(opened))
    listed = [{"key": k, **v} for k, v in known_keys(opened.entries()).items()]
    if as_json:
        print_json({"keys": listed})
    elif not quiet:
        for one in listed:
            state = "held" if one["retired"] is None else f"retired by entry {one['retired']}"
            print_line(f"{one['key']}  since entry {one['added']}, {state}, public key {one['public']}")
        if not listed:
            print_line("no keys: entries are not signed")
        if action == "make":
            print_next("keys", "list", archive, then="shows the public key: keep it elsewhere")
        elif action == "retire":
            print_next("keys", "make", archive, then="so that entries are signed")
